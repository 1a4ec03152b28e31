"""Which rows an archive holds, in which files, by which names they call one another.

Every model of the site is either a ``Kind`` here, the history of one, or stands in
``LEFT_OUT`` with the reason; a test walks the models. Kinds stand in an order in which
each names only what came before it, or rows of its own.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

from django.apps import apps
from django.db.models import ForeignKey

from shared.dates import EdtfField


@dataclass(frozen=True)
class Kind:
    """One file of an archive, a row of a model each line."""

    name: str
    label: str
    # What the row is: for the archive's own description.
    about: str
    # Fields by which other rows name one of these; none: the number of its line.
    key: tuple[str, ...] = ()
    # Fields that are not archived, and why not.
    without: dict[str, str] = field(default_factory=dict)
    many: tuple[str, ...] = ()
    # Lists of lists that each begin with a bridge.
    listed: tuple[str, ...] = ()
    # Of the public archive: the fields in it, or none where the kind is not in it.
    public: tuple[str, ...] = ()
    # True for the history of another kind.
    of: str = ""

    @property
    def model(self):
        return apps.get_model(self.label)

    @cached_property
    def fields(self) -> list:
        """Columns as they are archived: bounds of dates follow from their text."""
        model = self.model
        dates = [one.name for one in model._meta.fields if isinstance(one, EdtfField)]
        bounds = {f"{name}_{end}" for name in dates for end in ("earliest", "latest")}
        left = {*bounds, *self.without, model._meta.pk.name, "history_relation"}
        if self.of:
            left |= {"id"}
        return [one for one in model._meta.concrete_fields if one.name not in left]

    @cached_property
    def references(self) -> dict[str, str]:
        """Return ``{field: kind}`` of the columns that name another row."""
        return {
            one.name: BY_LABEL[one.related_model._meta.label].name
            for one in self.fields
            if isinstance(one, ForeignKey)
        }

    @cached_property
    def key_paths(self) -> tuple[str, ...]:
        """The key as look-ups, those of foreign keys written out."""
        paths = []
        for name in self.key:
            column = self.model._meta.get_field(name)
            if not isinstance(column, ForeignKey):
                paths.append(name)
                continue
            target = BY_LABEL[column.related_model._meta.label]
            paths += [f"{name}__{path}" for path in target.key_paths]
        return tuple(paths)


SPAN_FACETS = ("form", "deck_position", "connection", "material")

KINDS = [
    Kind(
        "people",
        "shared.Person",
        "Who signs in. No password: whoever is loaded elsewhere sets one anew.",
        key=("username",),
        without={
            "password": "an archive is handed on; passwords stay with the site",
            "last_login": "says nothing of the record",
            "is_staff": "what somebody may do follows from their groups",
            "is_superuser": "what somebody may do follows from their groups",
            "user_permissions": "what somebody may do follows from their groups",
        },
        many=("groups",),
    ),
    Kind(
        "sources",
        "bridges.Source",
        "Where facts come from.",
        public=("kind", "title", "author", "date", "held_by", "locator", "url"),
    ),
    Kind(
        "builders",
        "bridges.Builder",
        "Who built bridges.",
        key=("slug",),
        public=("name", "slug", "place", "active", "notes"),
    ),
    Kind(
        "builder-names",
        "bridges.BuilderName",
        "What a builder was called when.",
        public=("builder", "name", "when", "source", "note"),
    ),
    Kind(
        "bridges",
        "bridges.Bridge",
        "The bridges.",
        key=("slug",),
        public=(
            "name",
            "slug",
            "number",
            "also_known_as",
            "county",
            "town",
            "road",
            "crossing",
            "latitude",
            "longitude",
            "position_accuracy_m",
            "is_position_sensitive",
            "is_public",
            "status",
            "listing",
            "built",
            "built_confidence",
            "lost",
            "summary",
            "owner",
        ),
    ),
    Kind(
        "spans",
        "bridges.Span",
        "Their spans; lengths in feet.",
        key=("bridge", "number"),
        public=(
            "bridge",
            "number",
            "name",
            *SPAN_FACETS,
            *(f"{name}_confidence" for name in SPAN_FACETS),
            *(f"{name}_source" for name in SPAN_FACETS),
            "length_ft",
            "length_as_entered",
            "panels",
            "panel_length_ft",
            "panel_lengths_ft",
            "depth_ft",
            "depth_as_entered",
            "hip_offset_ft",
            "upper_heights_ft",
            "crossed_panels",
            "roadway_ft",
            "trusses_apart_ft",
            "measured_how",
            "origin_end",
            "skeleton",
            "made_in",
        ),
    ),
    Kind(
        "truss-lines",
        "bridges.TrussLine",
        "The vertical frames of each span.",
        key=("span", "key"),
        public=("span", "key", "name", "position"),
    ),
    Kind(
        "events",
        "bridges.LifeEvent",
        "What befell whole bridges.",
        public=("bridge", "kind", "when", "text", "confidence", "source"),
    ),
    Kind(
        "attributions",
        "bridges.Attribution",
        "Who had which hand in a bridge.",
        key=("bridge", "builder", "role"),
        public=("bridge", "builder", "role", "confidence", "source"),
    ),
    Kind(
        "plates",
        "bridges.Plate",
        "Plates, letter by letter.",
        key=("bridge", "key"),
        public=("bridge", "key", "kind", "location", "transcription", "builder"),
    ),
    Kind(
        "claims",
        "bridges.Claim",
        "Facts as one source gives them; the chosen one says why.",
        public=(
            "bridge",
            "about",
            "value",
            "source",
            "confidence",
            "is_chosen",
            "reason",
        ),
    ),
    Kind(
        "links",
        "bridges.Link",
        "Pages and recordings elsewhere.",
        public=("bridge", "kind", "title", "url", "starts_at_s"),
    ),
    Kind(
        "elements",
        "surveys.Element",
        "What can be looked at: members, decks, plates, limits …",
        key=("bridge", "path"),
        public=(
            "bridge",
            "span",
            "truss_line",
            "plate",
            "kind",
            "path",
            "member",
            "role",
            "name",
            "position",
        ),
    ),
    Kind(
        "visits",
        "surveys.Visit",
        "Each occasion of looking, with what was sent word for word.",
        key=("client_id",),
        public=(
            "client_id",
            "bridge",
            "when",
            "basis",
            "people",
            "access",
            "not_reached",
            "notes",
            "source",
            "is_danger",
            "danger_note",
            "status",
            "submitted_at",
        ),
    ),
    Kind(
        "second-submissions",
        "surveys.SecondSubmission",
        "Visits sent again under the same id with other content.",
    ),
    Kind(
        "observations",
        "surveys.Observation",
        "What one visit says of one element.",
        public=(
            "visit",
            "element",
            "answer",
            "state",
            "certainty",
            "reason",
            "note",
            "marks",
        ),
    ),
    Kind(
        "replies",
        "surveys.Reply",
        "What surveyors answered to reviewers.",
        key=("client_id",),
    ),
    Kind(
        "components",
        "surveys.Component",
        "The pieces of members; sizes in inches, weights in pounds per foot.",
        public=(
            "observation",
            "position",
            "shape",
            "count",
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
            "ends",
            "origin",
            "is_dead_load_relieved",
            "as_entered",
        ),
    ),
    Kind(
        "viewpoints",
        "surveys.Viewpoint",
        "Camera stations to be stood at again.",
        key=("bridge", "name"),
        public=(
            "bridge",
            "name",
            "description",
            "latitude",
            "longitude",
            "bearing_deg",
            "is_mandatory",
        ),
    ),
    Kind(
        "repairs",
        "surveys.Repair",
        "Readings of changes: what was done, when, by whom.",
        many=("elements", "sources"),
        public=(
            "bridge",
            "title",
            "text",
            "when",
            "by_whom",
            "builder",
            "after_visit",
            "seen_at_visit",
            "reversible",
            "confidence",
            "elements",
            "sources",
        ),
    ),
    Kind(
        "photos",
        "surveys.Photo",
        "Photographs and drawings; their files are below media/.",
        key=("client_id",),
        public=(
            "client_id",
            "visit",
            "element",
            "viewpoint",
            "is_drawing",
            "caption",
            "credit",
            "rights",
            "taken",
            "latitude",
            "longitude",
            "bearing_deg",
            "size_bytes",
            "sha256",
            "arrived_at",
            "format",
            "width_px",
            "height_px",
            "derivatives",
            "looks",
        ),
    ),
    Kind(
        "changes-seen",
        "bridges.ChangeSeen",
        "When the record first held each change, for feeds and mail.",
        key=("bridge", "key"),
        public=("bridge", "key", "day", "parts", "text", "noted_at"),
    ),
    Kind(
        "concerns",
        "bridges.Concern",
        "What is afoot, who acts on it and until when; told to the society's people.",
    ),
    Kind("watches", "bridges.Watch", "What people asked to be told of."),
    Kind(
        "imports",
        "bridges.Import",
        "Lists that were brought in, each of one vintage.",
        without={
            "stored": "the file until it is read; its rows are here word for word",
            "job": "work of one site",
        },
    ),
    Kind(
        "import-rows",
        "bridges.ImportRow",
        "Their rows word for word, and what was made of each.",
        listed=("candidates",),
    ),
    Kind(
        "correspondences",
        "bridges.Correspondence",
        "Which bridge a record of a list is, and who said so.",
        key=("list_name", "key"),
    ),
    Kind(
        "dossiers",
        "analysis.Dossier",
        "What officers wrote for nominations.",
        key=("bridge", "number"),
    ),
]

LEFT_OUT = {
    "bridges.MapRow": "follows from the bridges; written anew when loaded",
    "bridges.MapTerm": "follows from the bridges; written anew when loaded",
    "bridges.MapVersion": "counts the writes of one site",
    "bridges.SearchText": "follows from the record; written anew when loaded",
    "bridges.SearchWord": "follows from the record; written anew when loaded",
    "bridges.Standing": "follows from the record; written anew when loaded",
    "bridges.StatusSpell": "follows from the events; written anew when loaded",
    "analysis.Check": "computed from the record; computed anew when loaded",
    "analysis.ConfigurationCheck": "computed from the record; computed anew",
    "analysis.Effect": "computed from the record; computed anew when loaded",
    "analysis.Finding": "computed from the record when first asked for",
    "analysis.InStep": "tells what need not be computed anew on one site",
    "analysis.ToMeasure": "computed from the record when first asked for",
    "shared.AuditEntry": "who did what on one site; a backup keeps it",
    "shared.Invitation": "a letter under way from one site; to be sent anew",
    "shared.Job": "work of one site",
    "shared.Tally": "counts the callers of one minute",
    "shared.Person_groups": "stands with the people",
    "shared.Person_user_permissions": "not used: groups say who may do what",
    "surveys.Repair_elements": "stands with the repairs",
    "surveys.Repair_sources": "stands with the repairs",
    "auth.Group": "made by migrating; people name theirs",
    "auth.Permission": "made by migrating",
    "auth.Group_permissions": "not used: groups say who may do what",
    "contenttypes.ContentType": "made by migrating",
    "sessions.Session": "who is signed in to one site now",
    "axes.AccessFailureLog": "failed sign-ins of one site",
    "axes.AccessAttempt": "failed sign-ins of one site",
    "axes.AccessAttemptExpiration": "failed sign-ins of one site",
    "axes.AccessLog": "sign-ins of one site",
}

BY_LABEL = {kind.label: kind for kind in KINDS}
BY_NAME = {kind.name: kind for kind in KINDS}


def histories() -> list[Kind]:
    """Return a kind for the history of each kind that has one: every edit ever made."""
    return [
        Kind(
            f"history-{kind.name}",
            kind.model.history.model._meta.label,
            f"Every state that rows of “{kind.name}” were ever saved in, by whom.",
            of=kind.name,
            without=kind.without,
        )
        for kind in KINDS
        if hasattr(kind.model, "history")
    ]


def kinds(*, public: bool) -> list[Kind]:
    """Return the files of an archive in their order."""
    if public:
        return [kind for kind in KINDS if kind.public]
    return [*KINDS, *histories()]


def unaccounted(models):
    """Return the labels of models that are neither archived nor left out."""
    known = {*BY_LABEL, *LEFT_OUT, *(one.label for one in histories())}
    return sorted({one._meta.label for one in models} - known)
