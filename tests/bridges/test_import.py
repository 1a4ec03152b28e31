"""Lists brought in: what is read, what is refused, what is matched, and what stays."""

import io
from collections import Counter

import pytest
from django.core.management import CommandError, call_command
from hypothesis import given
from hypothesis import strategies as st

from bridges import exports, search, services
from bridges.intake import deciding, federal, layouts, likeness, lines, reading, taking
from bridges.intake.lines import Refused
from bridges.models import (
    Bridge,
    Claim,
    Correspondence,
    Form,
    Import,
    ImportRow,
    Span,
    Standing,
)
from shared.models import AuditEntry
from tests import federal_files
from tests.makers import make_bridge, make_person

Outcome = ImportRow.Outcome

# Digits of items 16 and 17 with what they mean: the first pair stands in a public field
# dictionary of the inventory, the other two in public sample rows; degrees worked here
# by hand as degrees + minutes / 60 + seconds / 3600.
COORDINATES = [
    ("39081434", "077325103", 39.137317, -77.547508, "51"),
    ("40454199", "122190700", 40.761664, -122.318611, "06"),
    ("32313200", "93403223", 32.525556, -93.675619, "22"),
]


def federal_file(*rows, layout="delimited"):
    """Return a federal file of these {item: value} over one plain record each."""
    import random

    write = federal_files.delimited if layout == "delimited" else federal_files.fixed
    base = [federal_files.row(random.Random(n), n + 1) for n in range(len(rows))]
    texts = [write({**plain, **row}) for plain, row in zip(base, rows, strict=True)]
    head = [federal_files.header()] if layout == "delimited" else []
    return io.BytesIO("\r\n".join([*head, *texts, ""]).encode("latin-1"))


def brought(file, name="list-2020.txt", *, is_taken=True, **more):
    of = reading.receive(file, name=name, **more)
    reading.read(pk=of.pk)
    if is_taken:
        taking.take(pk=of.pk)
    of.refresh_from_db()
    return of


def own(text, **more):
    return brought(io.BytesIO(text.encode()), "ours.csv", **more)


# The bridge of ``make_bridge`` and the record of it in the federal inventory.
FORD = {
    "8": "000000000004711",
    "6A": "ALDER R",
    "7": "MILL RD",
    "16": "41120000",
    "17": "077240000",
    "27": "1890",
    "41": "P",
    "43A": "3",
    "43B": "10",
    "22": "02",
    "48": 27.4,
    "49": 30.1,
    "106": "0000",
}


@pytest.mark.parametrize("latitude, longitude, north, east, state", COORDINATES)
@pytest.mark.parametrize("layout", ["delimited", "fixed"])
def test_positions_are_read_as_published(
    latitude, longitude, north, east, state, layout
):
    row = {"1": state, "16": latitude, "17": longitude.zfill(9)}
    if layout == "delimited":
        row["17"] = longitude
    file = federal_file(row, layout=layout)
    opened = layouts.Opened(file, layouts.tell(file), "2020")
    (record, _), *_ = opened.records()
    assert record.place == pytest.approx((north, east), abs=5e-7)
    assert not record.faults


@pytest.mark.parametrize("layout", ["delimited", "fixed"])
def test_what_was_planted_is_found_kind_by_kind_and_nothing_else(db, tmp_path, layout):
    path = tmp_path / "made-up-2020.txt"
    planted = federal_files.write(path, layout, 700, each=2)
    assert len(planted) > 30
    with path.open("rb") as file:
        of = brought(file, path.name, is_taken=False)
    assert Counter(of.report["faults"]) == planted
    grave = sum(n for code, n in planted.items() if lines_of(code))
    assert of.report["outcomes"][Outcome.FAULTY] == grave
    assert of.row_count == 700
    # Every word of the file is kept: the rows are the file.
    head = [of.header] if layout == "delimited" else []
    kept = [*head, *of.rows.order_by("line").values_list("raw", flat=True)]
    assert "".join(f"{raw}\r\n" for raw in kept) == path.read_bytes().decode("cp1252")
    example = of.report["examples"]["code-unknown"][0]
    assert example[1:] == [
        "Open, posted or closed (item 41)",
        "“Z” is none of the codes of this item.",
    ]


def lines_of(code):
    from bridges.intake.record import KINDS

    return KINDS[code][0]


@pytest.mark.parametrize("item", [i for i in federal.ITEMS if i.kind == "number"])
def test_implied_decimals_and_written_ones_are_the_same_number(item):
    digits = "7".rjust(item.width, "0")
    written = f"{7 / 10**item.decimals:.{item.decimals}f}"
    assert federal.plain(item, digits, False) == federal.plain(item, written, True)


HOSTILE = {
    "empty": (b"", "empty"),
    "only blanks": (b"\r\n  \r\n", "empty"),
    "utf-16": ("number,name\r\n1,é".encode("utf-16"), "UTF-16"),
    "utf-16 without its mark": ("number,name\r\n1,x".encode("utf-16-le"), "NUL"),
    "a spreadsheet": (b"PK\x03\x04" + b"\x14\x00" * 40, "ZIP"),
    "a photograph": (b"\xff\xd8\xff\xe0" + bytes(range(256)), "photograph"),
    "binary": (bytes(range(1, 32)) * 40, "binary"),
    "a NUL further on": (
        b"number,name\n" + b"1,%s\n" % (b"a" * 900) * 90 + b"2,\x00b\n",
        "NUL",
    ),
    "old line endings": (b"number,name\r1,a\r2,b", "carriage return"),
    "one endless line": (b"number,name\n1," + b"a" * 200_000, "longer than"),
    "no number": (b"title,colour\nA,red\n", "number"),
    "twice": (b"number,name,name\n1,a,b\n", "twice"),
    "no rows": (b"number,name\n", "no row"),
    "another xml": (b"<html><body>wpt</body></html>", "another kind"),
    "an entity": (
        b'<!DOCTYPE gpx [<!ENTITY a "aaaa">]><gpx><wpt lat="1" lon="2"/></gpx>',
        "document type",
    ),
    "half a gpx": (b'<gpx><wpt lat="41" lon="-77"><name>a</na', "not whole XML"),
    "no state": (b"STRUCTURE_NUMBER_008,LAT_016,LONG_017\n1,2,3\n", "STATE_CODE_001"),
}


@pytest.mark.parametrize("what", HOSTILE)
def test_what_is_no_list_is_refused_by_name_and_leaves_nothing(db, what, media):
    data, word = HOSTILE[what]
    try:
        of = brought(io.BytesIO(data), "list-2020.csv")
        said = of.refusal
        assert of.state == Import.State.REFUSED
    except Refused as refused:
        said = str(refused)
    assert word in said
    assert not ImportRow.objects.exists()
    assert not Bridge.objects.exists()


def test_a_line_that_never_ends_is_not_read_into_memory(db):
    class Endless(io.RawIOBase):
        """A gigabyte without a line end, that is nowhere."""

        left, most_asked = 1 << 30, 0

        def readable(self):
            return True

        def seekable(self):
            return True

        def seek(self, place, whence=0):
            self.left = (1 << 30) - place
            return place

        def tell(self):
            return (1 << 30) - self.left

        def readinto(self, buffer):
            size = min(len(buffer), self.left)
            self.most_asked = max(self.most_asked, len(buffer))
            buffer[:size] = b"4" * size
            self.left -= size
            return size

    file = io.BufferedReader(Endless())
    with pytest.raises(Refused, match="longer than"):
        list(lines.read(file))
    assert file.raw.most_asked <= 1 << 20


GPX = (
    b'<gpx version="1.1">\n<wpt lat="41.2" lon="-77.4"><name>Ford</name></wpt>\n'
    b'<wpt lat="41.3" lon="-77.5"/>\n</gpx>\n'
)
WHOLE = {
    Import.Layout.OWN: b"number,name,county,latitude,longitude,built,summary\n"
    b'B-1,"A, b",Alder,41,-77,1889~,"two\nlines"\nB-2,C,Alder,41.1,-77,,\n',
    Import.Layout.DELIMITED: federal_file({"8": "A1"}, {"8": "A2"}).read(),
    Import.Layout.FIXED: federal_file({}, {}, layout="fixed").read(),
    Import.Layout.WAYPOINTS: GPX,
}


@pytest.mark.parametrize("layout", WHOLE)
@given(
    at=st.integers(0, 4000),
    cut=st.integers(0, 8),
    put=st.one_of(
        st.binary(max_size=12),
        st.sampled_from([b'"', b"'", b"\r", b"\x1a", b"\xff\xfe", b",", b"\n" * 3]),
    ),
)
def test_whatever_is_damaged_is_a_fault_or_a_refusal(layout, at, cut, put):
    data = WHOLE[layout]
    at %= len(data) + 1
    data = data[:at] + put + data[at + cut :]
    of = Import(layout=layout, vintage="2020")
    try:
        opened = layouts.Opened(io.BytesIO(data), layout, "2020")
        of.header = opened.header
        records = [record for record, _ in opened.records()]
    except Refused:
        return
    kept = layouts.Kept(of)
    for record in records:
        assert "\x00" not in record.raw
        assert len(record.key) <= 60
        assert all(fault.text for fault in record.faults)
        if record.key and not record.is_faulty:
            # What was kept is read as the file was.
            row = ImportRow(line=record.line, raw=record.raw)
            assert kept.record(row).claims == record.claims
            assert kept.record(row).place == record.place
            assert kept.told(record.raw)


def test_mixed_line_endings_are_read_and_told(db):
    of = own(
        "number,name,county,latitude,longitude\r\nB-1,A,Alder,41,-77\nB-2,B,Alder,42,-77\r\n"
    )
    assert of.row_count == 2
    assert "mixed, first at line 2" in of.report["notes"][0]


# -- matching


def test_a_record_is_matched_by_place_and_crossing_and_only_claims(db):
    bridge = make_bridge(lay_out=False)
    before = Bridge.objects.values().get()
    of = brought(federal_file(FORD))
    row = of.rows.get()
    assert (row.outcome, row.why, row.bridge) == (
        Outcome.MATCHED,
        "place and name",
        bridge,
    )
    assert Bridge.objects.values().get() == before
    said = dict(Claim.objects.values_list("about", "value"))
    assert said["built"] == "1890"
    assert said["owner"] == "county"
    assert said["span length"] == "89.9 ft (27.4 m)"
    assert Claim.objects.first().source.title == "Federal inventory, 2020"
    assert not Claim.objects.filter(is_chosen=True).exists()
    # Nothing that leads to a place is in what visitors may read.
    assert "ALDER" not in " ".join(said.values())
    assert Correspondence.objects.get().bridge == bridge
    entry = AuditEntry.objects.get(action=AuditEntry.Action.IMPORTED)
    assert entry.subject == "Federal inventory, 2020: 1 rows of list-2020.txt"


DOUBTS = {
    "unlike names": {"6A": "JUNIPER CREEK"},
    "another time": {"27": "1998"},
    "another kind": {"43B": "19"},
    # 41.2055: some 600 m north.
    "further off": {"16": "41122000"},
}


@pytest.mark.parametrize("why", DOUBTS)
def test_what_is_not_certain_waits_for_a_person(db, why):
    make_bridge(lay_out=False)
    services.refresh_standing(Bridge.objects.get())
    row = brought(federal_file({**FORD, **DOUBTS[why]})).rows.get()
    assert (row.outcome, row.why) == (Outcome.QUEUED, why)
    assert not Claim.objects.exists()


def test_two_bridges_at_one_crossing_are_not_told_apart_by_guess(db):
    make_bridge(lay_out=False)
    make_bridge(name="Second Ford Bridge", latitude=41.2004, lay_out=False)
    row = brought(federal_file(FORD)).rows.get()
    assert (row.outcome, row.why) == (Outcome.QUEUED, "several")
    assert len(row.candidates) == 2


def test_a_known_number_at_another_place_waits_for_a_person(db):
    make_bridge(lay_out=False)
    brought(federal_file(FORD))
    row = brought(federal_file({**FORD, "16": "41150000"}), "list-2021.txt").rows.get()
    assert (row.outcome, row.why) == (Outcome.QUEUED, "moved")


def test_a_second_record_at_a_bridge_that_has_one_waits_for_a_person(db):
    make_bridge(lay_out=False)
    brought(federal_file(FORD))
    row = brought(federal_file({**FORD, "8": "NEW 4711"}), "list-2021.txt").rows.get()
    assert (row.outcome, row.why) == (Outcome.QUEUED, "renumbered")


@pytest.mark.parametrize(
    "one, other, least, most",
    [
        ("ALDER R", "Alder River", 100, 100),
        ("N BR ALDER CK", "Alder Creek", 50, 84),
        ("ALDER CREEK", "Alder River", 50, 84),
        ("JUNIPR CR", "Juniper Creek", 100, 100),
        ("CEDAR RUN", "Alder River", 0, 40),
        ("", "Alder River", 0, 0),
        ("LITTLE CONESTEE CREE", "Little Conestee Creek", 100, 100),
    ],
)
def test_names_are_alike_as_a_person_would_say(one, other, least, most):
    assert least <= likeness.alike(one, other) <= most
    assert likeness.alike(one, other) == likeness.alike(other, one)


# -- a person's answer


def test_an_answer_is_kept_and_remembered_by_the_next_vintage(db):
    bridge, officer = make_bridge(lay_out=False), make_person("olive", "officer")
    odd = {**FORD, "6A": "JUNIPER CREEK"}
    row = brought(federal_file(odd)).rows.get()
    deciding.decide(row, "same", person=officer, bridge=bridge)
    row.refresh_from_db()
    assert (row.outcome, row.bridge) == (Outcome.MATCHED, bridge)
    assert Claim.objects.filter(bridge=bridge, about="built", value="1890").exists()
    assert Correspondence.history.get().history_user == officer
    assert AuditEntry.objects.filter(action="decided", person=officer).count() == 1
    later = brought(federal_file(odd), "list-2021.txt").rows.get()
    assert (later.outcome, later.why, later.bridge) == (
        Outcome.MATCHED,
        "said so",
        bridge,
    )
    with pytest.raises(deciding.Cannot):
        deciding.decide(row, "not-ours", person=officer)


def test_what_is_no_bridge_of_ours_is_not_asked_about_twice(db):
    make_bridge(lay_out=False)
    odd = {**FORD, "6A": "JUNIPER CREEK"}
    row = brought(federal_file(odd)).rows.get()
    deciding.decide(row, "not-ours", person=make_person("olive", "officer"))
    later = brought(federal_file(odd), "list-2021.txt").rows.get()
    assert later.outcome == Outcome.NOT_OURS
    assert not Claim.objects.exists()


def test_a_wrong_match_is_taken_back_with_what_it_claimed(db):
    bridge, officer = make_bridge(lay_out=False), make_person("olive", "officer")
    row = brought(federal_file(FORD)).rows.get()
    assert Claim.objects.exists()
    deciding.ask_again(row, person=officer)
    row.refresh_from_db()
    assert (row.outcome, row.bridge) == (Outcome.QUEUED, None)
    assert [one[0] for one in row.candidates] == [bridge.pk]
    assert not Claim.objects.exists()
    assert Claim.history.filter(history_type="-", history_user=officer).exists()
    assert not Correspondence.objects.exists()


# -- vintages


def test_a_later_vintage_tells_what_changed_field_by_field(db):
    other = {"8": "000000000000002", "16": "40300000"}
    gone = {"8": "000000000000003", "16": "40400000"}
    brought(federal_file(FORD, other, gone))
    later = federal_file({**FORD, "41": "K", "48": 27.0}, other, layout="fixed")
    of = brought(later, "list-2021.txt")
    assert of.previous.vintage == "2020"
    first, second = of.rows.order_by("line")
    assert first.changes == {
        "Open, posted or closed (item 41)": ["P", "K"],
        "Longest span (item 48)": ["27.4", "27"],
    }
    # The same facts in the other layout are no change.
    assert second.changes == {}
    assert (of.report["seen_before"], of.report["changed"], of.report["gone"]) == (
        2,
        1,
        1,
    )


def test_a_file_that_is_in_already_is_not_taken_twice(db):
    make_bridge(lay_out=False)
    brought(federal_file(FORD))
    claims = Claim.objects.count()
    with pytest.raises(reading.AlreadyTaken):
        brought(federal_file(FORD))
    brought(federal_file(FORD), "list-2021.txt")
    assert Claim.objects.count() == claims


def test_a_job_that_is_cut_short_goes_on_and_does_nothing_twice(db, monkeypatch):
    make_bridge(lay_out=False)
    of = brought(federal_file(FORD), is_taken=False)
    reading.read(pk=of.pk)
    assert of.rows.count() == 1
    monkeypatch.setattr(taking, "_correspond", lambda *a: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        taking.take(pk=of.pk)
    assert not Claim.objects.exists()
    monkeypatch.undo()
    taking.take(pk=of.pk)
    taking.take(pk=of.pk)
    assert Claim.objects.filter(about="built").count() == 1


# -- our own CSV


def test_what_the_export_writes_comes_back_as_the_same_bridges(db):
    bridge = make_bridge(
        name="=Odd, “Bridge”\nof two lines",
        slug="odd-bridge",
        number="A-1/2",
        built="1889~",
        lost="../1990",
        status="lost",
        summary="-12 tons\n\nA stone, a \"quote\" and 'one'.",
        owner="Alder County",
        owner_contact="who@example.org",
        access_notes="+1 555",
        is_position_sensitive=True,
        is_public=False,
        also_known_as="'Tis",
        lay_out=False,
    )
    services.refresh_standing(bridge)
    quiet = make_bridge(name="Plain Bridge", number="A-2", built="", lay_out=False)
    services.refresh_standing(quiet)
    sight = exports.Sight(full=True)
    before = "".join(exports.write("csv", exports.everything(True), sight))
    Bridge.objects.all().delete()
    of = own(before)
    assert of.report["unknown"] == []
    assert of.report["faults"] == {}
    after = "".join(exports.write("csv", exports.everything(True), sight))
    assert after == before


def test_ours_never_overwrites_and_claims_what_differs(db):
    bridge = make_bridge(lay_out=False)
    services.refresh_standing(bridge)
    before = Bridge.objects.values().get()
    of = own(
        "number,name,built,form,road,owner_contact,colour\n"
        f"{bridge.number},{bridge.name},1891,Parker,Secret Lane,me,red\n"
    )
    assert of.rows.get().why == "number only"
    assert of.report["unknown"] == ["colour"]
    assert Bridge.objects.values().get() == before
    assert Span.objects.get().form == Form.PRATT
    said = dict(Claim.objects.values_list("about", "value"))
    assert said == {"built": "1891", "form": "Parker"}


FAULTS = {
    "name": ("B-1,,Alder,41,-77,,", "name-blank"),
    "number": (",A,Alder,41,-77,,", "number-blank"),
    "county": ("B-1,A,,41,-77,,", "county-blank"),
    "place": ("B-1,A,Alder,,,,", "position-needed"),
    "half a place": ("B-1,A,Alder,41,,,", "position-blank"),
    "zero": ("B-1,A,Alder,0,0,,", "position-zero"),
    "swapped": ("B-1,A,Alder,-77,141,,", None),
    "pole": ("B-1,A,Alder,141,-77,,", "position-swapped"),
    "comma": ("B-1,A,Alder,41;2,-77,,", "degrees-digits"),
    "date": ("B-1,A,Alder,41,-77,spring of 89,", "date-unread"),
    "status": ("B-1,A,Alder,41,-77,,fallen", "choice-unknown"),
    "cells": ("B-1,A,Alder,41", "cells-missing"),
    "comma in a text": ("B-1,A, B,Alder,41,-77,,", "cells-extra"),
    "quote": ('B-1,"A,Alder,41,-77,,', "quote-open"),
}


@pytest.mark.parametrize("what", FAULTS)
def test_a_faulty_row_names_its_fault_and_costs_no_other(db, what):
    text, code = FAULTS[what]
    of = own(
        "number,name,county,latitude,longitude,built,status\n"
        f"{text}\nB-9,Sound Bridge,Alder,41.5,-77.5,1901,closed\n"
    )
    assert Bridge.objects.filter(number="B-9", built="1901", status="closed").exists()
    row = of.rows.get(line=2)
    assert row.raw == text
    assert code is None or code in [one[0] for one in row.faults]
    assert row.line == 2


def test_new_bridges_are_found_counted_and_on_the_map(db):
    head = "number,name,county,latitude,longitude,built,form,longest_span_ft,crossing\n"
    rows = "".join(
        f"N-{n},Wharton Crossing {n},Elder,{41 + n / 1000},-77.{n:03d},1901,parker,120,Elm Run\n"
        for n in range(90)
    )
    own(head + rows)
    assert Bridge.objects.count() == Standing.objects.count() == 90
    assert search.narrow(Bridge.objects.all(), "wharten").count() == 90
    summary = services_counts()
    own_again = own(head + rows.replace("1901", "1902"))
    assert Bridge.objects.count() == 90
    assert own_again.report["outcomes"] == {"matched": 90}
    assert Claim.objects.filter(about="built", value="1902").count() == 90
    assert services_counts() == summary


def services_counts():
    return sorted(
        Standing.objects.values_list("form", "family", "longest_span_ft", "span_count")
    )


def test_waypoints_are_matched_or_asked_about(db):
    bridge, officer = make_bridge(lay_out=False), make_person("olive", "officer")
    gpx = (
        '<?xml version="1.0"?><gpx version="1.1" creator="x" '
        'xmlns="http://www.topografix.com/GPX/1/1">\n'
        '<wpt lat="41.2001" lon="-77.4001"><name>Tanners Ford</name></wpt>\n'
        '<wpt lat="40.1" lon="-77.0"><name>Old &amp; lost</name><ele>3</ele></wpt>\n'
        '<trk><name>way</name></trk><wpt lat="99" lon="1"/><wpt lat="40.2" lon="-77"/></gpx>'
    )
    of = brought(io.BytesIO(gpx.encode()), "walk.gpx")
    found = list(of.rows.order_by("pk").values_list("outcome", "why", "bridge"))
    assert found == [
        (Outcome.MATCHED, "place and name", bridge.pk),
        (Outcome.QUEUED, "nothing near", None),
        (Outcome.FAULTY, "", None),
        (Outcome.QUEUED, "nothing near", None),
    ]
    row = of.rows.get(line=3)
    assert row.raw.startswith('<wpt lat="40.1"')
    assert row.raw.endswith("</wpt>")
    with pytest.raises(deciding.Cannot) as fault:
        deciding.decide(row, "new", person=officer)
    assert fault.value.field == "county"
    made = deciding.decide(row, "new", person=officer, facts={"county": "Elder"})
    assert (made.name, made.county) == ("Old & lost", "Elder")
    assert float(made.latitude) == 40.1


# -- the command


def test_the_command_reports_dry_and_takes(db, tmp_path):
    make_bridge(lay_out=False)
    path = tmp_path / "federal-2020.txt"
    path.write_bytes(federal_file(FORD, {"41": "Z"}).read())
    out = io.StringIO()
    call_command("import_inventory", str(path), "--dry-run", stdout=out)
    assert "code-unknown" in out.getvalue()
    assert "nothing was kept" in out.getvalue()
    assert not Import.objects.exists()
    assert not Claim.objects.exists()
    call_command("import_inventory", str(path), stdout=io.StringIO())
    assert Import.objects.get().state == Import.State.TAKEN
    assert Claim.objects.exists()
    out = io.StringIO()
    call_command("import_inventory", str(path), stdout=out)
    assert "in already" in out.getvalue()
    path.write_bytes(b"PK\x03\x04")
    with pytest.raises(CommandError, match="ZIP"):
        call_command("import_inventory", str(path))


def test_a_visit_can_be_logged_to_what_a_list_brought(
    db, django_capture_on_commit_callbacks
):
    from analysis import brought as laid
    from surveys.models import Element

    with django_capture_on_commit_callbacks(execute=True):
        own(
            "number,name,county,latitude,longitude,form,span_count\n"
            "N-1,Wharton Bridge,Elder,41,-77,parker,2\n"
        )
    bridge = Bridge.objects.get()
    paths = set(Element.objects.filter(bridge=bridge).values_list("path", flat=True))
    assert {"span-1/deck", "span-2/deck", "limit"} <= paths
    laid.lay_out(bridges=[bridge.pk])
    assert Element.objects.count() == len(paths)
