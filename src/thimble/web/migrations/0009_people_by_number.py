"""The number of a person as it is compared, so that a case finds its worker without reading everybody."""

import json

from django.db import migrations, models

from thimble.people.names import number_key
from thimble.web import append_only


def fill(apps, schema_editor):
    """Rows are never changed but for this once; the triggers come back after the migration."""
    append_only.remove(schema_editor.connection)
    model = apps.get_model("web", "PersonIdentity")
    for row in model.objects.iterator():
        row.number_key = number_key(json.loads(row.body)["number"])
        row.save(update_fields=["number_key"])


class Migration(migrations.Migration):
    dependencies = [("web", "0008_recall_line")]
    operations = [
        migrations.AddField(
            model_name="personidentity",
            name="number_key",
            field=models.CharField(blank=True, db_index=True, default="", max_length=200),
        ),
        migrations.RunPython(fill, migrations.RunPython.noop),
    ]
