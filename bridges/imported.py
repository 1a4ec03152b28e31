"""Lists from outside as they came: raw rows with their vintage, and what became of them.

Rows are never mended and never become the record: what they say stands there as claims
with a source (``bridges.intake``). Only officers and keepers see these rows, for they
hold the places of sensitive bridges.
"""

import uuid

from django.conf import settings
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models
from simple_history.models import HistoricalRecords


class Import(models.Model):
    """One file of one list, of one vintage."""

    class Layout(models.TextChoices):
        OWN = "own", "Our own CSV"
        DELIMITED = "federal-delimited", "Federal inventory, delimited"
        FIXED = "federal-fixed", "Federal inventory, fixed width"
        WAYPOINTS = "waypoints", "Waypoints (GPX)"

    class State(models.TextChoices):
        WAITING = "waiting", "Being read"
        READ = "read", "Read, nothing taken yet"
        TAKING = "taking", "Being taken into the record"
        TAKEN = "taken", "Taken into the record"
        REFUSED = "refused", "Refused"

    class Unmatched(models.TextChoices):
        NEW = "new", "Make a bridge of each"
        ASK = "ask", "Ask me about each"
        KEEP = "keep", "Keep them as rows of the list only"

    list_name = models.CharField("which list", max_length=80)
    vintage = models.CharField(max_length=20)
    layout = models.CharField(max_length=20, choices=Layout)
    unmatched = models.CharField(
        "rows that match no bridge", max_length=4, choices=Unmatched
    )
    state = models.CharField(max_length=8, choices=State, default=State.WAITING)
    file_name = models.CharField(max_length=200)
    # Where the file lies until it has been read; blank afterwards.
    stored = models.CharField(max_length=200, blank=True)
    sha256 = models.CharField(max_length=64)
    size_bytes = models.PositiveBigIntegerField(default=0)
    header = models.TextField(blank=True)
    # Which states' records, of the federal list: a later file of others is no vintage.
    parts = models.JSONField(default=list)
    row_count = models.PositiveIntegerField(default=0)
    # {"outcomes": {…}, "faults": {code: count}, "notes": […], "unknown": […], …}
    report = models.JSONField(default=dict, encoder=DjangoJSONEncoder)
    refusal = models.TextField(blank=True)
    source = models.ForeignKey(
        "bridges.Source",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
    )
    # The vintage that this one was compared with.
    previous = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
    )
    job = models.UUIDField(null=True, blank=True)
    token = models.UUIDField(default=uuid.uuid4, editable=False)
    made_at = models.DateTimeField(auto_now_add=True)
    read_at = models.DateTimeField(null=True, blank=True)
    taken_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-pk"]

    def __str__(self):
        return f"{self.list_name}, {self.vintage}"

    @property
    def is_federal(self):
        return self.layout in (self.Layout.DELIMITED, self.Layout.FIXED)


class ImportRow(models.Model):
    """One row word for word, which bridge it speaks of, and what was wrong with it."""

    class Outcome(models.TextChoices):
        MATCHED = "matched", "A bridge of ours"
        NEW = "new", "A new bridge"
        QUEUED = "queued", "Waiting for a person"
        KEPT = "kept", "No bridge of ours, kept"
        NOT_OURS = "not-ours", "Said to be no bridge of ours"
        ASIDE = "aside", "No record of a bridge of its own"
        FAULTY = "faulty", "Faulty, kept and not taken"

    of = models.ForeignKey(Import, on_delete=models.CASCADE, related_name="rows")
    line = models.PositiveIntegerField()
    raw = models.TextField()
    key = models.CharField(max_length=60, blank=True)
    name = models.CharField(max_length=160, blank=True)
    outcome = models.CharField(max_length=8, choices=Outcome)
    # Why it is so: "number", "place and name", "moved" … (``matching.WHYS``).
    why = models.CharField(max_length=30, blank=True)
    bridge = models.ForeignKey(
        "bridges.Bridge",
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
    )
    # [[bridge, metres, likeness of names 0…100], …], the likeliest first.
    candidates = models.JSONField(default=list)
    # [[code, field, what stood there], …]
    faults = models.JSONField(default=list)
    # ",code,code," to be found by LIKE, as ``Standing.changed_parts``.
    fault_codes = models.TextField(blank=True)
    # {field: [before, now]} against the row of the vintage before; null if none was.
    changes = models.JSONField(null=True, blank=True)
    changed_fields = models.TextField(blank=True)
    is_taken = models.BooleanField(default=False)

    class Meta:
        ordering = ["line", "pk"]
        indexes = [
            models.Index(fields=["of", "key"], name="import_row_by_key"),
            models.Index(
                fields=["of", "outcome", "line"], name="import_row_by_outcome"
            ),
        ]

    def __str__(self):
        return f"line {self.line} of {self.of_id}"


class Correspondence(models.Model):
    """Which bridge of ours a record of a list is, and who said so. Kept for ever.

    No bridge means: none of ours. What a person said stands above what was reckoned.
    """

    list_name = models.CharField(max_length=80)
    key = models.CharField(max_length=60)
    bridge = models.ForeignKey(
        "bridges.Bridge",
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="+",
    )
    why = models.CharField(max_length=30)
    # Blank where nobody was asked.
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
    )
    note = models.CharField(max_length=300, blank=True)
    decided_at = models.DateTimeField(auto_now=True)

    history = HistoricalRecords(related_name="+")

    class Meta:
        ordering = ["list_name", "key"]
        constraints = [
            models.UniqueConstraint(
                fields=["list_name", "key"], name="correspondence_said_once"
            )
        ]
        indexes = [models.Index(fields=["bridge"], name="correspondence_of_bridge")]

    def __str__(self):
        return f"{self.list_name} {self.key}"
