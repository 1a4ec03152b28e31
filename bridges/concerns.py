"""What is afoot about a bridge: a threat, a project, an offer, somebody who would have it."""

from django.db import models
from simple_history.models import HistoricalRecords

from shared.dates import EdtfField, bound


class ConcernQuerySet(models.QuerySet):
    def open(self):
        return self.filter(closed_on__isnull=True)


class Concern(models.Model):
    """Something afoot, who acts on it and until when; told to the society's people."""

    class Kind(models.TextChoices):
        THREAT = "threat", "Threat"
        PROJECT = "project", "Project"
        OFFER = "offer", "Offered for another place"
        INTEREST = "interest", "Somebody would take it"

    bridge = models.ForeignKey(
        "bridges.Bridge", on_delete=models.CASCADE, related_name="concerns"
    )
    kind = models.CharField(max_length=10, choices=Kind)
    text = models.TextField("what it is")
    noted = EdtfField("known since", blank=True)
    noted_earliest = bound()
    noted_latest = bound()
    deadline = models.DateField("decided or ends on", null=True, blank=True)
    acting = models.CharField(
        "who is acting, or would take it", max_length=200, blank=True
    )
    source = models.ForeignKey(
        "bridges.Source",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
    )
    closed_on = models.DateField("over since", null=True, blank=True)
    outcome = models.CharField("how it ended", max_length=300, blank=True)

    history = HistoricalRecords(related_name="+")
    objects = ConcernQuerySet.as_manager()

    class Meta:
        ordering = ["deadline", "id"]

    def __str__(self):
        return f"{self.get_kind_display()}: {self.text[:60]}"
