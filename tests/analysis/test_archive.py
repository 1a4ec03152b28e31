"""The record goes out as one file and comes back as it was, or the reason is told."""

import hashlib
import io
import json
import os
import subprocess
import sys
import zipfile

import pytest
from django.conf import settings
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from django.db import connection, connections

from analysis import archive, archive_kinds, archive_loading
from analysis.models import Check, Dossier
from bridges.imported import Correspondence, Import, ImportRow
from bridges.models import Bridge, Concern, Plate, Source, Standing, Watch
from shared import archive_file, backup, tables
from shared.archive_file import Refused
from shared.models import Job, Person
from surveys import services
from surveys.models import (
    Observation,
    Repair,
    Reply,
    SecondSubmission,
    Viewpoint,
    Visit,
)
from tests.access import world
from tests.bridges.inventory import furnish, list_builder, named
from tests.images import with_place
from tests.makers import (
    make_bridge,
    make_person,
    make_visit,
    photo_document,
)

pytestmark = pytest.mark.django_db
RECORDS = "records/{}.jsonl"


def make_society():
    """One or two of every kind of thing, some of it edited, some deleted since."""
    bridge, rae = make_bridge(), make_person("rae", "reviewer", first_name="Rae")
    builder = list_builder()
    named(
        builder, "Corrick Bros.", "1871/1883~", source=Source.objects.create(title="R")
    )
    other = make_bridge(
        name="Weir Lane", built="1887~", summary="Überall Rost — ½ in. 🌉"
    )
    furnish(
        Bridge.objects.create(
            name="Bare",
            slug="bare",
            number="B/1",
            county="Alder",
            latitude=40,
            longitude=-40,
        ),
        builder,
    )
    picture = with_place()
    said = {
        "span-1/deck": {"layers": [{"material": "timber", "thickness_in": 3.0}]},
        "span-1/upstream/L0L1": {
            "components": [
                {
                    "shape": "eyebar",
                    "count": 2,
                    "width_in": 4.0,
                    "thickness_in": 0.875,
                    "origin": "original",
                }
            ]
        },
    }
    first = make_visit(
        bridge, reviewer=rae, said=said, photos=[photo_document(picture)], date="2019"
    )
    services.store_photo(photo=first.photos.get(), bytes=picture)
    deck = {"layers": [{"material": "asphalt", "thickness_in": 4.0}]}
    later = make_visit(bridge, reviewer=rae, said={"span-1/deck": deck}, date="2021-05")
    waiting = make_visit(bridge, date="2022", said={"limit": "not-seen"})
    services.return_visit(visit=waiting, reviewer=rae, question="Which limit?")
    Reply.objects.create(visit=waiting, person=waiting.surveyor, text="The west one.")
    SecondSubmission.objects.create(
        visit=first, submitted={"notes": "other"}, submitted_sha256="0" * 64
    )
    repair = Repair.objects.create(
        bridge=bridge,
        title="New deck",
        when="1987~",
        after_visit=first,
        seen_at_visit=later,
    )
    repair.elements.set(first.observations.values_list("element", flat=True))
    repair.sources.add(Source.objects.get(title="R"))
    Viewpoint.objects.create(bridge=bridge, name="From the ford", latitude="41.2")
    first.photos.update(viewpoint=Viewpoint.objects.get())
    Dossier.objects.create(bridge=bridge, preparer="Olga", answers={"acreage": 0.5})
    Watch.objects.create(person=rae, bridge=other, told_until=first.submitted_at)
    Concern.objects.create(
        bridge=bridge, kind="threat", text="To be replaced", noted="2024~"
    )
    listed = Import.objects.create(
        list_name="Own",
        vintage="2020",
        layout="own",
        unmatched="ask",
        file_name="a.csv",
    )
    ImportRow.objects.create(
        of=listed,
        line=2,
        raw="A-001,…",
        outcome="queued",
        bridge=other,
        candidates=[[other.pk, 12.5, 90], [bridge.pk, 40.0, 10]],
    )
    Correspondence.objects.create(
        list_name="Own", key="A-1", bridge=other, why="number"
    )
    # A row that is only in the history now, and two edits of one that still is.
    gone = Plate.objects.create(bridge=other, key="gone", location="east")
    gone.delete()
    other.name = "Weir Lane Bridge"
    other.save()
    return bridge


def exported(public=False):
    out = io.BytesIO()
    archive.make(out, public=public)
    return out.getvalue()


def members(data):
    with zipfile.ZipFile(io.BytesIO(data)) as file:
        found = {name: file.read(name) for name in file.namelist()}
    manifest = json.loads(found["manifest.json"])
    for stamp in ("made_at", "version"):
        manifest.pop(stamp)
    return found | {"manifest.json": manifest}


def lines(data, kind):
    return [json.loads(one) for one in members(data)[RECORDS.format(kind)].splitlines()]


def empty_site():
    """Leave what migrating makes, and no files."""
    for model in reversed(tables.models()):
        if model._meta.label not in tables.MADE_BY_MIGRATING:
            model._base_manager.using("default")._raw_delete("default")
    for name in list(backup.stored_names()):
        default_storage.delete(name)
    assert tables.holds_anything("default") is None


def load(data):
    return archive_loading.load(io.BytesIO(data))


# -- there and back


def test_every_model_is_archived_or_left_out_with_a_reason():
    assert archive_kinds.unaccounted(tables.models()) == []
    everything = {*archive_kinds.BY_LABEL, *archive_kinds.LEFT_OUT}
    assert everything <= {model._meta.label for model in tables.models()}
    for kind in archive_kinds.KINDS:
        own = {one.name for one in kind.fields} | set(kind.many)
        assert set(kind.public) <= own, kind.name
        assert set(kind.without) <= {one.name for one in kind.model._meta.get_fields()}


def test_archive_to_empty_site_to_archive_is_the_same_but_for_stamps(media):
    make_society()
    first = exported()
    assert [kind for kind in archive_kinds.BY_NAME if not lines(first, kind)] == []
    empty_site()
    load(first)
    assert members(exported()) == members(first)
    # Lists, map and checks are there, made anew.
    assert Standing.objects.get(bridge__slug="tanners-ford-bridge").deck == "asphalt"
    assert Check.objects.exists()
    # What is gone keeps its history, under an id that no row will ever have.
    rows = Plate.history.filter(key="gone")
    assert {row.id for row in rows} == {-1}
    # New rows do not run into loaded ones.
    ada = Person.objects.get(username="ada")
    assert not ada.has_usable_password()
    make_visit(Bridge.objects.get(slug="tanners-ford-bridge"), ada, date="2024-01-01")
    Source.objects.create(title="Another")


@pytest.mark.skipif(connection.vendor == "sqlite", reason="goes to SQLite and back")
def test_from_one_kind_of_database_to_the_other_and_back(tmp_path, media):
    make_society()
    first, second = tmp_path / "first.zip", tmp_path / "second.zip"
    first.write_bytes(exported())
    env = {"PATH": os.environ["PATH"], "SECOND_CROSSING_DATA": str(tmp_path / "new")}
    for command in (["migrate"], ["load_archive", first], ["export_archive", second]):
        done = subprocess.run(
            [sys.executable, "manage.py", *command],
            cwd=settings.BASE_DIR,
            env=env,
            capture_output=True,
            text=True,
            timeout=900,
            check=False,
        )
        assert done.returncode == 0, done.stderr
    assert members(second.read_bytes()) == members(first.read_bytes())
    empty_site()
    load(second.read_bytes())
    assert members(exported()) == members(first.read_bytes())


def test_rows_name_one_another_by_keys_and_not_by_ids(media):
    make_society()
    data = exported()
    (repair,) = lines(data, "repairs")
    assert repair["bridge"] == "tanners-ford-bridge"
    assert ["tanners-ford-bridge", "span-1/deck"] in repair["elements"]
    assert lines(data, "import-rows")[0]["candidates"] == [
        ["weir-lane", 12.5, 90],
        ["tanners-ford-bridge", 40.0, 10],
    ]
    line = lines(data, "truss-lines")[0]
    assert line["span"] == ["tanners-ford-bridge", 1]
    assert lines(data, "people")[1]["groups"] in (["reviewer"], ["volunteer"])
    assert b"pbkdf2" not in b"".join(
        part for part in members(data).values() if isinstance(part, bytes)
    )
    told = members(data)["README.txt"].decode()
    assert "records/bridges.jsonl" in told
    assert "passwords stay with the site" in told


def test_the_same_record_gives_the_same_bytes_but_for_the_manifest(media):
    make_society()
    assert members(exported()) == members(exported())


# -- what anybody may see


def test_a_public_archive_holds_no_secret_and_the_full_one_all_of_them():
    world.make()
    public, full = exported(public=True), exported()
    for name, part in members(public).items():
        text = part if isinstance(part, bytes) else json.dumps(part).encode()
        for secret in world.SECRETS:
            assert secret.encode() not in text, (name, secret)
        # Where the phone stood, in the picture's own data.
        assert b"GPS" not in text, name
    everything = b"".join(
        one for one in members(full).values() if isinstance(one, bytes)
    )
    # A job's argument is the site's and not the record's.
    for secret in set(world.SECRETS) - {"secret-job"}:
        assert secret.encode() in everything, secret
    kinds = {name for name in members(public) if name.startswith("records/")}
    assert RECORDS.format("people") not in kinds
    assert not any("history" in name for name in kinds)
    (shy,) = [one for one in lines(public, "bridges") if one["slug"] == "shy-bridge"]
    assert (shy["latitude"], shy["longitude"]) == (41.23, -77.45)
    assert shy["position_accuracy_m"] == 1600
    assert shy["road"] == shy["crossing"] == ""


def test_a_public_archive_loads_too_and_comes_out_the_same(media):
    make_society()
    public = exported(public=True)
    empty_site()
    load(public)
    # Who recorded a visit is told in words; the accounts are not there.
    again = members(exported(public=True))
    visits = RECORDS.format("visits")
    first = members(public)
    assert {name for name in first if first[name] != again[name]} == {
        visits,
        "manifest.json",
    }
    assert Visit.objects.count() == 2
    assert Observation.objects.filter(answer="changed").exists()


# -- what is refused, and that nothing is left behind


@pytest.fixture(scope="module")
def kept():
    return {}


@pytest.fixture
def data(kept, media):
    """An archive, made once; the site is empty."""
    if not kept:
        make_society()
        kept["data"] = exported()
        empty_site()
    return kept["data"]


def rebuilt(data, changed=None, manifest=None, extra=()):
    """Return an archive with members changed and its manifest true to them."""
    parts = members(data)
    facts = json.loads(zipfile.ZipFile(io.BytesIO(data)).read("manifest.json"))
    for name, part in (changed or {}).items():
        if part is None:
            del parts[name]
            continue
        parts[name] = part
        told = {"bytes": len(part), "sha256": hashlib.sha256(part).hexdigest()}
        if name.endswith(".jsonl"):
            told["lines"] = part.count(b"\n")
        facts["members"][name] = told
    parts["manifest.json"] = json.dumps(facts | (manifest or {})).encode()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        for name, part in [*parts.items(), *extra]:
            file.writestr(name, part)
    return out.getvalue()


def with_row(data, kind, number, **facts):
    rows = lines(data, kind)
    rows[number - 1] |= facts
    text = b"".join(archive_file.line(row) for row in rows)
    return rebuilt(data, {RECORDS.format(kind): text})


def flipped(data):
    """Change one letter inside a stored file, and nothing else."""
    with zipfile.ZipFile(io.BytesIO(data)) as file:
        entry = next(
            one for one in file.infolist() if one.filename.startswith("media/")
        )
    place = entry.header_offset + len(entry.filename) + 200
    return data[:place] + bytes([data[place] ^ 1]) + data[place + 1 :]


def doubled(data):
    """A member whose bytes lie over those of all others."""
    bridges = RECORDS.format("bridges")
    return rebuilt(data, {bridges: b""}, extra=[("media/x", b"x")])


SPOILED = {
    "no zip": (lambda data: b"PK nothing", "cut short"),
    "cut short": (lambda data: data[:-300], "cut short"),
    "half": (lambda data: data[: len(data) // 2], "cut short"),
    "one bit": (flipped, "is damaged"),
    "newer": (lambda data: rebuilt(data, manifest={"format": 2}), "format 2"),
    "other software": (lambda data: rebuilt(data, manifest={"kind": "zoo"}), "zoo"),
    "no manifest": (
        lambda data: rebuilt(data, extra=()).replace(
            b"manifest.json", b"manifest.jsom"
        ),
        "manifest",
    ),
    "unlisted": (doubled, "knows nothing"),
    "out of it": (
        lambda data: rebuilt(data, extra=[("media/../../x", b"")]),
        "outside",
    ),
    "from the root": (lambda data: rebuilt(data, extra=[("/etc/x", b"")]), "outside"),
    "bomb": (
        lambda data: rebuilt(data, extra=[("media/x", bytes(40 * 2**20))]),
        "fill a disk",
    ),
    "unknown kind": (
        lambda data: rebuilt(data, {RECORDS.format("boats"): b"{}\n"}),
        "boats",
    ),
    "a list": (
        lambda data: rebuilt(data, {RECORDS.format("links"): b"[]\n"}),
        "line 1 is no",
    ),
    "field": (lambda data: with_row(data, "links", 1, wings=2), "line 1, wings: is no"),
    "choice": (
        lambda data: with_row(data, "bridges", 2, status="flown"),
        "line 2, status",
    ),
    "date": (lambda data: with_row(data, "bridges", 1, built="May"), "line 1, built"),
    "text": (lambda data: with_row(data, "bridges", 1, name=["x"]), "name: is no text"),
    "long": (lambda data: with_row(data, "bridges", 1, town="x" * 999), "longer than"),
    "NUL": (lambda data: with_row(data, "bridges", 1, town="a\0"), "cannot be kept"),
    "nobody": (
        lambda data: with_row(data, "spans", 1, bridge="no-such"),
        "bridge: names",
    ),
    "no line": (
        lambda data: with_row(data, "builder-names", 1, source=99),
        "source: names",
    ),
    "a way out": (
        lambda data: with_row(data, "photos", 1, derivatives={"320": "../../x"}),
        "names no file",
    ),
    "script": (
        lambda data: with_row(data, "links", 1, url="javascript:alert(1)"),
        "line 1, url",
    ),
    "twice the same": (
        lambda data: with_row(data, "bridges", 2, slug="tanners-ford-bridge"),
        "bridges.jsonl cannot be stored",
    ),
}


@pytest.mark.parametrize("how", SPOILED)
def test_a_spoiled_archive_is_refused_with_the_reason_and_leaves_nothing(data, how):
    spoil, words = SPOILED[how]
    with pytest.raises(Refused, match=words):
        load(spoil(data))
    assert tables.holds_anything("default") is None
    assert not list(backup.stored_names())


def test_a_site_that_holds_something_is_left_as_it_is(data):
    make_person()
    with pytest.raises(Refused, match=r"holds something already \(shared.Person"):
        load(data)


# -- the commands and the keeper's page


def test_the_commands_say_what_they_did_and_what_is_wrong(data, tmp_path, capsys):
    file = tmp_path / "kept.zip"
    file.write_bytes(data)
    call_command("load_archive", file, look_only=True)
    assert "Whole and undamaged" in capsys.readouterr().out
    call_command("load_archive", file)
    assert "Nobody has a password yet" in capsys.readouterr().out
    call_command("export_archive", tmp_path)
    (made,) = tmp_path.glob("archive-full-*.zip")
    assert members(made.read_bytes()) == members(data)
    with pytest.raises(CommandError, match="is there already"):
        call_command("export_archive", made)
    with pytest.raises(CommandError, match="Nothing was loaded"):
        call_command("load_archive", made)
    assert not list(tmp_path.glob("*.partial"))


@pytest.mark.django_db(transaction=True)
def test_who_writes_meanwhile_is_not_kept_waiting_and_not_in_it(
    transactional_db, media
):
    make_bridge(lay_out=False)
    seen = []

    def meanwhile(words):
        if words == "bridges" and not seen:
            seen.append(words)
            settings = connections["default"].settings_dict
            other = connections.create_connection("default")
            other.settings_dict = {
                **settings,
                "NAME": connections["default"].settings_dict["NAME"],
            }
            with other.cursor() as cursor:
                cursor.execute("UPDATE bridges_bridge SET name = 'Later'")
            other.close()

    out = io.BytesIO()
    archive.make(out, progress=meanwhile)
    assert seen
    assert lines(out.getvalue(), "bridges")[0]["name"] == "Tanner's Ford Bridge"
    assert Bridge.objects.get().name == "Later"


def test_the_keeper_has_one_written_and_takes_it_away(client, media):
    make_society()
    client.force_login(make_person("kip", "keeper"))
    for kind in ("public", "full", "full"):
        client.post("/keeper/archive/write/", {"kind": kind})
    page = client.get("/keeper/archive/")
    made = page.context["made"]
    assert [one.arguments["public"] for one in made] == [True, False]
    answer = client.get(f"/keeper/archive/{made[1].token}.zip")
    assert "archive-full-" in answer.headers["Content-Disposition"]
    assert lines(b"".join(answer.streaming_content), "bridges")
    # The first full one has given way to the second, and none is part of a backup.
    first = Job.objects.filter(call__endswith="write_archive").order_by("pk")[1]
    assert client.get(f"/keeper/archive/{first.token}.zip").status_code == 404
    assert not any("archives" in name for name in backup.stored_names())
