"""Give a bridge whose address the API uses itself another one."""

from django.db import migrations, models


def rename(apps, schema_editor):
    bridges = apps.get_model("bridges", "Bridge").objects
    for bridge in bridges.filter(slug="map"):
        slug, number = "map-bridge", 2
        while bridges.filter(slug=slug).exists():
            slug, number = f"map-bridge-{number}", number + 1
        bridges.filter(pk=bridge.pk).update(slug=slug)


class Migration(migrations.Migration):
    dependencies = [("bridges", "0002_initial")]

    operations = [
        # What a name was changed from is not known any more: backwards it stays.
        migrations.RunPython(rename, migrations.RunPython.noop),
        migrations.AddConstraint(
            model_name="bridge",
            constraint=models.CheckConstraint(
                condition=models.Q(("slug__in", ("map",)), _negated=True),
                name="bridge_slug_not_reserved",
                violation_error_message="The site uses that address itself.",
            ),
        ),
    ]
