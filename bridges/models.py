"""What stands there: bridges, spans, truss lines, builders, plates, and who says so."""

import time

from django.db import connection, models, transaction
from django.db.models import F, Q
from django.db.models.query import ModelIterable
from django.urls import reverse
from simple_history.models import HistoricalRecords

from shared import policy
from shared.dates import EdtfField, bound

from .concerns import Concern
from .derived import (
    ChangeSeen,
    MapRow,
    MapTerm,
    SearchText,
    SearchWord,
    StatusSpell,
    Watch,
)
from .imported import Correspondence, Import, ImportRow
from .naming import BuilderName

__all__ = [
    "Attribution",
    "Bridge",
    "Builder",
    "BuilderName",
    "ChangeSeen",
    "Claim",
    "Concern",
    "Confidence",
    "Connection",
    "Correspondence",
    "DeckPosition",
    "Form",
    "Import",
    "ImportRow",
    "LifeEvent",
    "Link",
    "MapRow",
    "MapTerm",
    "MapVersion",
    "Material",
    "Plate",
    "SearchText",
    "SearchWord",
    "Source",
    "Span",
    "Standing",
    "StatusSpell",
    "TrussLine",
    "Watch",
    "family_of",
    "generalised",
]


class Confidence(models.TextChoices):
    CERTAIN = "certain", "Certain"
    PROBABLE = "probable", "Probable"
    POSSIBLE = "possible", "Possible"
    UNKNOWN = "unknown", "Not known"


class Form(models.TextChoices):
    """The outline of a span's web, or of its kind where there is no web."""

    PRATT = "pratt", "Pratt"
    HALF_HIP_PRATT = "half-hip-pratt", "Half-hip Pratt"
    PARKER = "parker", "Parker"
    CAMELBACK = "camelback", "Camelback"
    HOWE = "howe", "Howe"
    WARREN = "warren", "Warren"
    WARREN_WITH_VERTICALS = "warren-with-verticals", "Warren with verticals"
    DOUBLE_INTERSECTION_PRATT = (
        "double-intersection-pratt",
        "Double-intersection Pratt",
    )
    DOUBLE_INTERSECTION_WARREN = (
        "double-intersection-warren",
        "Double-intersection Warren",
    )
    POST = "post", "Post truss"
    BALTIMORE = "baltimore", "Baltimore"
    PENNSYLVANIA = "pennsylvania", "Pennsylvania"
    KELLOGG = "kellogg", "Kellogg"
    K_TRUSS = "k-truss", "K truss"
    KING_POST = "king-post", "King post"
    QUEEN_POST = "queen-post", "Queen post"
    A_TRUSS = "a-truss", "A-truss"
    BOWSTRING = "bowstring", "Bowstring"
    BURR_ARCH = "burr-arch", "Burr arch truss"
    LATTICE = "lattice", "Lattice"
    LENTICULAR = "lenticular", "Lenticular"
    BEDSTEAD = "bedstead", "Bedstead"
    FINK = "fink", "Fink"
    BOLLMAN = "bollman", "Bollman"
    STONE_ARCH = "stone-arch", "Stone arch"
    CONCRETE_ARCH = "concrete-arch", "Concrete arch"
    PLATE_GIRDER = "plate-girder", "Plate girder"
    BEAM = "beam", "Rolled beam"
    SUSPENSION = "suspension", "Suspension"
    OTHER = "other", "Other"
    UNKNOWN = "unknown", "Not known"


FAMILIES = {
    Form.STONE_ARCH: "arch",
    Form.CONCRETE_ARCH: "arch",
    Form.PLATE_GIRDER: "beam",
    Form.BEAM: "beam",
    Form.SUSPENSION: "suspension",
    Form.OTHER: "other",
    Form.UNKNOWN: "other",
}


def family_of(form):
    """Return truss, arch, beam, suspension or other."""
    return FAMILIES.get(form, "truss")


class DeckPosition(models.TextChoices):
    THROUGH = "through", "Through"
    PONY = "pony", "Pony"
    DECK = "deck", "Deck"
    UNKNOWN = "unknown", "Not known"


class Connection(models.TextChoices):
    PIN = "pin", "Pin-connected"
    RIVETED = "riveted", "Riveted"
    BOLTED = "bolted", "Bolted"
    JOINTED = "timber-joint", "Timber joints"
    NONE = "none", "Not a truss"
    UNKNOWN = "unknown", "Not known"


class Material(models.TextChoices):
    WROUGHT_IRON = "wrought-iron", "Wrought iron"
    STEEL = "steel", "Steel"
    CAST_AND_WROUGHT = "cast-and-wrought-iron", "Cast and wrought iron"
    TIMBER = "timber", "Timber"
    STONE = "stone", "Stone"
    CONCRETE = "concrete", "Concrete"
    UNKNOWN = "unknown", "Not known"


class Source(models.Model):
    """Where a fact comes from: a drawing, a newspaper, a plate, somebody's memory."""

    class Kind(models.TextChoices):
        DRAWING = "drawing", "Drawing"
        PHOTOGRAPH = "photograph", "Photograph"
        NEWSPAPER = "newspaper", "Newspaper"
        BOOK = "book", "Book or article"
        RECORD = "record", "Public record"
        PLATE = "plate", "Plate or inscription"
        INTERVIEW = "interview", "Interview"
        FIELD = "field", "Field visit"
        OTHER = "other", "Other"

    kind = models.CharField(max_length=20, choices=Kind, default=Kind.OTHER)
    title = models.CharField(max_length=240)
    author = models.CharField(max_length=160, blank=True)
    date = EdtfField(blank=True)
    date_earliest = bound()
    date_latest = bound()
    held_by = models.CharField("where it is kept", max_length=200, blank=True)
    locator = models.CharField("page, sheet or call number", max_length=160, blank=True)
    url = models.URLField(blank=True)

    history = HistoricalRecords(related_name="+")

    class Meta:
        ordering = ["title", "id"]

    def __str__(self):
        return self.title


class Builder(models.Model):
    """A firm or a person who built bridges."""

    name = models.CharField(max_length=160, unique=True)
    slug = models.SlugField(max_length=120, unique=True)
    place = models.CharField(max_length=160, blank=True)
    active = EdtfField("years active", blank=True)
    active_earliest = bound()
    active_latest = bound()
    notes = models.TextField(blank=True)

    history = HistoricalRecords(related_name="+")

    class Meta:
        ordering = ["name"]

    def __str__(self):
        return self.name

    def get_absolute_url(self):
        return reverse("bridges:builder", args=[self.slug])


# Words that stand where a slug stands in the API's addresses.
RESERVED_SLUGS = ("map",)


class ForVisitors(ModelIterable):
    """Makes bridges without what visitors may not know of them."""

    def __iter__(self):
        for bridge in super().__iter__():
            bridge.withhold()
            yield bridge


class BridgeQuerySet(models.QuerySet):
    def visible_to(self, person):
        """Drop what only the society's own people may see.

        Whole bridges, and what each tells: how to reach one, whom to ask, and of a
        sensitive one the exact place and the names that give it away. What a visitor's
        bridge holds is therefore fit for any page, answer or file.
        """
        if policy.can_log_visits(person):
            return self
        seen = self.filter(is_public=True)
        seen._iterable_class = ForVisitors
        return seen

    def for_list(self):
        return self.select_related("standing").order_by("name", "id")


class Bridge(models.Model):
    """One crossing's structure, with its whole life: built, moved, bypassed, lost."""

    class Status(models.TextChoices):
        IN_SERVICE = "in-service", "Open to traffic"
        FOOT_ONLY = "foot-only", "Open on foot only"
        CLOSED = "closed", "Closed"
        BYPASSED = "bypassed", "Bypassed"
        MOVED = "moved", "Moved"
        STORED = "stored", "Taken down and stored"
        LOST = "lost", "Lost"

    class Listing(models.TextChoices):
        NONE = "none", "Not evaluated"
        ELIGIBLE = "eligible", "Found eligible"
        LISTED = "listed", "Listed"
        NOT_ELIGIBLE = "not-eligible", "Found not eligible"

    name = models.CharField(max_length=160)
    slug = models.SlugField(max_length=160, unique=True)
    number = models.CharField("society number", max_length=20, unique=True)
    also_known_as = models.CharField(max_length=240, blank=True)
    county = models.CharField(max_length=80)
    town = models.CharField(max_length=120, blank=True)
    road = models.CharField("carries", max_length=160, blank=True)
    crossing = models.CharField("crosses", max_length=160, blank=True)

    latitude = models.DecimalField(max_digits=9, decimal_places=6)
    longitude = models.DecimalField(max_digits=9, decimal_places=6)
    position_accuracy_m = models.PositiveIntegerField(null=True, blank=True)
    is_position_sensitive = models.BooleanField(
        "show only the area", default=False, help_text="Visitors see about 2 miles."
    )
    is_public = models.BooleanField(default=True)

    status = models.CharField(max_length=20, choices=Status, default=Status.IN_SERVICE)
    listing = models.CharField(max_length=20, choices=Listing, default=Listing.NONE)
    built = EdtfField(blank=True)
    built_earliest = bound()
    built_latest = bound()
    built_confidence = models.CharField(
        max_length=10, choices=Confidence, default=Confidence.PROBABLE
    )
    lost = EdtfField("lost or moved away", blank=True)
    lost_earliest = bound()
    lost_latest = bound()
    summary = models.TextField(blank=True)
    access_notes = models.TextField(blank=True)
    owner = models.CharField(max_length=160, blank=True)
    owner_contact = models.CharField(
        max_length=200, blank=True, help_text="Seen by the society's people only."
    )

    history = HistoricalRecords(related_name="+")
    objects = BridgeQuerySet.as_manager()

    class Meta:
        ordering = ["name", "id"]
        indexes = [
            models.Index(fields=["name", "id"], name="bridge_in_order_of_name"),
            models.Index(fields=["crossing"], name="bridge_over_water"),
            models.Index(fields=["road"], name="bridge_on_road"),
        ]
        constraints = [
            models.CheckConstraint(
                name="bridge_latitude_in_range",
                condition=Q(latitude__gte=-90) & Q(latitude__lte=90),
                violation_error_message="Latitude runs from −90 to 90.",
            ),
            models.CheckConstraint(
                name="bridge_longitude_in_range",
                condition=Q(longitude__gte=-180) & Q(longitude__lte=180),
                violation_error_message="Longitude runs from −180 to 180.",
            ),
            models.CheckConstraint(
                name="bridge_slug_not_reserved",
                condition=~Q(slug__in=RESERVED_SLUGS),
                violation_error_message="The site uses that address itself.",
            ),
        ]

    def __str__(self):
        return self.name

    def save(self, *args, **kwargs):
        if self.is_withheld:
            raise ValueError("A bridge as visitors see it cannot be saved.")
        super().save(*args, **kwargs)

    def get_absolute_url(self):
        return reverse("bridge", args=[self.slug])

    @property
    def is_standing(self):
        return self.status not in (self.Status.LOST, self.Status.STORED)

    # True for a bridge made for visitors: some of it is left out, so it is not stored.
    is_withheld = False
    # What would lead a stranger to a sensitive bridge, beside its position.
    TELLING = ("road", "crossing")
    SOCIETY = ("access_notes", "owner_contact")

    def withhold(self):
        """Leave out what visitors may not know; the bridge can then not be saved."""
        self.is_withheld = True
        held = self.__dict__
        blank = [*self.SOCIETY]
        # Not loaded is not asked: better too little told than too much.
        if held.get("is_position_sensitive", True):
            blank += self.TELLING
            if "latitude" in held and "longitude" in held:
                place = generalised(float(self.latitude), float(self.longitude))
                self.latitude, self.longitude = place
        for name in blank:
            setattr(self, name, "")

    def position_for(self, person):
        """Return (latitude, longitude, is_exact), rounded off where it is sensitive."""
        place = float(self.latitude), float(self.longitude)
        if not self.is_position_sensitive or policy.can_see_exact_positions(person):
            return *place, True
        return *generalised(*place), False


# One fiftieth of a degree is about 1.4 miles north to south.
GENERAL_DEGREES = 0.02


def generalised(latitude, longitude):
    """Return the middle of the square a sensitive position lies in.

    At the edges of the world, the middle of the last square inside it.
    """
    return tuple(
        round(
            (min(degrees, most - 0.001) // GENERAL_DEGREES + 0.5) * GENERAL_DEGREES, 4
        )
        for degrees, most in ((latitude, 90), (longitude, 180))
    )


class Standing(models.Model):
    """What the record says of a bridge now, gathered for lists, filters and the map.

    Derived: written by ``bridges.services.refresh_standing`` (identity) and by the
    survey room (deck, visits, changes); never typed in.
    """

    bridge = models.OneToOneField(
        Bridge, on_delete=models.CASCADE, primary_key=True, related_name="standing"
    )
    family = models.CharField(max_length=12, default="other", db_index=True)
    form = models.CharField(max_length=30, choices=Form, default=Form.UNKNOWN)
    deck_position = models.CharField(
        max_length=10, choices=DeckPosition, default=DeckPosition.UNKNOWN
    )
    connection = models.CharField(
        max_length=14, choices=Connection, default=Connection.UNKNOWN
    )
    material = models.CharField(
        max_length=24, choices=Material, default=Material.UNKNOWN
    )
    span_count = models.PositiveSmallIntegerField(default=0)
    longest_span_ft = models.FloatField(null=True, blank=True)
    builder_names = models.CharField(max_length=400, blank=True)
    deck = models.CharField("deck now", max_length=30, blank=True, db_index=True)
    posted_tons = models.FloatField(null=True, blank=True)
    visit_count = models.PositiveIntegerField(default=0)
    last_visited = models.DateField(null=True, blank=True, db_index=True)
    last_changed = models.DateField(null=True, blank=True, db_index=True)
    # Words such as ",deck,chord,counter," of the changes seen at the latest visit
    # that saw any; commas at both ends so that one word can be found by LIKE.
    changed_parts = models.CharField(max_length=200, blank=True)
    # The same of every visit together.
    ever_changed = models.CharField(max_length=200, blank=True)
    panels = models.PositiveSmallIntegerField(null=True, blank=True)
    total_length_ft = models.FloatField("all spans (ft)", null=True, blank=True)
    # Words of ``bridges.filters.PLATES``, with commas as above.
    plates = models.CharField(max_length=60, blank=True)
    repair_count = models.PositiveSmallIntegerField(default=0)
    # {"railing": "as built", "deck": "replaced", …}: what of a bridge as built is left,
    # as the survey room reads it; only of what a visit has said something.
    features = models.JSONField(default=dict, blank=True)

    def __str__(self):
        return f"standing of {self.bridge_id}"


# Shorter than anybody's way from a form to the map it changed.
GLANCE_S = 0.05


class MapVersion(models.Model):
    """One row whose number grows with each write that the map or list must show."""

    id = models.PositiveSmallIntegerField(primary_key=True, default=1)
    number = models.PositiveBigIntegerField(default=0)

    # Up to which version an index must be made anew and cannot be mended row by row.
    whole = models.PositiveBigIntegerField(default=0)
    # How the rows were packed (``packing.LAYOUT``): another release may do otherwise.
    layout = models.CharField(max_length=40, blank=True)

    # (when it was looked at, of which cache's life, the number): see ``glanced``.
    _glance = (0.0, "", 0)

    @classmethod
    def glanced(cls, token):
        """Return the number that stands, or stood at most ``GLANCE_S`` ago.

        A map that is moved asks many times a second. Within a transaction, and after
        a write of this process, it is always asked anew.
        """
        if connection.in_atomic_block:
            return cls.current()
        moment, of, number = cls._glance
        now = time.monotonic()
        if of != token or now - moment > GLANCE_S:
            number = cls.current()
            cls._glance = (now, token, number)
        return number

    @classmethod
    def _look_again(cls):
        cls._glance = (0.0, "", 0)

    @classmethod
    def bump(cls, bridges=None):
        """Tell that these bridges (their ids) were written; None: any may have been.

        Packs them for the map and writes the words they are found by, so it belongs
        in the transaction of the write, after it.
        """
        from . import packing, search

        if not cls.objects.filter(pk=1).update(number=F("number") + 1):
            cls.objects.get_or_create(
                pk=1, defaults={"number": 1, "layout": packing.LAYOUT}
            )
        transaction.on_commit(cls._look_again)
        number = cls.current()
        if bridges is None:
            cls.objects.filter(pk=1).update(whole=number, layout=packing.LAYOUT)
        packing.pack(bridges, number)
        search.write(bridges)

    @classmethod
    def drop(cls):
        """Tell that a bridge is gone: indexes are made anew of the rows there are."""
        next_one = F("number") + 1
        cls.objects.filter(pk=1).update(number=next_one, whole=next_one)
        transaction.on_commit(cls._look_again)

    @classmethod
    def current(cls):
        # Asked with every look at the map, and the ORM takes ten times as long to say it.
        with connection.cursor() as cursor:
            cursor.execute(f"SELECT number FROM {cls._meta.db_table} WHERE id = 1")
            row = cursor.fetchone()
        return row[0] if row else 0


class LifeEvent(models.Model):
    """Something that befell the whole bridge, dated and with its evidence."""

    class Kind(models.TextChoices):
        BUILT = "built", "Built"
        ALTERED = "altered", "Altered"
        MOVED = "moved", "Moved"
        BYPASSED = "bypassed", "Bypassed"
        CLOSED = "closed", "Closed"
        REOPENED = "reopened", "Reopened"
        LISTED = "listed", "Listed"
        LOST = "lost", "Lost"
        OTHER = "other", "Other"

    bridge = models.ForeignKey(Bridge, on_delete=models.CASCADE, related_name="events")
    kind = models.CharField(max_length=12, choices=Kind)
    when = EdtfField()
    when_earliest = bound()
    when_latest = bound()
    text = models.TextField(blank=True)
    confidence = models.CharField(
        max_length=10, choices=Confidence, default=Confidence.PROBABLE
    )
    source = models.ForeignKey(
        Source, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    history = HistoricalRecords(related_name="+")

    class Meta:
        ordering = ["when_earliest", "id"]

    def __str__(self):
        return f"{self.get_kind_display()} {self.when}"


class Attribution(models.Model):
    """Who had which hand in a bridge, and how surely."""

    class Role(models.TextChoices):
        BUILDER = "builder", "Built by"
        DESIGNER = "designer", "Designed by"
        FABRICATOR = "fabricator", "Metal by"
        MASON = "mason", "Masonry by"

    bridge = models.ForeignKey(
        Bridge, on_delete=models.CASCADE, related_name="attributions"
    )
    builder = models.ForeignKey(
        Builder, on_delete=models.PROTECT, related_name="attributions"
    )
    role = models.CharField(max_length=12, choices=Role, default=Role.BUILDER)
    confidence = models.CharField(
        max_length=10, choices=Confidence, default=Confidence.PROBABLE
    )
    source = models.ForeignKey(
        Source, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    history = HistoricalRecords(related_name="+")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["bridge", "builder", "role"], name="attribution_said_once"
            )
        ]

    def __str__(self):
        return f"{self.get_role_display()} {self.builder}"


class Span(models.Model):
    """One simple span: four facets, each with its own confidence and source."""

    bridge = models.ForeignKey(Bridge, on_delete=models.CASCADE, related_name="spans")
    number = models.PositiveSmallIntegerField(default=1)
    name = models.CharField(max_length=80, blank=True)

    form = models.CharField(max_length=30, choices=Form, default=Form.UNKNOWN)
    form_confidence = models.CharField(
        max_length=10, choices=Confidence, default=Confidence.PROBABLE
    )
    form_source = models.ForeignKey(
        Source, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    deck_position = models.CharField(
        max_length=10, choices=DeckPosition, default=DeckPosition.UNKNOWN
    )
    deck_position_confidence = models.CharField(
        max_length=10, choices=Confidence, default=Confidence.PROBABLE
    )
    deck_position_source = models.ForeignKey(
        Source, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    connection = models.CharField(
        max_length=14, choices=Connection, default=Connection.UNKNOWN
    )
    connection_confidence = models.CharField(
        max_length=10, choices=Confidence, default=Confidence.PROBABLE
    )
    connection_source = models.ForeignKey(
        Source, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    material = models.CharField(
        max_length=24, choices=Material, default=Material.UNKNOWN
    )
    material_confidence = models.CharField(
        max_length=10, choices=Confidence, default=Confidence.PROBABLE
    )
    material_source = models.ForeignKey(
        Source, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    length_ft = models.FloatField("span length (ft)", null=True, blank=True)
    length_as_entered = models.CharField(max_length=40, blank=True)
    panels = models.PositiveSmallIntegerField(null=True, blank=True)
    panel_length_ft = models.FloatField(null=True, blank=True)
    # One number per panel where they differ; otherwise null.
    panel_lengths_ft = models.JSONField(null=True, blank=True)
    depth_ft = models.FloatField(null=True, blank=True)
    depth_as_entered = models.CharField(max_length=40, blank=True)
    hip_offset_ft = models.FloatField(null=True, blank=True)
    upper_heights_ft = models.JSONField(null=True, blank=True)
    crossed_panels = models.JSONField(default=list, blank=True)
    roadway_ft = models.FloatField(null=True, blank=True)
    trusses_apart_ft = models.FloatField(null=True, blank=True)
    measured_how = models.CharField(
        max_length=12,
        choices=[
            ("taped", "Taped"),
            ("paced", "Paced"),
            ("scaled", "Scaled from a drawing or photograph"),
            ("document", "From a document"),
            ("unknown", "Not known"),
        ],
        default="unknown",
    )
    origin_end = models.CharField(
        "end that L0 is at", max_length=60, default="west end"
    )
    # Joints and bars laid out from the form, for drawings and for the members'
    # identities: {"joints": {"L0": [x_ft, y_ft]}, "members": [["L0L1", "L0", "L1",
    # "lower-chord"], …]}. Written by ``analysis.layout.lay_out``; null for no truss.
    skeleton = models.JSONField(null=True, blank=True, editable=False)
    made_in = EdtfField("year of the metal, if not the bridge's", blank=True)
    made_in_earliest = bound()
    made_in_latest = bound()

    history = HistoricalRecords(related_name="+")

    class Meta:
        ordering = ["bridge", "number"]
        constraints = [
            models.UniqueConstraint(
                fields=["bridge", "number"], name="span_numbered_once"
            ),
            models.CheckConstraint(
                name="span_length_positive",
                condition=Q(length_ft__isnull=True) | Q(length_ft__gt=0),
                violation_error_message="A span must be longer than zero.",
            ),
            models.CheckConstraint(
                name="span_panels_positive",
                condition=Q(panels__isnull=True) | Q(panels__gt=0),
                violation_error_message="A truss has at least one panel.",
            ),
            models.CheckConstraint(
                name="span_depth_positive",
                condition=Q(depth_ft__isnull=True) | Q(depth_ft__gt=0),
                violation_error_message="A truss must be deeper than zero.",
            ),
        ]

    def __str__(self):
        return self.name or f"span {self.number}"


class TrussLine(models.Model):
    """One of the vertical frames of a span, named by the river or the compass."""

    span = models.ForeignKey(Span, on_delete=models.CASCADE, related_name="truss_lines")
    key = models.SlugField(max_length=30)
    name = models.CharField(max_length=60)
    position = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["span", "position", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["span", "key"], name="truss_line_named_once"
            )
        ]

    def __str__(self):
        return f"{self.name} truss"

    @property
    def address(self):
        """``upstream`` on a one-span bridge, ``2-upstream`` on the second span."""
        return self.key if self.span.number == 1 else f"{self.span.number}-{self.key}"


class Plate(models.Model):
    """A builder's or commissioners' plate, or where one was."""

    class Kind(models.TextChoices):
        BUILDER = "builder", "Builder's plate"
        COMMISSIONERS = "commissioners", "Commissioners' plate"
        DATE = "date", "Date plate"
        MEMORIAL = "memorial", "Memorial or marker"
        OTHER = "other", "Other"

    bridge = models.ForeignKey(Bridge, on_delete=models.CASCADE, related_name="plates")
    key = models.SlugField(max_length=40)
    kind = models.CharField(max_length=14, choices=Kind, default=Kind.BUILDER)
    location = models.CharField(max_length=160)
    transcription = models.TextField(
        blank=True, help_text="Letter by letter, line by line; [?] for what is lost."
    )
    builder = models.ForeignKey(
        Builder, null=True, blank=True, on_delete=models.PROTECT, related_name="plates"
    )
    whereabouts = models.CharField("where it is now", max_length=200, blank=True)

    history = HistoricalRecords(related_name="+")

    class Meta:
        ordering = ["bridge", "key"]
        constraints = [
            models.UniqueConstraint(fields=["bridge", "key"], name="plate_keyed_once")
        ]

    def __str__(self):
        return f"{self.get_kind_display().lower()}, {self.location}"


class Claim(models.Model):
    """A fact as one source gives it. Claims may disagree; one may be chosen."""

    bridge = models.ForeignKey(Bridge, on_delete=models.CASCADE, related_name="claims")
    about = models.CharField(max_length=60, help_text="built, builder, span length …")
    value = models.CharField(max_length=240)
    source = models.ForeignKey(Source, on_delete=models.PROTECT, related_name="claims")
    confidence = models.CharField(
        max_length=10, choices=Confidence, default=Confidence.PROBABLE
    )
    is_chosen = models.BooleanField(default=False)
    reason = models.CharField(max_length=300, blank=True)

    history = HistoricalRecords(related_name="+")

    class Meta:
        ordering = ["about", "-is_chosen", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["bridge", "about"],
                condition=Q(is_chosen=True),
                name="claim_one_chosen_of_each",
                violation_error_message="Another claim about this is chosen already.",
            )
        ]

    def __str__(self):
        return f"{self.about}: {self.value}"


class Link(models.Model):
    """A page or a recording about a bridge, and the minute in it."""

    class Kind(models.TextChoices):
        PAGE = "page", "Page"
        RECORDING = "recording", "Recording"

    bridge = models.ForeignKey(Bridge, on_delete=models.CASCADE, related_name="links")
    kind = models.CharField(max_length=10, choices=Kind, default=Kind.PAGE)
    title = models.CharField(max_length=200)
    url = models.URLField(max_length=500)
    starts_at_s = models.PositiveIntegerField("starts at (seconds)", default=0)

    class Meta:
        ordering = ["title", "id"]
        constraints = [
            models.CheckConstraint(
                name="link_to_a_web_page",
                condition=Q(url__startswith="https://") | Q(url__startswith="http://"),
                violation_error_message="A link starts with https:// or http://.",
            )
        ]

    def __str__(self):
        return self.title

    @property
    def address(self):
        """The address with the moment in it (W3C Media Fragments URI 1.0, ``#t=``)."""
        if not self.starts_at_s or "#" in self.url:
            return self.url
        return f"{self.url}#t={self.starts_at_s}"

    @property
    def minute(self):
        return f"{self.starts_at_s // 60}:{self.starts_at_s % 60:02d}"
