"""The triggers that refuse to change what was written, and the shared cache's table."""

from django.core.management import call_command
from django.db import migrations

from thimble.web import append_only


def install(apps, schema_editor):  # noqa: ARG001
    append_only.install(schema_editor.connection)


def remove(apps, schema_editor):  # noqa: ARG001
    append_only.remove(schema_editor.connection)


def cache_table(apps, schema_editor):  # noqa: ARG001
    call_command(
        "createcachetable", "web_limits", database=schema_editor.connection.alias, verbosity=0
    )


def drop_cache_table(apps, schema_editor):  # noqa: ARG001
    schema_editor.execute("DROP TABLE IF EXISTS web_limits")


class Migration(migrations.Migration):
    dependencies = [("web", "0001_initial")]
    operations = [
        migrations.RunPython(install, remove),
        migrations.RunPython(cache_table, drop_cache_table),
    ]
