"""How fields are shown: label, help, error and control, tied together for a screen reader."""

from __future__ import annotations

from typing import Any

from django.forms.renderers import DjangoTemplates


class Renderer(DjangoTemplates):
    """Django's widgets inside our own field and error markup."""

    form_template_name = "parts/form.html"
    field_template_name = "parts/field.html"

    def get_template(self, template_name: str) -> Any:
        if template_name.startswith("parts/"):
            from django.template import engines

            return engines["django"].get_template(template_name)
        return super().get_template(template_name)
