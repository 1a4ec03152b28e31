"""The four groups a society's people belong to."""

from django.db import migrations

GROUPS = ("volunteer", "reviewer", "officer", "keeper")


def make(apps, schema_editor):
    Group = apps.get_model("auth", "Group")
    for name in GROUPS:
        Group.objects.using(schema_editor.connection.alias).get_or_create(name=name)


def unmake(apps, schema_editor):
    apps.get_model("auth", "Group").objects.using(schema_editor.connection.alias).filter(name__in=GROUPS).delete()


class Migration(migrations.Migration):
    dependencies = [("shared", "0001_initial"), ("auth", "0012_alter_user_first_name_max_length")]
    operations = [migrations.RunPython(make, unmake)]
