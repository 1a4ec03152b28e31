"""Elevations: what is drawn, how it is said, and that nothing typed in escapes."""

import math
import re
from xml.etree import ElementTree

import pytest

from bridges import drawing
from bridges.drawing import BarStyle, elevation, glyph, legend
from tests.compare import assert_golden

SVG = "{http://www.w3.org/2000/svg}"
# Six panels of 15 ft, 20 ft deep, with counters in the middle two: joints and bars
# written out, so that this room needs no engine.
PANELS, PANEL_FT, DEPTH_FT = 6, 15.0, 20.0


def pratt():
    joints = {f"L{i}": [PANEL_FT * i, 0.0] for i in range(PANELS + 1)}
    joints |= {f"U{i}": [PANEL_FT * i, DEPTH_FT] for i in range(1, PANELS)}
    bars = [("L0U1", "end-post"), ("L6U5", "end-post")]
    bars += [(f"L{i}L{i + 1}", "lower-chord") for i in range(6)]
    bars += [(f"U{i}U{i + 1}", "upper-chord") for i in range(1, 5)]
    bars += [(f"L{i}U{i}", "vertical") for i in range(1, 6)]
    bars += [(name, "diagonal") for name in ("L2U1", "L3U2", "L3U4", "L4U5")]
    bars += [(name, "counter") for name in ("L2U3", "L4U3")]
    members = [[name, name[:2], name[2:], role] for name, role in bars]
    return {"joints": joints, "members": members, "panels": PANELS}


def warren():
    joints = {
        "L0": [0, 0],
        "L1": [20, 0],
        "L2": [40, 0],
        "U1": [10, 12],
        "U2": [30, 12],
    }
    names = ["L0U1", "L1U1", "L1U2", "L2U2", "L0L1", "L1L2", "U1U2"]
    return {
        "joints": joints,
        "members": [[name, name[:2], name[2:], ""] for name in names],
        "panels": 2,
    }


def shallow():
    """A pony: 4 panels of 16 ft, 6 ft deep."""
    joints = {f"L{i}": [16.0 * i, 0.0] for i in range(5)}
    joints |= {f"U{i}": [16.0 * i, 6.0] for i in range(1, 4)}
    names = ["L0U1", "L4U3", "L1U1", "L2U2", "L3U3", "L2U1", "L2U3", "U1U2", "U2U3"]
    names += [f"L{i}L{i + 1}" for i in range(4)]
    return {
        "joints": joints,
        "members": [[name, name[:2], name[2:], ""] for name in names],
        "panels": 4,
    }


def polygonal():
    joints = {f"L{i}": [22.0 * i, 0.0] for i in range(9)}
    heights = (24, 29, 32, 33, 32, 29, 24)
    joints |= {f"U{i + 1}": [22.0 * (i + 1), float(h)] for i, h in enumerate(heights)}
    names = ["L0U1", "L8U7", *(f"L{i}U{i}" for i in range(1, 8))]
    names += [f"U{i}U{i + 1}" for i in range(1, 7)]
    names += [f"L{i}L{i + 1}" for i in range(8)]
    names += ["L2U1", "L3U2", "L4U3", "L4U5", "L5U6", "L6U7"]
    return {
        "joints": joints,
        "members": [[name, name[:2], name[2:], ""] for name in names],
        "panels": 8,
    }


SHAPES = {"pratt": pratt, "warren": warren, "shallow": shallow, "polygonal": polygonal}


def drawn(skeleton, bars=None, **options):
    text = elevation(skeleton, bars, **{"title": "Upstream truss", **options})
    return ElementTree.fromstring(text)


def bar_of(root, name):
    return next(one for one in root.iter() if one.get("data-bar") == name)


def strokes(root, name, colour=None):
    """Return (breadth, dashes) of the lines that make up one bar, without its target."""
    return [
        (float(path.get("stroke-width")), path.get("stroke-dasharray"))
        for path in bar_of(root, name).iter(f"{SVG}path")
        if path.get("class") != "tap" and colour in (None, path.get("class"))
    ]


@pytest.mark.parametrize("shape", SHAPES)
def test_any_outline_is_drawn_with_every_bar_and_joint_inside_the_sheet(shape):
    skeleton = SHAPES[shape]()
    styles = {
        name: BarStyle(force_kip=10.0, action="tension", label="+10.0", href=f"#{name}")
        for name, *_ in skeleton["members"]
    }
    root = drawn(skeleton, styles)
    width, height = map(float, root.get("viewBox").split()[2:])
    found = {one.get("data-bar") for one in root.iter() if one.get("data-bar")}
    assert found == {name for name, *_ in skeleton["members"]}
    assert len(root.findall(f".//{SVG}circle")) == len(skeleton["joints"])
    for text in root.iter(f"{SVG}text"):
        assert 0 <= float(text.get("x")) <= width
        assert 0 <= float(text.get("y")) <= height


@pytest.mark.parametrize("shape", SHAPES)
def test_a_drawing_keeps_the_proportions_of_the_bridge(shape):
    skeleton = SHAPES[shape]()
    sheet = drawing._Sheet(skeleton, {}, drawing.Pen(), True)
    for name, a, b, _ in skeleton["members"]:
        (ax, ay), (bx, by) = sheet.at(a), sheet.at(b)
        (fx, fy), (gx, gy) = skeleton["joints"][a], skeleton["joints"][b]
        assert bx - ax == pytest.approx((gx - fx) * sheet.scale), name
        # y goes up on a bridge and down on a screen.
        assert by - ay == pytest.approx(-(gy - fy) * sheet.scale), name


def test_compression_is_a_double_line_and_tension_a_single_one():
    root = drawn(
        pratt(),
        {
            "U2U3": BarStyle(force_kip=-40.0, action="compression"),
            "L2L3": BarStyle(force_kip=40.0, action="tension"),
        },
    )
    outer, core = strokes(root, "U2U3")
    assert core[0] < outer[0]
    assert strokes(root, "U2U3", "line-ground") == [core]
    assert len(strokes(root, "L2L3")) == 1


def test_a_slack_rod_is_dashed_and_an_idle_bar_dotted():
    root = drawn(
        pratt(), {"L2U3": BarStyle(action="slack"), "L1U1": BarStyle(action="zero")}
    )
    (_, dashes), (_, dots) = strokes(root, "L2U3")[0], strokes(root, "L1U1")[0]
    assert dashes
    assert dots
    assert dashes != dots


def test_width_grows_with_force():
    forces = {"L0L1": 5.0, "L1L2": 20.0, "L2L3": 40.0}
    root = drawn(
        pratt(),
        {n: BarStyle(force_kip=f, action="tension") for n, f in forces.items()},
    )
    widths = [strokes(root, name)[0][0] for name in forces]
    assert widths == sorted(widths)
    assert widths[0] < widths[1] < widths[2]


@pytest.mark.parametrize(
    "mark", ["replacement", "addition", "gone", "unseen", "changed"]
)
def test_each_mark_of_material_is_drawn_otherwise_than_a_plain_bar(mark):
    plain = drawn(pratt())
    marked = drawn(pratt(), {"L3U2": BarStyle(mark=mark)})
    one, other = (
        ElementTree.tostring(bar_of(root, "L3U2")) for root in (plain, marked)
    )
    assert one != other


def test_a_bar_that_is_gone_is_not_drawn_as_if_it_stood():
    root = drawn(pratt(), {"L3U2": BarStyle(mark="gone", action="tension")})
    assert all(dashes for _, dashes in strokes(root, "L3U2"))


def test_a_change_is_told_by_a_tick_and_a_word_and_not_by_colour_alone():
    root = drawn(pratt(), {"L3U2": BarStyle(action="tension", is_changed=True)})
    assert len(strokes(root, "L3U2")) == 2
    assert "changed" in bar_of(root, "L3U2").findtext(f"{SVG}title")


def test_the_governing_bar_is_ringed_and_named():
    root = drawn(pratt(), {"U2U3": BarStyle(is_governing=True, label="−40.0")})
    words = [text.text for text in root.iter(f"{SVG}text")]
    assert "U2U3 governs −40.0" in words
    assert "−40.0" not in words


def test_every_bar_can_be_tapped_44_px_wide_at_any_scale():
    root = drawn(pratt(), {"L3U2": BarStyle(href="#m-L3U2")})
    for name, *_ in pratt()["members"]:
        (tap,) = [one for one in bar_of(root, name).iter() if one.get("class") == "tap"]
        assert tap.get("stroke-width") == "44"
        assert tap.get("vector-effect") == "non-scaling-stroke"


def test_a_drawing_with_links_is_a_group_whose_links_are_named():
    root = drawn(pratt(), {"L3U2": BarStyle(href="#m-L3U2", title="L3U2: a rod")})
    link = bar_of(root, "L3U2")
    assert root.get("role") == "group"
    assert (link.tag, link.get("href")) == (f"{SVG}a", "#m-L3U2")
    assert link.get("aria-label") == "L3U2: a rod"


def test_a_drawing_without_links_is_one_picture_with_its_words_first():
    root = drawn(pratt(), {"L3U2": BarStyle(mark="gone")})
    assert root.get("role") == "img"
    assert [one.tag for one in root][:2] == [f"{SVG}title", f"{SVG}desc"]
    assert "L3U2: gone" in root[1].text


@pytest.mark.parametrize("palette", [None, drawing.PRINT])
def test_nothing_that_was_typed_in_becomes_mark_up(palette):
    nasty = '"><script>alert(1)</script>&'
    skeleton = pratt()
    text = elevation(
        skeleton,
        {"L3U2": BarStyle(label=nasty, title=nasty, href=nasty)},
        title=nasty,
        description=nasty,
        origin_end=nasty,
        palette=palette,
        name=nasty,
    )
    assert "<script" not in text
    root = ElementTree.fromstring(text)
    assert root[0].text == nasty
    assert bar_of(root, "L3U2").get("href") == nasty


def test_a_drawing_for_paper_carries_its_colours_and_no_classes_to_be_styled():
    text = elevation(
        pratt(), {"L3U2": BarStyle(mark="unseen")}, title="x", palette=drawing.PRINT
    )
    assert "var(" not in text
    assert "currentColor" not in text
    assert not re.search(r'class="(line|fill)-', text)
    assert drawing.PRINT.brass in text
    assert "pointer-events" not in text


@pytest.mark.parametrize("palette", [None, drawing.PRINT])
def test_a_drawing_needs_no_style_attribute(palette):
    styles = {"L3U2": BarStyle(label="+1.0", is_governing=True)}
    assert " style=" not in elevation(pratt(), styles, title="x", palette=palette)


def centres(root, labels):
    found = {}
    for text in root.iter(f"{SVG}text"):
        if text.text in labels:
            found[text.text] = float(text.get("x")), float(text.get("y"))
    return found


def test_labels_of_bars_that_cross_stand_apart():
    root = drawn(
        pratt(),
        {
            "L3U2": BarStyle(action="tension", label="one"),
            "L2U3": BarStyle(action="tension", label="two"),
        },
    )
    found = centres(root, {"one", "two"})
    (ax, ay), (bx, by) = found["one"], found["two"]
    assert ((ax - bx) ** 2 + (ay - by) ** 2) ** 0.5 > drawing.TEXT_PX


@pytest.mark.parametrize("shape", SHAPES)
def test_every_label_can_be_read_apart_from_every_other(shape):
    skeleton = SHAPES[shape]()
    names = [name for name, *_ in skeleton["members"]]
    labels = {name: f"−{index:02d}.5" for index, name in enumerate(names, 10)}
    root = drawn(
        skeleton,
        {
            name: BarStyle(force_kip=-30.0, action="compression", label=label)
            for name, label in labels.items()
        },
    )
    found = list(centres(root, set(labels.values())).values())
    assert len(found) == len(names)
    near = min(
        math.dist(one, other)
        for index, one in enumerate(found)
        for other in found[index + 1 :]
    )
    assert near > 1.5 * drawing.TEXT_PX


def test_a_tap_on_a_label_goes_through_to_the_bar_under_it():
    root = drawn(pratt(), {"L3U2": BarStyle(href="#x", label="+1.0")})
    over = [one for one in root if one.get("aria-hidden") == "true"]
    assert over
    assert all(one.get("pointer-events") == "none" for one in over[1:])


def test_a_member_of_a_joint_that_is_not_there_is_refused():
    skeleton = pratt()
    skeleton["members"].append(["L9U9", "L9", "U9", "vertical"])
    with pytest.raises(KeyError):
        elevation(skeleton, title="x")


def test_a_skeleton_without_joints_is_refused():
    with pytest.raises(ValueError, match="joints"):
        elevation({"joints": {}, "members": []}, title="x")


def test_the_legend_explains_what_is_drawn_and_nothing_else():
    text = legend({"L3U2": BarStyle(action="slack", mark="replacement")})
    assert "slack rod: dashed" in text
    assert "replacement: hatched across" in text
    assert "compression" not in text
    assert "gone" not in text
    assert legend(None).count("<li>") == len(drawing.LEGEND) + 1


@pytest.mark.parametrize(
    "status, shape",
    [
        ("in-service", "standing"),
        ("foot-only", "standing"),
        ("closed", "out-of-use"),
        ("bypassed", "out-of-use"),
        ("moved", "moved"),
        ("stored", "moved"),
        ("lost", "lost"),
    ],
)
def test_a_mark_has_the_shape_of_its_status(status, shape):
    assert f"glyph-{shape}" in glyph("truss", status)


def test_marks_of_families_and_of_recent_change_differ():
    families = {glyph(family, "closed") for family in drawing.OUTLINES}
    assert len(families) == len(drawing.OUTLINES)
    assert glyph("arch", "closed", is_recently_changed=True) not in families
    assert glyph("no such family", "closed") == glyph("other", "closed")


def test_every_status_of_a_bridge_has_a_shape():
    from bridges.models import Bridge

    assert set(drawing.SHAPES) == set(Bridge.Status.values)


def test_a_small_warren_on_paper_is_drawn_as_a_person_accepted_it():
    styles = {
        "L0U1": BarStyle(force_kip=-12.0, action="compression", label="−12.0"),
        "U1U2": BarStyle(force_kip=-9.0, action="compression", is_governing=True),
        "L0L1": BarStyle(
            force_kip=6.0, action="tension", mark="addition", label="+6.0"
        ),
        "L1U2": BarStyle(mark="gone"),
    }
    text = elevation(
        warren(),
        styles,
        title="Upstream truss",
        origin_end="west end",
        palette=drawing.PRINT,
        name="warren",
    )
    assert_golden("warren-on-paper.svg", text.replace("><", ">\n<") + "\n")
