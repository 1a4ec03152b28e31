"""People, and what they share."""

from functools import cached_property

from django.contrib.auth.models import AbstractUser
from django.db import models


class Person(AbstractUser):
    """Somebody who signs in. What they may do follows from their groups."""

    credit_name = models.CharField(
        max_length=120, blank=True, help_text="The name printed beside your work."
    )

    @cached_property
    def group_names(self):
        return {group.name for group in self.groups.all()}

    @property
    def credit(self):
        return self.credit_name or self.get_full_name() or self.username
