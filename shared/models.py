"""People, and the work that waits to be done behind the pages."""

import uuid
from functools import cached_property

from django.conf import settings
from django.contrib.auth.models import AbstractUser
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models
from django.db.models import Q
from django.utils import timezone


class Person(AbstractUser):
    """Somebody who signs in. What they may do follows from their groups."""

    credit_name = models.CharField(
        max_length=120, blank=True, help_text="The name printed beside your work."
    )
    is_credited = models.BooleanField(
        "print my name beside my work",
        default=True,
        help_text="On pages that everybody sees and in dossiers. Without it your work "
        "is credited to the society.",
    )

    @cached_property
    def group_names(self):
        return {group.name for group in self.groups.all()}

    @property
    def credit(self):
        """What is printed beside this person's work, as they consented to."""
        if not self.is_credited:
            return "A volunteer of the society"
        return self.credit_name or self.get_full_name() or self.username


class JobQuerySet(models.QuerySet):
    def due(self, moment):
        """What may be begun now: waiting long enough, or left by a stopped worker."""
        waits = Q(state=Job.State.WAITING, run_after__lte=moment)
        left = Q(state=Job.State.RUNNING, lease_until__lt=moment)
        return self.filter(waits | left).order_by("run_after", "pk")


class Job(models.Model):
    """Work to be done behind the pages. ``shared.jobs`` is the way in.

    Whoever runs a job holds it by a lease that must be renewed; when its worker is
    killed the lease runs out and another takes the job up.
    """

    class State(models.TextChoices):
        WAITING = "waiting", "Waiting"
        RUNNING = "running", "Running"
        DONE = "done", "Done"
        DEAD = "dead", "Given up"

    # What a page may ask after it by; not to be guessed from another.
    token = models.UUIDField(unique=True, default=uuid.uuid4, editable=False)
    call = models.CharField("function, by its dotted name", max_length=200)
    arguments = models.JSONField(default=dict, encoder=DjangoJSONEncoder)
    # Asked for again under the same key while it waits, it is the same job.
    key = models.CharField(max_length=200, blank=True)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
    )
    state = models.CharField(max_length=8, choices=State, default=State.WAITING)
    made_at = models.DateTimeField(default=timezone.now)
    run_after = models.DateTimeField(default=timezone.now)
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    owner = models.CharField("who runs it", max_length=80, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    tries = models.PositiveSmallIntegerField(default=0)
    most_tries = models.PositiveSmallIntegerField(default=5)
    progress_done = models.PositiveIntegerField(default=0)
    progress_total = models.PositiveIntegerField(default=0)
    progress_note = models.CharField(max_length=200, blank=True)
    result = models.JSONField(null=True, blank=True, encoder=DjangoJSONEncoder)
    # The sentence first, then how it came about, for whoever mends it.
    error = models.TextField(blank=True)

    objects = JobQuerySet.as_manager()

    class Meta:
        ordering = ["-pk"]
        indexes = [models.Index(fields=["state", "run_after"])]
        constraints = [
            models.UniqueConstraint(
                fields=["key"],
                condition=Q(state="waiting") & ~Q(key=""),
                name="job_waits_once_by_key",
            )
        ]

    def __str__(self):
        return f"{self.call} ({self.state})"

    @property
    def is_over(self):
        return self.state in (self.State.DONE, self.State.DEAD)

    @property
    def fault(self):
        """The first line of the error: what went wrong, without how."""
        return self.error.partition("\n")[0]


class AuditEntry(models.Model):
    """That somebody did something the society may later have to account for.

    Who and what, never from where: ``shared.audit`` writes and forgets them.
    """

    class Action(models.TextChoices):
        SIGNED_IN = "signed-in", "Signed in"
        EXPORTED = "exported", "Took an export"
        PRINTED = "printed", "Printed a dossier"
        ACCEPTED = "accepted", "Accepted a visit"
        INVITED = "invited", "Invited somebody"
        JOINED = "joined", "Joined"
        GROUPS = "groups", "Changed what somebody may do"
        LEFT = "left", "Closed an account"
        UNINVITED = "uninvited", "Took an invitation back"
        PASSWORD = "password", "Set a new password"
        SHUT_OUT = "shut-out", "Was shut out after wrong passwords"
        ORIGINAL = "original", "Took an original photograph"
        BACKED_UP = "backed-up", "Made a backup"
        RESTORED = "restored", "Restored a backup"
        IMPORTED = "imported", "Brought in a list"
        DECIDED = "decided", "Said which bridge a row is"

    at = models.DateTimeField(default=timezone.now, db_index=True)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
    )
    action = models.CharField(max_length=12, choices=Action)
    subject = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-at", "-pk"]

    def __str__(self):
        return f"{self.get_action_display()}: {self.subject}"


class Invitation(models.Model):
    """A letter that lets one person make an account. ``shared.people`` is the way in."""

    email = models.EmailField()
    groups = models.JSONField(default=list)
    # Of the secret in the link; whoever reads the database cannot join by it.
    secret_sha256 = models.CharField(max_length=64, unique=True)
    invited_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    made_at = models.DateTimeField(default=timezone.now)
    accepted_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-made_at", "-pk"]

    def __str__(self):
        return f"invitation of {self.made_at:%Y-%m-%d}"


class Tally(models.Model):
    """How often somebody did one thing in one minute; ``shared.limits`` counts."""

    # Of who and what; an address is not kept.
    key = models.CharField(max_length=80)
    minute = models.PositiveIntegerField(db_index=True)
    count = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["key", "minute"], name="tally_once_a_minute"
            )
        ]

    def __str__(self):
        return f"{self.count} in minute {self.minute}"
