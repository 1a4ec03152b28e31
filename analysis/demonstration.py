"""Whether this database holds the demonstration society and nothing else."""

from django.contrib.auth.models import Group

# A database is known as a demonstration by a group of this name; what follows the
# mark is the seed of its password.
MARK = "demonstration "


def is_demonstration() -> bool:
    return Group.objects.filter(name__startswith=MARK).exists()
