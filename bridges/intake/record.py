"""One row of a file as it was read, and what was wrong with it.

A grave fault leaves the whole row out (it is kept as it stood in the file); any other
leaves out one field of it. Each names its field and says in a sentence what to mend.
"""

from __future__ import annotations

from dataclasses import dataclass, field

# Kinds of faults: code, whether it is grave, the sentence. {said} is what stood there.
_KINDS = """
cells-missing      !  The row has {said} cells and the header more.
cells-extra        !  The row has {said} cells and the header fewer: a comma in a text?
quote-open         !  A quotation mark is opened and not closed.
line-short         !  The line is {said} characters long; a record has at least 389.
control-character  !  The row holds a character that no text holds ({said}).
line-ending        !  A carriage return stands inside the row.
state-blank        !  No state is given, so the number says nothing.
state-unknown      !  “{said}” is no state's code.
structure-blank    !  No structure number is given.
structure-mangled  !  “{said}” was a number once: a spreadsheet has rounded it.
structure-long     !  “{said}” is longer than the 15 characters of such a number.
record-type        !  “{said}” says neither on (1) nor under (2, A to Z) the bridge.
key-twice          !  “{said}” stood in this file before; the first one counts.
position-blank     .  No position is given.
position-zero      .  The position is zero, which stands for not known.
latitude-digits    .  “{said}” is not a latitude: digits DDMMSSss, or decimal degrees.
longitude-digits   .  “{said}” is not a longitude: digits DDDMMSSss, or decimal degrees.
latitude-minutes   .  “{said}” has 60 minutes or more.
longitude-minutes  .  “{said}” has 60 minutes or more.
latitude-seconds   .  “{said}” has 60 seconds or more.
longitude-seconds  .  “{said}” has 60 seconds or more.
latitude-range     .  “{said}” lies beyond a pole.
longitude-range    .  “{said}” lies beyond 180 degrees.
position-swapped   .  Latitude and longitude have changed places ({said}).
position-outside   .  The position ({said}) lies outside the state.
longitude-east     .  “{said}” is east of Greenwich; a minus sign is missing.
county-unknown     .  “{said}” is not a county's code of three digits.
year-digits        .  “{said}” is not a year.
year-future        .  “{said}” is later than the list itself.
year-early         .  “{said}” is earlier than any bridge of the kind.
rebuilt-before     .  Rebuilt in {said}, before it was built.
month-unknown      .  “{said}” is not a month and year (MMYY).
number-digits      .  “{said}” is not a number.
number-negative    .  “{said}” is less than nothing.
number-implausible .  “{said}” is more than can be; were feet taken for metres?
decimals-implied   .  “{said}” has no decimal point and its full width of digits.
span-beyond-length .  The longest span ({said} m) is longer than the whole structure.
roadway-beyond-deck .  The roadway ({said} m) is wider than the deck.
spans-none         .  “{said}” spans in the main unit.
code-unknown       .  “{said}” is none of the codes of this item.
not-rated          .  An asterisk stands where a value should.
name-blank         !  A new bridge needs a name.
number-blank       !  A row of ours needs the society's number.
county-blank       !  A new bridge needs a county.
position-needed    !  A new bridge needs a position.
choice-unknown     .  “{said}” is none of the words of this column.
choice-unknown-grave !  “{said}” is none of the words of this column.
date-unread        .  “{said}” is not a date that can be read.
yes-or-no          .  “{said}” is neither yes nor no.
yes-or-no-grave    !  “{said}” is neither yes nor no; nothing is shown on a guess.
too-long           .  The text is longer than {said} characters.
degrees-digits     .  “{said}” is not decimal degrees.
lost-before-built  .  Lost in {said}, before it was built.
waypoint-unnamed   .  The waypoint has no name.
"""


def _read_kinds():
    found = {}
    for line in _KINDS.strip().splitlines():
        code, grave, sentence = line.split(None, 2)
        found[code] = (grave == "!", sentence)
    return found


KINDS = _read_kinds()
MOST_SAID = 60


@dataclass(frozen=True)
class Fault:
    code: str
    field: str
    said: str = ""

    @property
    def is_grave(self):
        return KINDS[self.code][0]

    @property
    def text(self):
        return KINDS[self.code][1].format(said=self.said or " ")

    @classmethod
    def of(cls, code, field, said=""):
        said = str(said)
        if len(said) > MOST_SAID:
            said = said[: MOST_SAID - 1] + "…"
        return cls(code, field, said)


def without(code):
    """Return the sentence of a kind of fault where no one row is meant."""
    return KINDS[code][1].format(said="…") if code in KINDS else code


@dataclass
class Record:
    """One row: where it stood, whom it is about and what it says."""

    line: int
    raw: str
    # What tells one record of a list from the others; blank where nothing does.
    key: str = ""
    name: str = ""
    # (latitude, longitude) in degrees, None where not known.
    place: tuple[float, float] | None = None
    # Known to so many metres only.
    accuracy_m: int = 0
    # What stands in the words of the row that a bridge may be told by.
    names: tuple[str, ...] = ()
    crossings: tuple[str, ...] = ()
    roads: tuple[str, ...] = ()
    year: int | None = None
    # "truss", "arch" …, where the row says it.
    family: str = ""
    # {about: value in words}, what the list claims; nothing that tells a place.
    claims: dict[str, str] = field(default_factory=dict)
    # What a new bridge would be made of (``making``).
    facts: dict = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    # What is wrong with it where it would make a bridge, and not otherwise.
    if_new: list[Fault] = field(default_factory=list)
    # Facts of another day, which claim nothing of today.
    then: tuple[str, ...] = ()
    # Why it is no record of a bridge of its own, such as the road under one.
    aside: str = ""

    def fault(self, code, field, said=""):
        self.faults.append(Fault.of(code, field, said))

    @property
    def is_faulty(self):
        return any(one.is_grave for one in self.faults)
