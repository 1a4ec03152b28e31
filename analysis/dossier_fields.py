"""What an officer fills in for a nomination, field by field.

One table: the page, the saving, the completeness list and the document all read it.
A field that does not apply is answered with ``N/A``, never left blank: silence is not
an answer. The criteria, considerations and aspects of integrity are those of
36 CFR 60.4; the words are the society's own. Areas and functions follow common
practice and are the closed lists that this site offers, not an official code list.
"""

from __future__ import annotations

from dataclasses import dataclass

LINE, TEXT, CHOICE, MANY = "line", "text", "choice", "many"
NOT_APPLICABLE = "N/A"

CRITERIA = (
    ("A", "A: events or broad patterns of history"),
    ("B", "B: the life of a person of note"),
    ("C-type", "C: a type, period or method of construction"),
    ("C-master", "C: the work of a master"),
    ("C-artistic", "C: high artistic value"),
    ("C-entity", "C: part of a whole that is more than its parts"),
    ("D", "D: information it has yielded or may yield"),
)
# 36 CFR 60.4: what is ordinarily left out unless an exception fits.
CONSIDERATIONS = (
    ("a", "owned or used for religion"),
    ("b", "moved from where it first stood"),
    ("c", "a birthplace or grave"),
    ("d", "a cemetery"),
    ("e", "rebuilt or a replica"),
    ("f", "put up mainly to commemorate"),
    ("g", "significant within the past fifty years"),
)
# For a bridge the others practically never arise, and a plain "no" is enough.
EXPLAINED = ("b", "e", "f", "g")
ASPECTS = (
    ("location", "Location", "Does it stand where it was built?"),
    (
        "design",
        "Design",
        "Form, panels, connections; members added, a span shortened.",
    ),
    ("setting", "Setting", "The channel, the approaches, what was built near it."),
    ("materials", "Materials", "How much of the old metal, floor and stone is there."),
    ("workmanship", "Workmanship", "Forged ends, rivets, marks, tooled stone."),
    ("feeling", "Feeling", "What tells a visitor of its own time."),
    ("association", "Association", "Does it still carry what it was built to carry?"),
)
RATINGS = (
    ("retained", "Retained"),
    ("diminished", "Diminished"),
    ("lost", "Lost"),
    ("not-assessed", "Not assessed"),
)
AREAS = (
    ("engineering", "Engineering"),
    ("transportation", "Transportation"),
    ("community-planning", "Community planning and development"),
    ("commerce", "Commerce"),
    ("industry", "Industry"),
    ("government", "Politics and government"),
    ("architecture", "Architecture"),
)
LEVELS = (("national", "National"), ("statewide", "Statewide"), ("local", "Local"))
FUNCTIONS = (
    ("road", "Transportation: road"),
    ("foot", "Transportation: foot and cycle"),
    ("rail", "Transportation: rail"),
    ("recreation", "Recreation: a path or an overlook"),
    ("vacant", "Vacant, not in use"),
    ("gone", "Nothing stands"),
)
MATERIALS = (
    ("iron", "Metal: iron"),
    ("steel", "Metal: steel"),
    ("wood", "Wood"),
    ("stone", "Stone"),
    ("concrete", "Concrete"),
)
OWNERS = (
    ("private", "Private"),
    ("local", "Public: local"),
    ("state", "Public: state"),
    ("federal", "Public: federal"),
)
YES_NO = (("no", "No"), ("yes", "Yes"))


@dataclass(frozen=True)
class Field:
    """One thing an officer is asked for."""

    name: str
    label: str
    kind: str
    section: str
    help: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    rows: int = 4

    @property
    def blank(self):
        return [] if self.kind == MANY else ""

    def words(self, value):
        """Say a value as it is printed; the empty string for none."""
        said = dict(self.choices)
        if self.kind == MANY:
            return "; ".join(said.get(one, one) for one in value)
        return said.get(value, value)


ALTERNATIVES = (
    ("vehicles", "Rehabilitate for vehicles"),
    ("one_lane", "Keep for one lane or one of a pair"),
    ("bypass", "Bypass and keep as a trail"),
    ("move_road", "Move to another road"),
    ("move_trail", "Move to a trail or park"),
    ("in_place", "Other use where it stands"),
    ("store", "Take down, mark and store"),
    ("salvage", "Salvage parts"),
    ("record", "Record, then remove"),
)
FEASIBLE = (("yes", "Yes"), ("no", "No"), ("unknown", "Not known"))
IDENTITY = "Name, place and owner"
KIND = "What kind of thing it is"
DESCRIPTION = "Description"
INTEGRITY = "Integrity, seven findings"
SIGNIFICANCE = "Significance"
PAPERS = "Earlier papers and where more is kept"
BOUNDARY = "Boundary and position"
PREPARED = "Who prepared it"
CHOICES_AHEAD = "Alternatives and moving it"
SECTIONS = (
    IDENTITY,
    KIND,
    DESCRIPTION,
    INTEGRITY,
    SIGNIFICANCE,
    PAPERS,
    BOUNDARY,
    PREPARED,
    CHOICES_AHEAD,
)
NA_HELP = "N/A where it does not apply."


def _considerations():
    for letter, words in CONSIDERATIONS:
        yield Field(
            f"consideration_{letter}",
            f"Consideration {letter}: {words}",
            CHOICE,
            SIGNIFICANCE,
            choices=YES_NO,
        )
        if letter in EXPLAINED:
            yield Field(
                f"consideration_{letter}_why",
                f"If {letter} applies: why it may qualify all the same",
                TEXT,
                SIGNIFICANCE,
                rows=3,
            )


def _findings():
    for name, label, asks in ASPECTS:
        yield Field(
            f"integrity_{name}", label, CHOICE, INTEGRITY, asks, choices=RATINGS
        )
        yield Field(
            f"integrity_{name}_why", f"{label}: reasons", TEXT, INTEGRITY, rows=3
        )
        yield Field(
            f"integrity_{name}_evidence",
            f"{label}: evidence",
            LINE,
            INTEGRITY,
            "Visits, photographs and sources that show it.",
        )
        yield Field(f"integrity_{name}_by", f"{label}: found by", LINE, INTEGRITY)
        yield Field(
            f"integrity_{name}_on",
            f"{label}: on",
            LINE,
            INTEGRITY,
            "A date, such as 2025-06-02.",
        )


def _alternatives():
    for name, words in ALTERNATIVES:
        yield Field(
            f"alt_{name}", f"{words}: feasible", CHOICE, CHOICES_AHEAD, choices=FEASIBLE
        )
        yield Field(
            f"alt_{name}_who",
            f"{words}: who says so, in which study, when",
            LINE,
            CHOICES_AHEAD,
        )
        yield Field(
            f"alt_{name}_cost",
            f"{words}: cost, and money of which year",
            LINE,
            CHOICES_AHEAD,
        )
        yield Field(
            f"alt_{name}_note",
            f"{words}: effect on each aspect, obstacles, last contact",
            TEXT,
            CHOICES_AHEAD,
            rows=2,
        )


FIELDS = (
    Field(
        "other_names",
        "Other names",
        CHOICE,
        IDENTITY,
        "Names themselves are edited in the record.",
        choices=(("as-recorded", "As recorded"), ("none-known", "None known")),
    ),
    Field(
        "numbers",
        "Numbers given by others",
        TEXT,
        IDENTITY,
        "One a line, the issuer first: County road office: 114. N/A where there is none.",
    ),
    Field(
        "state_code",
        "State, two capitals",
        LINE,
        IDENTITY,
        "Goes into the names of the photographs.",
    ),
    Field("county_code", "County code, five digits", LINE, IDENTITY),
    Field(
        "vicinity",
        "In the town, or near it",
        CHOICE,
        IDENTITY,
        choices=(("in", "In it"), ("near", "In its vicinity")),
    ),
    Field(
        "not_for_publication",
        "Keep the position out of print",
        CHOICE,
        IDENTITY,
        choices=YES_NO,
    ),
    Field("not_for_publication_why", "If so, why", LINE, IDENTITY),
    Field("owner_class", "Owner's class", CHOICE, IDENTITY, choices=OWNERS),
    Field(
        "owner_checked",
        "Ownership checked on",
        LINE,
        IDENTITY,
        "A date, such as 2025-06-02.",
    ),
    Field(
        "owner_notified",
        "Owner told of the nomination on",
        LINE,
        IDENTITY,
        "A date; N/A before there is one to tell of.",
    ),
    Field("owner_reply", "What the owner replied", LINE, IDENTITY),
    Field(
        "contributing",
        "Structures that contribute, how many",
        LINE,
        KIND,
        "The bridge itself counts.",
    ),
    Field("noncontributing", "Structures that do not, how many", LINE, KIND),
    Field(
        "resources",
        "Each counted structure by name",
        TEXT,
        KIND,
        "One a line.",
    ),
    Field("historic_function", "Function then", CHOICE, KIND, choices=FUNCTIONS),
    Field("current_function", "Function now", CHOICE, KIND, choices=FUNCTIONS),
    Field(
        "classification",
        "Classification",
        LINE,
        KIND,
        "For example: Other: Pratt through truss.",
    ),
    Field("materials", "Materials", MANY, KIND, choices=MATERIALS),
    Field(
        "opening_description",
        "Summary description",
        TEXT,
        DESCRIPTION,
        "One paragraph of 50 to 250 words: type, spans, length, date, what it crosses.",
        rows=7,
    ),
    Field(
        "alterations_searched",
        "If no alteration is recorded: where they were looked for",
        TEXT,
        DESCRIPTION,
        NA_HELP,
        rows=3,
    ),
    *_findings(),
    Field("criteria", "Criteria", MANY, SIGNIFICANCE, choices=CRITERIA),
    *_considerations(),
    Field("areas", "Areas of significance", MANY, SIGNIFICANCE, choices=AREAS),
    Field("level", "Level", CHOICE, SIGNIFICANCE, choices=LEVELS),
    Field(
        "period_why",
        "Why this period",
        TEXT,
        SIGNIFICANCE,
        rows=3,
    ),
    Field(
        "significant_dates",
        "Dates of note within it",
        LINE,
        SIGNIFICANCE,
        "Years apart by commas: 1889, 1931.",
    ),
    Field("person", "Person of note", LINE, SIGNIFICANCE, NA_HELP),
    Field("affiliation", "Cultural affiliation", LINE, SIGNIFICANCE, NA_HELP),
    Field(
        "builder_search",
        "If nobody is known to have built it: where it was looked for",
        TEXT,
        SIGNIFICANCE,
        NA_HELP,
        rows=3,
    ),
    Field(
        "opening_significance",
        "Opening paragraph",
        TEXT,
        SIGNIFICANCE,
        "Names every criterion, area, level and the period.",
        rows=7,
    ),
    Field(
        "context",
        "Others like it, and what that says",
        TEXT,
        SIGNIFICANCE,
        "The bridges most like it on this record are printed beside.",
    ),
    Field(
        "prior_recording",
        "Federal engineering record number",
        LINE,
        PAPERS,
        "None, where there is none.",
    ),
    Field("prior_register", "Register number", LINE, PAPERS, "None, if none."),
    Field("prior_survey", "Survey number", LINE, PAPERS, "None, if none."),
    Field("repositories", "Where more is kept", TEXT, PAPERS, "One a line.", rows=3),
    Field(
        "search_log",
        "Places looked in where nothing was found",
        TEXT,
        PAPERS,
        NA_HELP,
        rows=3,
    ),
    Field(
        "acreage",
        "Acres",
        LINE,
        BOUNDARY,
        "A number, or: less than one acre.",
    ),
    Field(
        "end_a",
        "Position of one end",
        LINE,
        BOUNDARY,
        "Latitude, longitude in decimal degrees, five decimals or more.",
    ),
    Field("end_b", "Position of the other end", LINE, BOUNDARY),
    Field(
        "position_how",
        "How the position was found",
        LINE,
        BOUNDARY,
        "For example: phone on each abutment; read off a map.",
    ),
    Field(
        "boundary_why",
        "Why it runs there",
        TEXT,
        BOUNDARY,
        "Names the abutments and approaches it takes in.",
        rows=3,
    ),
    Field("preparer_title", "Preparer's title", LINE, PREPARED, NA_HELP),
    Field(
        "preparer_contact",
        "How to reach the preparer",
        LINE,
        PREPARED,
        "It is printed.",
    ),
    Field("prepared_on", "Prepared on", LINE, PREPARED, "A date: 2025-06-02."),
    Field(
        "questions_read",
        "The open questions have been read and are left open on purpose",
        CHOICE,
        PREPARED,
        "They are printed on a page of their own.",
        choices=YES_NO,
    ),
    *_alternatives(),
    Field(
        "paint",
        "Paint and lead",
        LINE,
        CHOICES_AHEAD,
        "Old paint is presumed to hold lead until it has been tested.",
    ),
    Field("crane_access", "Ways in for a crane or truck", LINE, CHOICES_AHEAD),
    Field("offer_deadline", "Offered until", LINE, CHOICES_AHEAD, "A date."),
    Field("offer_contact", "Whom to ask", LINE, CHOICES_AHEAD, "It is printed."),
    Field(
        "recipients",
        "Who has been asked, when, and what they said",
        TEXT,
        CHOICES_AHEAD,
        "One a line.",
    ),
)
BY_NAME = {one.name: one for one in FIELDS}
NAMES = tuple(BY_NAME)


def blank_answers():
    """Return an answer to every field: none."""
    return {one.name: one.blank for one in FIELDS}


def printed_dates():
    """Return the names of fields that hold a date or nothing."""
    return ("owner_checked", "owner_notified", "prepared_on", "offer_deadline") + tuple(
        f"integrity_{name}_on" for name, _, _ in ASPECTS
    )
