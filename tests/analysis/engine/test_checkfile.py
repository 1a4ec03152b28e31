"""Reading check files: what is right, and every way of being wrong, by its path."""

import dataclasses
import hashlib
import json
import math
import pickle

import jsonschema
import pytest

from analysis.engine import checkfile, forms
from analysis.engine.canonical import LATER
from analysis.engine.errors import CheckFileError
from analysis.engine.parsing import MOST_BYTES
from tests.endurance.fuzz_check_files import of_parts

from .checkfiles import ALL, GONE, OUTRIGHT, PONY, THROUGH, changed, outright

SCHEMA = jsonschema.Draft202012Validator(checkfile.schema())

G, M, D, L, C = "geometry", "members", "dead_load", "live_load", "chord"
PIECE = (M, 1, "components", 0)
ROD = (M, 2, "components", 0)
CHANNEL = (M, 0, "components", 0)
BEAM = (M, 3, "components", 0)

# Where one wrong key leaves others missing too.
KEYS_IN_TURN = ("chord.frames", "members[0].components[0].web_thickness_in")
# (document, where it is changed, to what, path of the fault, its code)
STRUCTURE = [
    (THROUGH, (G,), GONE, "geometry", "required"),
    (THROUGH, (G,), [], "geometry", "type"),
    (THROUGH, ("colour",), "red", "colour", "unknown-key"),
    (THROUGH, ("odd key",), 1, '["odd key"]', "unknown-key"),
    (THROUGH, ("title",), 7, "title", "type"),
    (THROUGH, ("title",), "x" * 501, "title", "length"),
    (THROUGH, ("deck_position",), "half", "deck_position", "choice"),
    (THROUGH, ("connection",), "glued", "connection", "choice"),
    (THROUGH, ("method",), "guess", "method", "choice"),
    (THROUGH, ("tension_only_model",), None, "tension_only_model", "choice"),
    (THROUGH, (G, "form"), "ratt", "geometry.form", "choice"),
    (THROUGH, (G, "form"), 3, "geometry.form", "choice"),
    (THROUGH, (G, "panels"), GONE, "geometry.panels", "required"),
    (THROUGH, (G, "panels"), 5.5, "geometry.panels", "type"),
    (THROUGH, (G, "panels"), "5", "geometry.panels", "type"),
    (THROUGH, (G, "panels"), True, "geometry.panels", "type"),
    (THROUGH, (G, "panels"), 1, "geometry.panels", "range"),
    (THROUGH, (G, "panels"), 10**9, "geometry.panels", "range"),
    (THROUGH, (G, "panels"), 10**300, "geometry.panels", "range"),
    (THROUGH, (G, "panel_length_ft"), 0, "geometry.panel_length_ft", "range"),
    (THROUGH, (G, "panel_length_ft"), "18", "geometry.panel_length_ft", "type"),
    (
        THROUGH,
        (G, "panel_length_ft"),
        [18, -1],
        "geometry.panel_length_ft[1]",
        "range",
    ),
    (THROUGH, (G, "depth_ft"), -20, "geometry.depth_ft", "range"),
    (THROUGH, (G, "depth_ft"), GONE, "geometry.depth_ft", "required"),
    (THROUGH, (G, "hip_offset_ft"), 5, "geometry.hip_offset_ft", "unknown-key"),
    (THROUGH, (G, "crossed_panels"), [0], "geometry.crossed_panels[0]", "range"),
    (THROUGH, (G, "crossed_panels"), 3, "geometry.crossed_panels", "type"),
    (PONY, (G, "hip_offset_ft"), GONE, "geometry.hip_offset_ft", "required"),
    (OUTRIGHT, (G, "joints"), GONE, "geometry.joints", "required"),
    (OUTRIGHT, (G, "joints", "A"), [0], "geometry.joints.A", "length"),
    (OUTRIGHT, (G, "joints", "A"), [0, "y"], "geometry.joints.A[1]", "type"),
    (OUTRIGHT, (G, "joints", "A"), [0, 1e9], "geometry.joints.A[1]", "range"),
    (OUTRIGHT, (G, "joints", "a b"), [0, 1], 'geometry.joints["a b"]', "pattern"),
    (OUTRIGHT, (G, "members", 1), ["A"], "geometry.members[1]", "length"),
    (OUTRIGHT, (G, "members", 1), "AC", "geometry.members[1]", "type"),
    (OUTRIGHT, (G, "members"), [], "geometry.members", "length"),
    (OUTRIGHT, (G, "pinned"), GONE, "geometry.pinned", "required"),
    (OUTRIGHT, (G, "loaded_joints"), ["A"], "geometry.loaded_joints", "length"),
    (OUTRIGHT, (G, "kinds", "CE"), "tie", "geometry.kinds.CE", "choice"),
    (OUTRIGHT, (G, "panels"), 4, "geometry.panels", "unknown-key"),
    (THROUGH, ("material", "kind"), "tin", "material.kind", "choice"),
    (THROUGH, ("material", "year"), 12, "material.year", "range"),
    (THROUGH, ("material", "year"), "1908", "material.year", "type"),
    (THROUGH, ("material", "fy_ksi"), 30, "material.fy_ksi", "unknown-key"),
    (THROUGH, ("material",), {"fy_ksi": 30}, "material.fu_ksi", "required"),
    (THROUGH, (M,), {}, "members", "type"),
    (THROUGH, (M, 0), [], "members[0]", "type"),
    (THROUGH, (M, 0, "kinds"), GONE, "members[0]", "required"),
    (THROUGH, (M, 0, "kinds"), [], "members[0].kinds", "length"),
    (THROUGH, (M, 0, "kinds"), ["chord"], "members[0].kinds[0]", "choice"),
    (THROUGH, (M, 0, "section"), GONE, "members[0]", "required"),
    (THROUGH, (M, 1, "section"), {"area_in2": 1}, "members[1].section", "combination"),
    (
        THROUGH,
        (M, 0, "section", "area_in2"),
        GONE,
        "members[0].section.area_in2",
        "required",
    ),
    (
        THROUGH,
        (M, 0, "section", "area_in2"),
        0,
        "members[0].section.area_in2",
        "range",
    ),
    (THROUGH, (M, 0, "absent"), 1, "members[0].absent", "type"),
    (THROUGH, (M, 0, "tension_only"), "no", "members[0].tension_only", "type"),
    (THROUGH, (M, 0, "loss_fraction"), 1, "members[0].loss_fraction", "range"),
    (THROUGH, (M, 0, "loss_fraction"), -0.1, "members[0].loss_fraction", "range"),
    (THROUGH, (M, 0, "k"), 0, "members[0].k", "range"),
    (THROUGH, (M, 1, "components"), [], "members[1].components", "length"),
    (THROUGH, (*PIECE, "shape"), GONE, "members[1].components[0].shape", "required"),
    (THROUGH, (*PIECE, "shape"), "tube", "members[1].components[0].shape", "choice"),
    (
        THROUGH,
        (*PIECE, "thickness_in"),
        GONE,
        "members[1].components[0].thickness_in",
        "required",
    ),
    (
        THROUGH,
        (*PIECE, "thickness_in"),
        0,
        "members[1].components[0].thickness_in",
        "range",
    ),
    (THROUGH, (*PIECE, "count"), 0, "members[1].components[0].count", "range"),
    (THROUGH, (*PIECE, "count"), 1.5, "members[1].components[0].count", "type"),
    (
        THROUGH,
        (*PIECE, "carries"),
        "dead",
        "members[1].components[0].carries",
        "choice",
    ),
    (
        THROUGH,
        (*PIECE, "diameter_in"),
        1,
        "members[1].components[0].diameter_in",
        "unknown-key",
    ),
    (THROUGH, (*ROD, "ends"), "bent", "members[2].components[0].ends", "choice"),
    (
        THROUGH,
        (*ROD, "diameter_in"),
        math.nan,
        "members[2].components[0].diameter_in",
        "range",
    ),
    (
        THROUGH,
        (*ROD, "diameter_in"),
        math.inf,
        "members[2].components[0].diameter_in",
        "range",
    ),
    (
        PONY,
        (*CHANNEL, "weight_plf"),
        GONE,
        "members[0].components[0]",
        "required",
    ),
    (
        PONY,
        (*CHANNEL, "web_thickness_in"),
        0.3,
        "members[0].components[0].web_thickness_in",
        "combination",
    ),
    (
        PONY,
        (*BEAM, "web_thickness_in"),
        GONE,
        "members[3].components[0].web_thickness_in",
        "required",
    ),
    (
        PONY,
        (*CHANNEL, "built_up", "webs_apart_in"),
        GONE,
        "members[0].components[0].built_up.webs_apart_in",
        "required",
    ),
    (
        PONY,
        (*CHANNEL, "built_up", "cover_plate", "width_in"),
        None,
        "members[0].components[0].built_up.cover_plate.width_in",
        "type",
    ),
    (THROUGH, (D, "uniform_plf"), -1, "dead_load.uniform_plf", "range"),
    (THROUGH, (D, "wind"), 1, "dead_load.wind", "unknown-key"),
    (
        THROUGH,
        (D, "self_weight", "details_factor"),
        0,
        "dead_load.self_weight.details_factor",
        "range",
    ),
    (PONY, (D, "joints_kip", "L2"), "1", "dead_load.joints_kip.L2", "type"),
    (PONY, (D, "floor", "roadway_ft"), GONE, "dead_load.floor.roadway_ft", "required"),
    (PONY, (D, "floor", "share"), 1.2, "dead_load.floor.share", "range"),
    (
        PONY,
        (D, "floor", "layers", 0, "thickness_in"),
        GONE,
        "dead_load.floor.layers[0]",
        "required",
    ),
    (
        PONY,
        (D, "floor", "layers", 0, "psf"),
        12,
        "dead_load.floor.layers[0].psf",
        "combination",
    ),
    (
        PONY,
        (D, "floor", "layers", 1, "material"),
        "straw",
        "dead_load.floor.layers[1].material",
        "choice",
    ),
    (
        PONY,
        (D, "floor", "stringers", "count"),
        GONE,
        "dead_load.floor.stringers.count",
        "required",
    ),
    (THROUGH, (L,), {"fraction": 1}, "live_load", "required"),
    (THROUGH, (L,), None, "live_load", "type"),
    (THROUGH, (L, "vehicle"), "H30", "live_load.vehicle", "choice"),
    (THROUGH, (L, "lane"), "HS99", "live_load.lane", "choice"),
    (THROUGH, (L, "fraction"), 0, "live_load.fraction", "range"),
    (THROUGH, (L, "impact"), "much", "live_load.impact", "choice"),
    (THROUGH, (L, "impact"), [0.3], "live_load.impact", "type"),
    (THROUGH, (L, "impact"), -0.1, "live_load.impact", "range"),
    (PONY, (L, "fraction"), 0.5, "live_load.lever", "combination"),
    (PONY, (L, "axles"), [], "live_load.axles", "length"),
    (PONY, (L, "axles", 1, "kip"), 0, "live_load.axles[1].kip", "range"),
    (
        PONY,
        (L, "lever", "roadway_ft"),
        GONE,
        "live_load.lever.roadway_ft",
        "required",
    ),
    (PONY, (C, "frames"), {}, "chord.frames.post_i_in4", "required"),
    (PONY, (C, "frame_stiffness_kip_per_in"), GONE, "chord", "required"),
    (
        PONY,
        (C, "frame_stiffness_kip_per_in", "U2"),
        -1,
        "chord.frame_stiffness_kip_per_in.U2",
        "range",
    ),
    (
        PONY,
        (C, "end_stiffness_kip_per_in"),
        "rigid",
        "chord.end_stiffness_kip_per_in",
        "type",
    ),
]
MEANING = [
    (THROUGH, (G, "panel_length_ft"), [18, 18], "geometry.panel_length_ft", "geometry"),
    (THROUGH, (G, "crossed_panels"), [6], "geometry.crossed_panels[0]", "geometry"),
    (THROUGH, (G, "crossed_panels"), [3, 1], "geometry.crossed_panels[1]", "geometry"),
    (PONY, (G, "hip_offset_ft"), 16, "geometry.hip_offset_ft", "geometry"),
    (OUTRIGHT, (G, "pinned"), "Z", "geometry.pinned", "joint"),
    (OUTRIGHT, (G, "roller"), "A", "geometry.roller", "geometry"),
    (OUTRIGHT, (G, "members", 1), ["A", "Z"], "geometry.members[1][1]", "joint"),
    (OUTRIGHT, (G, "members", 1), ["A", "A"], "geometry.members[1]", "zero-length"),
    (OUTRIGHT, (G, "members", 1), ["B", "A"], "geometry.members[1]", "repeated"),
    (OUTRIGHT, (G, "joints", "C"), [0, 0], "geometry.loaded_joints[1]", "order"),
    (OUTRIGHT, (G, "joints", "B"), [10, 0], "geometry.members[2]", "zero-length"),
    (OUTRIGHT, (G, "joints", "a"), [1, 1], "geometry.joints.a", "repeated"),
    (
        OUTRIGHT,
        (G, "loaded_joints"),
        ["C", "A", "E"],
        "geometry.loaded_joints[1]",
        "order",
    ),
    (
        OUTRIGHT,
        (G, "loaded_joints"),
        ["A", "C", "Z"],
        "geometry.loaded_joints[2]",
        "joint",
    ),
    (OUTRIGHT, (G, "kinds", "AE"), "vertical", "geometry.kinds.AE", "member"),
    (OUTRIGHT, (G, "kinds", "DB"), "vertical", "geometry.kinds.DB", "repeated"),
    (THROUGH, (M, 2, "names", 1), "L3U9", "members[2].names[1]", "member"),
    (
        THROUGH,
        (M, 0, "section", "net_area_in2"),
        10,
        "members[0].section.net_area_in2",
        "proportion",
    ),
    (
        THROUGH,
        (M, 0, "section", "i_out_of_plane_in4"),
        1,
        "members[0].section.i_out_of_plane_in4",
        "proportion",
    ),
    (
        THROUGH,
        (*PIECE, "carries"),
        "live",
        "members[1].components",
        "combination",
    ),
    (
        PONY,
        (*CHANNEL, "weight_plf"),
        5.5,
        "members[0].components[0].weight_plf",
        "shape",
    ),
    (
        PONY,
        (*CHANNEL, "depth_in"),
        8.5,
        "members[0].components[0].weight_plf",
        "shape",
    ),
    (PONY, (*CHANNEL, "count"), 3, "members[0].components[0].count", "combination"),
    (
        PONY,
        (M, 0, "built_up"),
        {"webs_apart_in": 6},
        "members[0].built_up",
        "combination",
    ),
    (
        PONY,
        (M, 1, "components", 0, "thickness_in"),
        2.5,
        "members[1].components[0].thickness_in",
        "proportion",
    ),
    (
        PONY,
        (*BEAM, "flange_thickness_in"),
        3,
        "members[3].components[0].flange_thickness_in",
        "proportion",
    ),
    (
        PONY,
        (*BEAM, "web_thickness_in"),
        4,
        "members[3].components[0].web_thickness_in",
        "proportion",
    ),
    (PONY, (D, "joints_kip", "L9"), 1, "dead_load.joints_kip.L9", "joint"),
    (
        PONY,
        (L, "axles", 0, "behind_front_ft"),
        2,
        "live_load.axles[0].behind_front_ft",
        "order",
    ),
    (PONY, (L, "lever", "roadway_ft"), 9, "live_load.lever.roadway_ft", "proportion"),
    (
        PONY,
        (L, "lever", "trusses_apart_ft"),
        12,
        "live_load.lever.trusses_apart_ft",
        "proportion",
    ),
    (PONY, ("method",), "load-factor", "method", "combination"),
    (
        PONY,
        (C, "frame_stiffness_kip_per_in", "U0"),
        1,
        "chord.frame_stiffness_kip_per_in.U0",
        "joint",
    ),
    (
        PONY,
        (C, "frame_stiffness_kip_per_in", "U2"),
        GONE,
        "chord.frame_stiffness_kip_per_in.U2",
        "required",
    ),
    (OUTRIGHT, ("chord",), {"frames": None}, "chord.frames", "type"),
    (
        THROUGH | {"members": []},
        ("chord",),
        {"frame_stiffness_kip_per_in": 2},
        "chord",
        "required",
    ),
    (
        changed(OUTRIGHT, (G, "kinds"), {}),
        ("chord",),
        {"frame_stiffness_kip_per_in": 2},
        "chord",
        "geometry",
    ),
]


def faults_of(document):
    with pytest.raises(CheckFileError) as caught:
        checkfile.read(document)
    return [(fault.path, fault.code) for fault in caught.value.faults]


def name_of(value):
    if isinstance(value, tuple):
        return ".".join(str(step) for step in value)
    return "" if isinstance(value, dict) else None


@pytest.mark.parametrize(
    ("document", "where", "value", "path", "code"), STRUCTURE + MEANING, ids=name_of
)
def test_a_wrong_file_is_refused_at_the_path_of_its_fault(
    document, where, value, path, code
):
    wrong = changed(document, where, value)
    with pytest.raises(CheckFileError) as caught:
        checkfile.read(wrong)
    found = [(fault.path, fault.code) for fault in caught.value.faults]
    assert found[0] == (path, code)
    assert len(found) == 1 or path.startswith(KEYS_IN_TURN)
    assert "expect" in caught.value.faults[0].message


@pytest.mark.parametrize(
    ("document", "where", "value", "path", "code"), STRUCTURE, ids=name_of
)
def test_the_schema_refuses_the_same_files(document, where, value, path, code):
    wrong = changed(document, where, value)
    if isinstance(value, float) and not math.isfinite(value):
        return  # no JSON text holds one; ``parse`` refuses it
    assert not SCHEMA.is_valid(wrong)


@pytest.mark.parametrize("name", ALL)
def test_reader_and_schema_accept_a_right_file(name):
    SCHEMA.validate(ALL[name])
    checkfile.read(ALL[name])


def test_the_schema_is_a_schema():
    schema = checkfile.schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"


def test_every_form_is_in_the_schema():
    ways = checkfile.schema()["properties"]["geometry"]["oneOf"]
    told = {way["properties"].get("form", {}).get("const") for way in ways}
    assert told == {*forms.FORMS, None}


def test_every_fault_is_reported_at_once():
    wrong = changed(THROUGH, (*PIECE, "width_in"), -1)
    wrong = changed(wrong, (*ROD, "ends"), "bent")
    wrong = changed(wrong, (G, "panels"), 0)
    assert faults_of(wrong) == [
        ("geometry.panels", "range"),
        ("members[1].components[0].width_in", "range"),
        ("members[2].components[0].ends", "choice"),
    ]


def test_a_flood_of_faults_is_cut_short():
    group = {"names": ["L0L1"], "section": {"area_in2": -1}}
    faults = faults_of(THROUGH | {"members": [group] * 900})
    assert len(faults) == 51
    assert faults[-1] == ("$", "too-many")


@pytest.mark.parametrize("tiny", [1e-300, 0.00009])
def test_a_size_too_small_to_have_an_area_is_refused(tiny):
    """Its square, cube or fourth power would be nothing."""
    piece = changed(THROUGH, (*PIECE, "width_in"), tiny)
    assert faults_of(piece) == [("members[1].components[0].width_in", "range")]


def test_messages_say_what_was_expected_and_found():
    with pytest.raises(CheckFileError) as caught:
        checkfile.read(changed(THROUGH, (*PIECE, "width_in"), -3))
    assert str(caught.value.faults[0]) == (
        "members[1].components[0].width_in: expected a number of at least 0.0001 and at most "
        "120, found -3"
    )


@pytest.mark.parametrize("document", [None, [], 3, "geometry", True])
def test_what_is_no_object_is_refused(document):
    assert faults_of(document) == [("$", "type")]


def test_values_no_json_holds_are_refused_by_type():
    assert faults_of(THROUGH | {"title": object()}) == [("title", "type")]
    assert faults_of(THROUGH | {3: 4}) == [("$", "type")]


# --- text ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "path", "code"),
    [
        ("", "$", "json"),
        ("{", "$", "json"),
        ("{} {}", "$", "json"),
        ("[1]", "$", "type"),
        ('"text"', "$", "type"),
        ('{"title": NaN}', "$", "range"),
        ('{"title": -Infinity}', "$", "range"),
        ('{"a": 1' + "0" * 5000 + "}", "$", "range"),
        ('{"a": ' + "[" * 100_000 + "}", "$", "depth"),
        ('{"a": ' * 50 + "1" + "}" * 50, "$", "depth"),
        ('{"title": "a", "title": "a"}', "title", "repeated"),
        ('{"members": [{}, {"k": 1, "k": 2}]}', "members[1].k", "repeated"),
        (b"\xff\xfe{}", "$", "encoding"),
        (b"{}" + b" " * MOST_BYTES, "$", "size"),
    ],
    ids=range(14),
)
def test_text_that_is_no_check_file_is_refused(text, path, code):
    with pytest.raises(CheckFileError) as caught:
        checkfile.parse(text)
    assert [(f.path, f.code) for f in caught.value.faults] == [(path, code)]


def test_brackets_inside_texts_are_no_nesting():
    title = "[" * 100 + '\\" {' * 30
    assert checkfile.parse(json.dumps({"title": title})) == {"title": title}


def test_a_byte_order_mark_is_passed_over():
    assert checkfile.parse(b'\xef\xbb\xbf{"a": 1}') == {"a": 1}


# --- the same question -----------------------------------------------------------------

# Answers depend on all of this; a change here is a change of every stored check's key.
THROUGH_SHA256 = "d256518f8ebfda9f540fb862855998d6804f740ee4d537e617e80ddbe40ff4c3"


def reordered(value):
    if isinstance(value, dict):
        return {key: reordered(value[key]) for key in reversed(list(value))}
    return [reordered(item) for item in value] if isinstance(value, list) else value


SAME = {
    "spelling": changed(THROUGH, (M, 2, "names"), ["u3-l2", " U2 L3 "]),
    "order of names": changed(THROUGH, (M, 2, "names"), ["L3U2", "L2U3"]),
    "whole numbers written with a point": changed(
        THROUGH, (G, "panel_length_ft"), 18.0
    ),
    "one length per panel": changed(THROUGH, (G, "panel_length_ft"), [18] * 5),
    "no title": changed(THROUGH, ("title",), GONE),
    "defaults left out": {
        key: value
        for key, value in THROUGH.items()
        if key not in ("deck_position", "connection", "method")
    },
    "defaults written out": THROUGH
    | {
        "tension_only_model": "elastic",
        "geometry": THROUGH[G] | {"crossed_panels": []},
        "members": [
            {
                "kinds": ["upper-chord", "end-post", "vertical"],
                "section": THROUGH[M][0]["section"] | {"net_area_in2": 9.7},
                "k": 0.875,
                "tension_only": False,
                "loss_fraction": 0,
                "absent": False,
            },
            {
                "kinds": ["lower-chord", "hip-vertical", "diagonal"],
                "components": [THROUGH[M][1]["components"][0] | {"carries": "all"}],
                "tension_only": True,
            },
            THROUGH[M][2],
        ],
        "dead_load": THROUGH[D] | {"joints_kip": {"L2": 0}},
    },
    "panel crossed twice over": changed(THROUGH, (G, "crossed_panels"), [3]),
}


def test_the_hash_of_a_known_file_stays_what_it_is():
    assert checkfile.input_sha256(THROUGH) == THROUGH_SHA256


@pytest.mark.parametrize("document", [*ALL.values(), of_parts()])
def test_the_hash_is_that_of_the_question_as_sorted_json(document):
    check = checkfile.read(document)

    def said(pairs):
        return {k: v for k, v in pairs if k not in LATER or v != LATER[k]}

    whole = dataclasses.asdict(check, dict_factory=said)
    for key in ("title", *(k for k in ("floor_system", "pins") if not whole[k])):
        del whole[key]
    whole["geometry"] = check.geometry.canonical()
    text = json.dumps(whole, sort_keys=True, separators=(",", ":"))
    assert checkfile.sha256_of(check) == hashlib.sha256(text.encode()).hexdigest()


def test_members_read_twice_are_equal_and_travel_without_what_they_keep():
    one, other = (checkfile.read(PONY).members[0] for _ in range(2))
    made = dataclasses.replace(one)
    assert made == one == other
    assert hash(made) == hash(one) == hash(other)
    assert hash(made) != hash(dataclasses.replace(one, loss_fraction=0.5))
    # Another process hashes texts otherwise.
    sent = pickle.loads(pickle.dumps(one))
    assert sent == one
    assert vars(sent).keys() == {field.name for field in dataclasses.fields(one)}


@pytest.mark.parametrize("how", SAME)
def test_the_same_question_has_the_same_hash(how):
    assert checkfile.input_sha256(SAME[how]) == THROUGH_SHA256


@pytest.mark.parametrize("name", ALL)
def test_key_order_and_spacing_do_not_count(name):
    document = ALL[name]
    spaced = checkfile.parse(json.dumps(reordered(document), indent=7))
    assert checkfile.input_sha256(spaced) == checkfile.input_sha256(document)


def leaves(value, at=()):
    if isinstance(value, dict):
        for key, item in value.items():
            yield from leaves(item, (*at, key))
    elif isinstance(value, list):
        for number, item in enumerate(value):
            yield from leaves(item, (*at, number))
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield at


@pytest.mark.parametrize("name", ALL)
def test_every_number_of_a_file_counts(name):
    document = ALL[name]
    before = checkfile.input_sha256(document)
    for at in leaves(document):
        value = document
        for step in at:
            value = value[step]
        # Panel and axle counts, and looked-up shapes, move by what keeps them valid.
        if at[-1] in ("panels", "depth_in", "weight_plf", "count") or (
            "crossed_panels" in at or "behind_front_ft" in at
        ):
            continue
        other = changed(document, at, value * 1.001 if value else 0.001)
        if at[-1] == "year":
            other = changed(document, at, value + 1)
        try:
            after = checkfile.input_sha256(other)
        except CheckFileError as error:
            pytest.fail(f"{at}: {error}")
        assert after != before, at


def test_another_bar_taken_away_is_another_question():
    gone = changed(THROUGH, (M, 3), {"names": ["L2U3"], "absent": True})
    assert checkfile.input_sha256(gone) != THROUGH_SHA256


def test_a_form_and_its_joints_written_out_are_one_question():
    geometry = forms.build("warren", 4, 20.0, 15.0)
    outright = {
        "joints": {name: list(place) for name, place in geometry.joints.items()},
        "members": [list(ends) for ends in geometry.members],
        "kinds": geometry.kinds,
        "pinned": geometry.pinned,
        "roller": geometry.roller,
        "loaded_joints": list(geometry.loaded_joints),
    }
    form = {"form": "warren", "panels": 4, "panel_length_ft": 20, "depth_ft": 15}
    assert checkfile.input_sha256({"geometry": outright}) == checkfile.input_sha256(
        {"geometry": form}
    )


# --- what it is read to ----------------------------------------------------------------


def member(document, name):
    check = checkfile.read(document)
    return next(m for m in check.members if m.name == name)


def test_a_later_group_overrides_an_earlier_one_whole():
    lost = changed(THROUGH, (M, 1, "loss_fraction"), 0.3)
    later = {"names": ["U1-L2"], "section": {"area_in2": 2}}
    read = member(changed(lost, (M, 3), later), "L2U1")
    assert read.loss_fraction == 0.0
    assert read.components == ()
    assert member(lost, "L2U1").loss_fraction == 0.3


def test_rods_and_flat_bars_carry_tension_only_unless_said_otherwise():
    assert member(THROUGH, "L0L1").tension_only
    assert member(THROUGH, "L2U3").tension_only
    assert not member(THROUGH, "U1U2").tension_only
    said = changed(THROUGH, (M, 2, "tension_only"), False)
    assert not member(said, "L2U3").tension_only
    plate = changed(THROUGH, (*PIECE, "shape"), "plate")
    assert not member(plate, "L0L1").tension_only


def test_effective_length_factor_follows_the_connection():
    assert member(THROUGH, "U1U2").k == 0.875
    riveted = changed(THROUGH, ("connection",), "riveted")
    assert member(riveted, "U1U2").k == 0.75


def test_unbraced_lengths_are_the_members_own_unless_given():
    read = member(THROUGH, "L0U1")
    assert (
        read.unbraced_in_plane_ft == read.length_ft == pytest.approx(26.9072, abs=1e-4)
    )
    assert member(PONY, "L0U0").unbraced_out_of_plane_ft == 16.0


def test_members_no_group_covers_are_uncovered():
    assert not member(OUTRIGHT, "AB").is_covered
    assert member(OUTRIGHT, "BD").is_covered


def test_built_up_beside_the_components_is_of_the_pair_of_channels():
    within = PONY[M][0]
    pair = dict(within["components"][0])
    how = pair.pop("built_up")
    beside = changed(PONY, (M, 0), within | {"components": [pair], "built_up": how})
    assert checkfile.input_sha256(beside) == checkfile.input_sha256(PONY)


def test_axles_are_read_front_to_rear_in_whatever_order():
    turned = changed(PONY, (L, "axles"), list(reversed(PONY[L]["axles"])))
    assert checkfile.input_sha256(turned) == checkfile.input_sha256(PONY)


@pytest.mark.parametrize("form", ["bowstring", "lenticular", "post"])
def test_what_would_take_long_to_answer_is_refused_by_its_path(form):
    """No truss known to the trade is so long; on shorter ones there may be more axles."""

    def of(panels, axles):
        geometry = {"form": form, "panels": panels, "panel_length_ft": 15}
        front_to_rear = [{"kip": 9, "behind_front_ft": 9 * n} for n in range(axles)]
        return THROUGH | {
            "geometry": geometry | {"depth_ft": 20},
            "members": THROUGH["members"][:2],
            "live_load": {"axles": front_to_rear, "fraction": 0.5},
        }

    assert checkfile.read(of(20, 8))
    assert checkfile.read(of(10, 16))
    for panels, axles, path in (
        (22, 7, "geometry.panels"),
        (20, 9, "live_load.axles"),
        (10, 17, "live_load.axles"),
    ):
        with pytest.raises(CheckFileError) as caught:
            checkfile.read(of(panels, axles))
        assert [fault.path for fault in caught.value.faults] == [path]
    # Where bars do not all go slack in turn there is no such limit.
    assert checkfile.read(of(24, 20) | {"geometry": LONG})


def test_so_are_so_many_bars_that_only_pull():
    def of(panels, crossed, axles, kinds=("diagonal", "counter")):
        pratt = LONG | {"form": "pratt", "panels": panels}
        front_to_rear = [{"kip": 9, "behind_front_ft": 9 * n} for n in range(axles)]
        return THROUGH | {
            "geometry": pratt | {"crossed_panels": list(crossed)},
            "members": [{"kinds": list(kinds), "components": BARS}, REST],
            "live_load": {"axles": front_to_rear, "fraction": 0.5},
        }

    def path_of(document):
        with pytest.raises(CheckFileError) as caught:
            checkfile.read(document)
        (fault,) = caught.value.faults
        assert fault.code in ("proportion", "length")
        return fault.path

    assert checkfile.read(of(60, range(19, 39), 10))
    assert path_of(of(60, range(19, 40), 10)) == "geometry.crossed_panels"
    assert path_of(of(60, range(19, 39), 11)) == "live_load.axles"
    eyebars = of(60, range(19, 39), 10) | {"members": [REST, EVERY_BAR]}
    assert path_of(eyebars) == "members"
    # With few such bars, or on few panels, there may be as many axles as on any truss.
    assert checkfile.read(of(60, range(19, 39), 20, ("counter",)))
    assert checkfile.read(of(30, range(3, 23), 20))
    # Given joint by joint, what crosses is counted by the bars more than it needs.
    assert checkfile.read(outright(of(28, range(3, 23), 10)))
    assert path_of(outright(of(28, range(3, 23), 11))) == "live_load.axles"
    crossed = outright(of(28, range(3, 23), 9))
    crossed["geometry"]["members"].append(["L1", "U2"])
    assert path_of(crossed) == "geometry.members"
    # Stiff bars may cross as they will.
    crossed["members"] = [REST, EVERY_BAR | {"kinds": ["counter"]}]
    assert checkfile.read(crossed)


BARS = [{"shape": "eyebar", "width_in": 3, "thickness_in": 1}]
EVERY_BAR = {
    "kinds": ["lower-chord", "diagonal", "counter"],
    "components": BARS,
    "tension_only": True,
}
REST = {
    "kinds": ["upper-chord", "lower-chord", "end-post", "vertical", "hip-vertical"],
    "section": {"area_in2": 20, "r_in_plane_in": 5, "r_out_of_plane_in": 5},
}
LONG = {"form": "warren", "panels": 24, "panel_length_ft": 15, "depth_ft": 20}
