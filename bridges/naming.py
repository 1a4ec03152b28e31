"""What builders were called when: firms take in partners, burn down and begin again."""

from django.db import models
from simple_history.models import HistoricalRecords

from shared.dates import EdtfField, bound


class BuilderName(models.Model):
    """One name of a builder, the time in which it was used, and who says so.

    ``Builder.name`` is the one that the society lists them under; the others are here.
    """

    builder = models.ForeignKey(
        "bridges.Builder", on_delete=models.CASCADE, related_name="names"
    )
    name = models.CharField(max_length=160)
    when = EdtfField("in use", blank=True)
    when_earliest = bound()
    when_latest = bound()
    source = models.ForeignKey(
        "bridges.Source",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
    )
    note = models.CharField(max_length=300, blank=True)

    history = HistoricalRecords(related_name="+")

    class Meta:
        ordering = ["when_earliest", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["builder", "name", "when"],
                name="builder_name_said_once",
                violation_error_message="That name is there for that time already.",
            )
        ]

    def __str__(self):
        return self.name


def name_in_use(builder, earliest, latest):
    """Return what a builder was called when something was made, "" where unsure.

    Unsure is a time that reaches into two names' times, and a name without one. Reads
    ``builder.names``, which lists prefetch.
    """
    if earliest is None or latest is None:
        return ""
    found = {
        one.name
        for one in builder.names.all()
        if one.when
        and (one.when_earliest is None or one.when_earliest <= latest)
        and (one.when_latest is None or one.when_latest >= earliest)
    }
    return found.pop() if len(found) == 1 else ""
