"""What was seen: visits, elements, observations, components, repairs, photographs."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.query import ModelIterable
from django.urls import reverse
from simple_history.models import HistoricalRecords

from bridges.models import Bridge, Builder, Confidence, Plate, Source, Span, TrussLine
from shared import policy
from shared.dates import EdtfField, bound


class Element(models.Model):
    """Anything that can be observed and has an identity over time."""

    class Kind(models.TextChoices):
        MEMBER = "member", "Member"
        JOINT = "joint", "Joint"
        DECK = "deck", "Deck"
        FLOOR_BEAMS = "floor-beams", "Floor beams"
        STRINGERS = "stringers", "Stringers"
        RAILING = "railing", "Railing"
        BRACING = "bracing", "Bracing"
        BEARING = "bearing", "Bearings"
        PLATE = "plate", "Plate"
        LIMIT = "limit", "Posted limit"
        ABUTMENT = "abutment", "Abutment"
        PIER = "pier", "Pier"
        APPROACH = "approach", "Approach"
        ARCH = "arch", "Arch ring"
        GIRDER = "girder", "Girders"
        CABLE = "cable", "Cables"
        SETTING = "setting", "Setting"
        OTHER = "other", "Other"

    bridge = models.ForeignKey(Bridge, on_delete=models.CASCADE, related_name="+")
    span = models.ForeignKey(
        Span, null=True, blank=True, on_delete=models.CASCADE, related_name="+"
    )
    truss_line = models.ForeignKey(
        TrussLine, null=True, blank=True, on_delete=models.CASCADE, related_name="+"
    )
    plate = models.ForeignKey(
        Plate, null=True, blank=True, on_delete=models.CASCADE, related_name="+"
    )
    kind = models.CharField(max_length=14, choices=Kind)
    # The address of the element within its bridge, the same for ever:
    # span-1/upstream/L3U2, span-1/deck, plate/portal-east, limit, abutment/west.
    path = models.CharField(max_length=120)
    # L3U2 for a member; empty otherwise.
    member = models.CharField(max_length=20, blank=True)
    # upper-chord, lower-chord, end-post, hip-vertical, vertical, diagonal, counter …
    role = models.CharField(max_length=20, blank=True)
    name = models.CharField(max_length=120)
    position = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["bridge", "position", "path"]
        constraints = [
            models.UniqueConstraint(
                fields=["bridge", "path"], name="element_addressed_once"
            ),
            models.CheckConstraint(
                name="element_member_has_a_truss_line",
                condition=~Q(kind="member")
                | (Q(truss_line__isnull=False) & ~Q(member="")),
                violation_error_message="A member belongs to a truss line.",
            ),
        ]

    def __str__(self):
        return self.name


class VisitQuerySet(models.QuerySet):
    def accepted(self):
        return self.filter(status=Visit.Status.ACCEPTED)

    def in_time_order(self):
        return self.order_by("when_latest", "when_earliest", "client_id")

    def waiting(self):
        """What a person ticked as dangerous first, then what may be, then by age."""
        may_be = models.Case(
            models.When(danger_signs=[], then=0),
            default=1,
            output_field=models.SmallIntegerField(),
        )
        return self.filter(status=Visit.Status.SUBMITTED).order_by(
            "-is_danger", may_be.desc(), "submitted_at"
        )

    def in_danger(self):
        """Reported as dangerous, and nobody has yet written what was done about it."""
        return self.filter(is_danger=True, danger_closed_at=None).exclude(
            status__in=[Visit.Status.WITHDRAWN, Visit.Status.TAKEN_OUT]
        )

    def visible_to(self, person):
        """Accepted visits are everybody's; others the surveyor's and reviewers'."""
        if policy.can_review(person):
            return self
        seen = Q(status=Visit.Status.ACCEPTED)
        if person is not None and person.is_authenticated:
            seen |= Q(surveyor=person)
        visits = self.filter(seen)
        if not policy.can_log_visits(person):
            visits = visits.filter(bridge__is_public=True).select_related("bridge")
            visits._iterable_class = ForVisitors
        return visits


class ForVisitors(ModelIterable):
    """Makes visits that tell a stranger no way to a sensitive bridge."""

    def __iter__(self):
        for visit in super().__iter__():
            visit.bridge.withhold()
            visit.withhold()
            yield visit


class Visit(models.Model):
    """One occasion of looking, whether on the spot, at a photograph or a drawing."""

    class Basis(models.TextChoices):
        IN_PERSON = "in-person", "In person"
        PHOTOGRAPH = "photograph", "Dated photograph"
        DRAWING = "drawing", "Drawing"
        DOCUMENT = "document", "Document"

    class Status(models.TextChoices):
        SUBMITTED = "submitted", "Waiting for review"
        RETURNED = "returned", "Returned with a question"
        ACCEPTED = "accepted", "Accepted"
        WITHDRAWN = "withdrawn", "Withdrawn"
        TAKEN_OUT = "taken-out", "Taken out of the record"

    client_id = models.UUIDField(unique=True, default=uuid.uuid4)
    bridge = models.ForeignKey(Bridge, on_delete=models.PROTECT, related_name="+")
    surveyor = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
    )
    when = EdtfField("date of the visit")
    when_earliest = bound()
    when_latest = bound()
    basis = models.CharField(max_length=12, choices=Basis, default=Basis.IN_PERSON)
    people = models.CharField("who was there", max_length=300, blank=True)
    access = models.CharField("how it was reached", max_length=300, blank=True)
    not_reached = models.CharField(
        "what could not be reached, and why", max_length=400, blank=True
    )
    notes = models.TextField(blank=True)
    source = models.ForeignKey(
        Source, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    is_danger = models.BooleanField("something here is dangerous now", default=False)
    danger_note = models.TextField(blank=True)
    # What its answers say that might be dangerous, where nobody ticked the box.
    danger_signs = models.JSONField(default=list, blank=True, editable=False)
    danger_closed_at = models.DateTimeField(null=True, blank=True)
    danger_closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
    )
    danger_outcome = models.TextField("what was done about it", blank=True)

    status = models.CharField(
        max_length=10, choices=Status, default=Status.SUBMITTED, db_index=True
    )
    submitted_at = models.DateTimeField(auto_now_add=True)
    # What the phone or the form sent, kept word for word, and its hash.
    submitted = models.JSONField(default=dict, editable=False)
    submitted_sha256 = models.CharField(max_length=64, blank=True, editable=False)
    # What of it could not be read: ``{"field", "code", "message"}`` each. It stays in
    # ``submitted`` word for word, and a reviewer sees it.
    set_aside = models.JSONField(default=list, blank=True, editable=False)
    reviewer = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
    )
    reviewed_at = models.DateTimeField(null=True, blank=True)
    question = models.TextField("reviewer's question", blank=True)

    history = HistoricalRecords(related_name="+")
    objects = VisitQuerySet.as_manager()

    class Meta:
        ordering = ["-when_latest", "-id"]
        indexes = [models.Index(fields=["bridge", "status", "when_latest"])]
        constraints = [
            models.CheckConstraint(
                name="visit_has_an_end",
                condition=Q(when_latest__isnull=False),
                violation_error_message="A visit's date must have an end.",
            )
        ]

    def __str__(self):
        return f"{self.bridge} {self.when}"

    def get_absolute_url(self):
        return reverse("surveys:visit", args=[self.client_id])

    def withhold(self):
        """Leave out the words that would lead to a sensitive bridge, as its own are."""
        if self.bridge.is_withheld and self.bridge.is_position_sensitive:
            self.access = self.not_reached = ""

    @property
    def year(self):
        return self.when_latest.year if self.when_latest else None

    @property
    def takes_an_answer(self):
        """True where its surveyor has been asked something and may answer."""
        if self.status == self.Status.ACCEPTED:
            return self.observations.held_back().exists()
        return self.status in (self.Status.RETURNED, self.Status.TAKEN_OUT)


class SecondSubmission(models.Model):
    """A visit sent again under the same id with other content: kept for a person."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="seconds")
    submitted = models.JSONField()
    submitted_sha256 = models.CharField(max_length=64)
    surveyor = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    received_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["visit", "submitted_sha256"], name="second_kept_once"
            )
        ]

    def __str__(self):
        return f"second submission of {self.visit_id}"


class Answer(models.TextChoices):
    SAME = "same", "Same as last time"
    CHANGED = "changed", "Changed"
    GONE = "gone", "Gone"
    NOT_SEEN = "not-seen", "Couldn't see"
    NOT_LOOKED = "not-looked", "Didn't look"


class Certainty(models.TextChoices):
    SURE = "sure", "Sure"
    PROBABLE = "probable", "Probably"
    GUESS = "guess", "A guess"


class ObservationQuerySet(models.QuerySet):
    def held_back(self):
        """Left out of the record with a question, and not yet said anew."""
        return self.filter(is_held_back=True, superseded_by__isnull=True)


class Observation(models.Model):
    """What one visit says of one element. Silence is not an answer."""

    visit = models.ForeignKey(
        Visit, on_delete=models.CASCADE, related_name="observations"
    )
    element = models.ForeignKey(Element, on_delete=models.PROTECT, related_name="+")
    answer = models.CharField(max_length=10, choices=Answer)
    # The new state when changed, less its components, which are rows of their own.
    # Shapes by kind of element: see ``surveys.states``.
    state = models.JSONField(null=True, blank=True)
    certainty = models.CharField(
        max_length=8, choices=Certainty, default=Certainty.SURE
    )
    reason = models.CharField("why it couldn't be seen", max_length=200, blank=True)
    note = models.TextField(blank=True)
    # Rolled-in names, stencils, chalk: letter by letter.
    marks = models.CharField("marks found on it", max_length=300, blank=True)
    # The observation that the surveyor's form showed as last seen.
    compared_with = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    superseded_by = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    # A reviewer may take a visit but leave one observation out, with a question.
    is_held_back = models.BooleanField(default=False)
    question = models.TextField(blank=True)
    asked_at = models.DateTimeField(null=True, blank=True)

    history = HistoricalRecords(related_name="+")
    objects = ObservationQuerySet.as_manager()

    class Meta:
        ordering = ["visit", "element__position", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["visit", "element"],
                condition=Q(superseded_by__isnull=True),
                name="observation_one_of_each_element",
                violation_error_message="This visit already says something of that.",
            ),
            models.CheckConstraint(
                name="observation_changed_has_a_state",
                condition=(Q(answer="changed") & Q(state__isnull=False))
                | (~Q(answer="changed") & Q(state__isnull=True)),
                violation_error_message="Say what it is now when it has changed.",
            ),
        ]

    def __str__(self):
        return f"{self.element_id} {self.answer}"

    def whole_state(self):
        """Return the state with its components, as the fold and the forms take it."""
        if self.state is None:
            return None
        # Where many are read at once, they bring their pieces along.
        rows = self.__dict__.get("pieces")
        rows = self.components.all() if rows is None else rows
        pieces = [piece.as_dict() for piece in rows]
        return {**self.state, "components": pieces} if pieces else dict(self.state)


class Reply(models.Model):
    """What a surveyor answers to a reviewer's question, in words."""

    client_id = models.UUIDField(unique=True, default=uuid.uuid4)
    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="replies")
    # None: an answer to what was asked of the visit as a whole.
    observation = models.ForeignKey(
        Observation,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="replies",
    )
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    # The question as it stood when it was answered.
    question = models.TextField(blank=True)
    text = models.TextField()
    sent_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["sent_at", "id"]
        verbose_name_plural = "replies"

    def __str__(self):
        return self.text[:60]


class Component(models.Model):
    """One piece of a member: two eyebars 4 × 7/8, a rod, two channels with a plate.

    Sizes in inches, weight in pounds per foot; the text as entered is kept beside.
    """

    class Shape(models.TextChoices):
        ROUND_ROD = "round-rod", "Round rod"
        SQUARE_ROD = "square-rod", "Square rod"
        EYEBAR = "eyebar", "Eyebar"
        FLAT_BAR = "flat-bar", "Flat bar"
        PLATE = "plate", "Plate"
        ANGLE = "angle", "Angle"
        CHANNEL = "channel", "Channel"
        I_BEAM = "i-beam", "I-beam"
        TIMBER = "timber", "Timber"

    class Ends(models.TextChoices):
        UPSET = "upset", "Upset"
        PLAIN_THREAD = "plain-thread", "Plain thread"
        LOOP = "loop", "Loop"
        NONE = "none", "None"

    class Origin(models.TextChoices):
        ORIGINAL = "original", "Original"
        REPLACEMENT = "replacement", "Replacement"
        ADDITION = "addition", "Addition"

    observation = models.ForeignKey(
        Observation, on_delete=models.CASCADE, related_name="components"
    )
    position = models.PositiveSmallIntegerField(default=0)
    shape = models.CharField(max_length=12, choices=Shape)
    count = models.PositiveSmallIntegerField(default=1)
    diameter_in = models.FloatField(null=True, blank=True)
    side_in = models.FloatField(null=True, blank=True)
    width_in = models.FloatField(null=True, blank=True)
    thickness_in = models.FloatField(null=True, blank=True)
    leg_in = models.FloatField(null=True, blank=True)
    other_leg_in = models.FloatField(null=True, blank=True)
    depth_in = models.FloatField(null=True, blank=True)
    weight_plf = models.FloatField(null=True, blank=True)
    flange_width_in = models.FloatField(null=True, blank=True)
    flange_thickness_in = models.FloatField(null=True, blank=True)
    web_thickness_in = models.FloatField(null=True, blank=True)
    ends = models.CharField(max_length=12, choices=Ends, blank=True)
    origin = models.CharField(max_length=12, choices=Origin, default=Origin.ORIGINAL)
    # True where the dead load was off the member while this piece was added.
    is_dead_load_relieved = models.BooleanField(default=False)
    as_entered = models.CharField(max_length=200, blank=True)

    SIZES = (
        "diameter_in",
        "side_in",
        "width_in",
        "thickness_in",
        "leg_in",
        "other_leg_in",
        "depth_in",
        "weight_plf",
        "flange_width_in",
        "flange_thickness_in",
        "web_thickness_in",
    )

    class Meta:
        ordering = ["observation", "position", "id"]
        constraints = [
            models.CheckConstraint(
                name="component_counted",
                condition=Q(count__gte=1),
                violation_error_message="There is at least one of each piece.",
            )
        ]

    def __str__(self):
        return self.as_entered or f"{self.count} {self.get_shape_display().lower()}"

    def as_dict(self):
        """Return the piece as submitted documents write it, blanks left out."""
        piece = {"shape": self.shape, "count": self.count}
        piece |= {
            name: getattr(self, name)
            for name in self.SIZES
            if getattr(self, name) is not None
        }
        if self.ends:
            piece["ends"] = self.ends
        piece["origin"] = self.origin
        if self.is_dead_load_relieved:
            piece["dead_load_relieved"] = True
        if self.as_entered:
            piece["as_entered"] = self.as_entered
        return piece


class Repair(models.Model):
    """A person's reading of one or more changes, often made long after."""

    class Reversible(models.TextChoices):
        YES = "yes", "Can be undone"
        NO = "no", "Cannot be undone"
        PARTLY = "partly", "In part"
        UNKNOWN = "unknown", "Not known"

    bridge = models.ForeignKey(Bridge, on_delete=models.CASCADE, related_name="+")
    title = models.CharField(max_length=160)
    text = models.TextField("what was done", blank=True)
    when = EdtfField("between which dates", blank=True)
    when_earliest = bound()
    when_latest = bound()
    by_whom = models.CharField(max_length=160, blank=True)
    builder = models.ForeignKey(
        Builder, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    after_visit = models.ForeignKey(
        Visit, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    seen_at_visit = models.ForeignKey(
        Visit, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    elements = models.ManyToManyField(Element, related_name="+", blank=True)
    reversible = models.CharField(
        max_length=8, choices=Reversible, default=Reversible.UNKNOWN
    )
    confidence = models.CharField(
        max_length=10, choices=Confidence, default=Confidence.PROBABLE
    )
    sources = models.ManyToManyField(Source, related_name="+", blank=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
    )

    history = HistoricalRecords(related_name="+")

    class Meta:
        ordering = ["when_latest", "id"]

    def __str__(self):
        return self.title


class Viewpoint(models.Model):
    """A described camera station, to be stood at again."""

    bridge = models.ForeignKey(Bridge, on_delete=models.CASCADE, related_name="+")
    name = models.CharField(max_length=120)
    description = models.TextField(blank=True)
    latitude = models.DecimalField(
        max_digits=9, decimal_places=6, null=True, blank=True
    )
    longitude = models.DecimalField(
        max_digits=9, decimal_places=6, null=True, blank=True
    )
    bearing_deg = models.FloatField(null=True, blank=True)
    is_mandatory = models.BooleanField(default=False)

    history = HistoricalRecords(related_name="+")

    class Meta:
        ordering = ["bridge", "name"]
        constraints = [
            models.UniqueConstraint(
                fields=["bridge", "name"], name="viewpoint_named_once"
            ),
            models.CheckConstraint(
                name="viewpoint_bearing_in_range",
                condition=Q(bearing_deg__isnull=True)
                | (Q(bearing_deg__gte=0) & Q(bearing_deg__lt=360)),
                violation_error_message="A bearing runs from 0 to below 360 degrees.",
            ),
        ]

    def __str__(self):
        return self.name


class PhotoQuerySet(models.QuerySet):
    def arrived(self):
        return self.filter(arrived_at__isnull=False)

    def public(self):
        """What everybody may see: in the record, with copies to be shown."""
        return (
            self.arrived()
            .filter(visit__status=Visit.Status.ACCEPTED)
            .exclude(derivatives={})
        )


class Photo(models.Model):
    """A photograph or drawing: the original bytes kept private, derivatives shown."""

    class Place(models.TextChoices):
        EXIF = "exif", "From the picture file"
        DEVICE = "device", "From the phone"
        TYPED = "typed", "Typed in"

    client_id = models.UUIDField(unique=True, default=uuid.uuid4)
    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="photos")
    element = models.ForeignKey(
        Element, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    viewpoint = models.ForeignKey(
        Viewpoint, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    repeats = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    is_drawing = models.BooleanField(
        default=False, help_text="A drawn illustration, not a photograph."
    )
    caption = models.CharField(max_length=300, blank=True)
    credit = models.CharField(max_length=160, blank=True)
    rights = models.CharField(max_length=120, blank=True)
    taken = EdtfField(blank=True)
    # The moment by the phone's clock, where it took the picture itself.
    taken_at = models.DateTimeField(null=True, blank=True)
    taken_earliest = bound()
    taken_latest = bound()
    latitude = models.DecimalField(
        max_digits=9, decimal_places=6, null=True, blank=True
    )
    longitude = models.DecimalField(
        max_digits=9, decimal_places=6, null=True, blank=True
    )
    position_accuracy_m = models.FloatField(null=True, blank=True)
    position_source = models.CharField(max_length=8, choices=Place, blank=True)
    bearing_deg = models.FloatField(null=True, blank=True)

    # Fixed when the photo is announced; the bytes must turn out to be these.
    name = models.CharField("file name as sent", max_length=200, blank=True)
    size_bytes = models.PositiveBigIntegerField()
    sha256 = models.CharField(max_length=64, db_index=True)
    received_bytes = models.PositiveBigIntegerField(default=0)
    arrived_at = models.DateTimeField(null=True, blank=True)
    original = models.FileField(max_length=200, blank=True)
    format = models.CharField(max_length=8, blank=True)
    width_px = models.PositiveIntegerField(null=True, blank=True)
    height_px = models.PositiveIntegerField(null=True, blank=True)
    # {"320": "photos/ab/abcd-320.jpg", "800": …, "1600": …}
    derivatives = models.JSONField(default=dict, blank=True)
    # 64 bits of how light falls off from left to right, in hexadecimal: two pictures
    # that look alike differ in few of them.
    looks = models.CharField(max_length=16, blank=True, editable=False)
    fault = models.CharField("why it could not be read", max_length=300, blank=True)

    history = HistoricalRecords(related_name="+")
    objects = PhotoQuerySet.as_manager()

    class Meta:
        ordering = ["visit", "id"]
        constraints = [
            models.CheckConstraint(
                name="photo_received_within_size",
                condition=Q(received_bytes__lte=models.F("size_bytes")),
            ),
            models.CheckConstraint(
                name="photo_not_empty",
                condition=Q(size_bytes__gt=0),
                violation_error_message="The picture file is empty.",
            ),
        ]

    def __str__(self):
        return self.caption or self.name or str(self.client_id)
