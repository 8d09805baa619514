"""From which tables somebody was erased, until no trace is left in the database's files."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("web", "0020_vials")]

    operations = [
        migrations.CreateModel(
            name="ToScrub",
            fields=[
                (
                    "table",
                    models.CharField(max_length=63, primary_key=True, serialize=False),
                ),
            ],
        ),
    ]
