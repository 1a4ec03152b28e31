"""What it means: stored checks, effects, and an officer's dossier."""

import hashlib
import json
from contextlib import suppress

from django.conf import settings
from django.db import OperationalError, models
from simple_history.models import HistoricalRecords

from analysis.engine import ENGINE_VERSION
from bridges.models import Bridge, TrussLine
from shared.waiting import impatient
from surveys.models import Visit


class Check(models.Model):
    """The engine's answer to one check file, keyed by its content."""

    input_sha256 = models.CharField(max_length=64)
    engine = models.CharField(max_length=20)
    document = models.JSONField()
    answer = models.JSONField()
    stands = models.BooleanField()
    limit_tons = models.FloatField(null=True, blank=True)
    governing_member = models.CharField(max_length=20, blank=True)
    computed_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["input_sha256", "engine"], name="check_computed_once"
            )
        ]

    def __str__(self):
        return self.input_sha256[:12]


class ConfigurationCheck(models.Model):
    """Which check belongs to a truss line as it stood at an accepted visit."""

    truss_line = models.ForeignKey(
        TrussLine, on_delete=models.CASCADE, related_name="+"
    )
    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="+")
    # Null where the record is too thin to make a check file; then ``gap`` says why.
    check_made = models.ForeignKey(
        Check, null=True, on_delete=models.PROTECT, related_name="+"
    )
    gap = models.TextField(blank=True)
    assumptions = models.JSONField(default=list)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["truss_line", "visit"], name="configuration_checked_once"
            )
        ]

    def __str__(self):
        return f"check of {self.truss_line_id} at {self.visit_id}"


class Effect(models.Model):
    """The difference between two checks, shared out among the changes."""

    truss_line = models.ForeignKey(
        TrussLine, on_delete=models.CASCADE, related_name="+"
    )
    from_visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="+")
    to_visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="+")
    # Hash of both check files and of how the changes were grouped.
    content_sha256 = models.CharField(max_length=64)
    engine = models.CharField(max_length=20)
    result = models.JSONField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["truss_line", "from_visit", "to_visit"],
                name="effect_of_two_visits_once",
            )
        ]

    def __str__(self):
        return f"effect on {self.truss_line_id}"


class Finding(models.Model):
    """What is slow to work out of check files, keyed by content like a check.

    The band of an estimate, or what a truss was designed for.
    """

    kind = models.CharField(max_length=20)
    content_sha256 = models.CharField(max_length=64)
    engine = models.CharField(max_length=20)
    result = models.JSONField()
    computed_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "content_sha256", "engine"], name="finding_made_once"
            )
        ]

    def __str__(self):
        return f"{self.kind} {self.content_sha256[:12]}"

    @classmethod
    def of(cls, kind, content, make):
        """Return the result for ``content``, JSON values, made if it is not stored.

        Made twice by two processes at once it is the same, and stored once. A page
        that only reads does not wait for a long write elsewhere, nor fail by it: what
        could not be stored now is made and told again next time.
        """
        text = json.dumps(content, sort_keys=True)
        key = {
            "kind": kind,
            "content_sha256": hashlib.sha256(text.encode()).hexdigest(),
            "engine": ENGINE_VERSION,
        }
        stored = cls.objects.filter(**key).first()
        if stored is not None:
            return stored.result
        result = make()
        with suppress(OperationalError), impatient():
            stored, _ = cls.objects.get_or_create(**key, defaults={"result": result})
            result = stored.result
        return result


class ToMeasure(models.Model):
    """What somebody who goes to a bridge should measure, kept for lists to read.

    Reckoning it samples the check of every truss line, which a list of bridges cannot
    wait for. ``is_stale`` when the record has changed since.
    """

    bridge = models.OneToOneField(
        Bridge, on_delete=models.CASCADE, primary_key=True, related_name="+"
    )
    tasks = models.JSONField(default=list)
    is_stale = models.BooleanField(default=False)
    made_at = models.DateTimeField(auto_now=True)

    def __str__(self):
        return f"what to measure at {self.bridge_id}"


class InStep(models.Model):
    """What a bridge's record and its stored checks were when they were last in step.

    Hashes of all that a recheck reads and of all that it stores: where both are still
    the same there is nothing to do. Written by ``analysis.in_step`` alone.
    """

    bridge = models.OneToOneField(
        Bridge, on_delete=models.CASCADE, primary_key=True, related_name="+"
    )
    record_sha256 = models.CharField(max_length=64)
    stored_sha256 = models.CharField(max_length=64)

    def __str__(self):
        return f"checks of {self.bridge_id} in step"


class Dossier(models.Model):
    """One nomination case of a bridge: what officers write; the rest is the record's.

    A bridge may have several over time, one of them open. What is short or chosen from
    a list lies in ``answers``, by the names of ``dossier_fields``.
    """

    bridge = models.ForeignKey(Bridge, on_delete=models.CASCADE, related_name="+")
    number = models.PositiveSmallIntegerField(default=1)
    title = models.CharField("what this case is for", max_length=160, blank=True)
    preparer = models.CharField(max_length=160, blank=True)
    organisation = models.CharField(max_length=160, blank=True)
    period = models.CharField("period of significance", max_length=80, blank=True)
    description = models.TextField("narrative description", blank=True)
    significance = models.TextField("statement of significance", blank=True)
    integrity = models.TextField("statement of integrity", blank=True)
    boundary = models.TextField("boundary in words", blank=True)
    answers = models.JSONField(default=dict, blank=True)
    # Client ids of the photographs of the log, in their order; empty: none chosen yet.
    photos = models.JSONField(default=list, blank=True)
    revision = models.PositiveIntegerField(default=1)
    updated_at = models.DateTimeField(auto_now=True)
    updated_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
    )
    closed_at = models.DateTimeField(null=True, blank=True)
    signed_at = models.DateTimeField(null=True, blank=True)
    signed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
    )
    # What was signed: later revisions are not.
    signed_revision = models.PositiveIntegerField(null=True, blank=True)

    history = HistoricalRecords(related_name="+")

    class Meta:
        ordering = ["-number"]
        constraints = [
            models.UniqueConstraint(
                fields=["bridge", "number"], name="dossier_case_numbered_once"
            ),
            models.UniqueConstraint(
                fields=["bridge"],
                condition=models.Q(closed_at__isnull=True),
                name="dossier_one_open_case",
            ),
            models.CheckConstraint(
                condition=models.Q(signed_at__isnull=True)
                | models.Q(signed_revision__isnull=False),
                name="dossier_signed_at_a_revision",
            ),
        ]

    def __str__(self):
        return f"dossier of {self.bridge}"

    @property
    def is_signed(self):
        """Whether what stands now is what was signed."""
        return self.signed_at is not None and self.signed_revision == self.revision
