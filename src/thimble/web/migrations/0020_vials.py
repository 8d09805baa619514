"""Vaccines on the shelves: where a session's come from, what was scanned; what a number was said to be."""

from django.db import migrations, models

COLUMNS = ("gtin", "cvx", "said_by", "said_at")


def carry_over(apps, schema_editor):  # noqa: ARG001
    """What was said so far is the first that is on record."""
    before, after = apps.get_model("web", "ProductCodeOnce"), apps.get_model("web", "ProductCode")
    after.objects.bulk_create(after(**row) for row in before.objects.values(*COLUMNS))


class Migration(migrations.Migration):
    dependencies = [("web", "0019_letters_handed_out")]

    operations = [
        migrations.AddField(
            model_name="clinicsession",
            name="stock_place",
            field=models.CharField(blank=True, default="", max_length=40),
        ),
        migrations.AddField(
            model_name="stockmovement",
            name="gtin",
            field=models.CharField(blank=True, default="", max_length=14),
        ),
        migrations.RenameModel("ProductCode", "ProductCodeOnce"),
        migrations.CreateModel(
            name="ProductCode",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("gtin", models.CharField(db_index=True, max_length=14)),
                ("cvx", models.CharField(max_length=10)),
                ("said_by", models.CharField(max_length=40)),
                ("said_at", models.DateTimeField()),
            ],
            options={"ordering": ["-id"]},
        ),
        migrations.RunPython(carry_over, migrations.RunPython.noop),
        migrations.DeleteModel("ProductCodeOnce"),
    ]
