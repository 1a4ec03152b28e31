"""The look's promises, computed: contrast of every pair of tokens, one set of colours."""

import re
from dataclasses import asdict
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders
from django.test import Client

from bridges import drawing
from shared import fonts

ROOT = Path(__file__).resolve().parents[2]
TEXT = ("ink", "pencil", "river", "rust", "brass", "moss", "plum")
GROUNDS = ("paper", "sheet")
# WCAG 2.1: 1.4.3 for text, 1.4.11 for what is not text, 1.4.6 for enhanced contrast.
TEXT_RATIO, MARK_RATIO, ENHANCED_RATIO = 4.5, 3.0, 7.0


def css(name):
    return Path(finders.find(f"shared/css/{name}.css")).read_text(encoding="utf-8")


def tokens(block):
    return dict(re.findall(r"--([a-z]+):\s*(#[0-9A-F]{6})", block))


def schemes():
    """Return the tokens of each set of colours, as a browser would resolve them."""
    blocks = [tokens(one) for one in re.findall(r":root\s*{([^}]*)}", css("base"))]
    light, dark, contrast = blocks
    return {
        "light": light,
        "dark": light | dark,
        "contrast": light | contrast,
        "print": light | tokens(css("print")),
    }


def luminance(colour):
    """Relative luminance of an sRGB colour: WCAG 2.1, definition of that term."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels
    ]
    return sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def contrast(one, other):
    """Contrast ratio: WCAG 2.1, definition of that term."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize(
    "one, other, ratio",
    # The ends of the scale by the definition; the grey from memory, often quoted as
    # the lightest on white that does not reach 4.5.
    [
        ("#000000", "#FFFFFF", 21.0),
        ("#FFFFFF", "#FFFFFF", 1.0),
        ("#777777", "#FFFFFF", 4.48),
    ],
)
def test_contrast_is_computed_as_published(one, other, ratio):
    assert contrast(one, other) == pytest.approx(ratio, abs=0.005)


@pytest.mark.parametrize("scheme", ["light", "dark", "contrast", "print"])
@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize("token", TEXT)
def test_every_text_colour_can_be_read_on_every_ground(scheme, ground, token):
    found = schemes()[scheme]
    least = ENHANCED_RATIO if scheme == "contrast" else TEXT_RATIO
    assert contrast(found[token], found[ground]) >= least


@pytest.mark.parametrize("scheme", ["light", "dark", "contrast", "print"])
@pytest.mark.parametrize("ground", GROUNDS)
def test_rules_and_marks_can_be_seen_on_every_ground(scheme, ground):
    found = schemes()[scheme]
    assert contrast(found["rule"], found[ground]) >= MARK_RATIO


@pytest.mark.parametrize("scheme", ["light", "dark", "contrast"])
@pytest.mark.parametrize("ground", ["river", "plum", "ink"])
def test_words_on_buttons_can_be_read(scheme, ground):
    found = schemes()[scheme]
    assert contrast(found["paper"], found[ground]) >= TEXT_RATIO


@pytest.mark.parametrize(
    "scheme, palette",
    [("light", drawing.LIGHT), ("dark", drawing.DARK), ("print", drawing.PRINT)],
)
def test_drawings_without_a_style_sheet_have_the_colours_of_the_page(scheme, palette):
    found = schemes()[scheme] | {"ground": schemes()[scheme]["sheet"]}
    wanted = {name: found[name] for name in asdict(palette) if name != "font"}
    assert {n: c for n, c in asdict(palette).items() if n != "font"} == wanted


def test_every_class_a_drawing_uses_has_a_colour():
    sheet = css("record")
    for role in asdict(drawing.LIGHT):
        if role != "font":
            assert f".line-{role} {{ stroke: var(--" in sheet
            assert f".fill-{role} {{ fill: var(--" in sheet


def test_the_browser_frame_has_the_colour_of_the_paper():
    page = (ROOT / "templates" / "base.html").read_text(encoding="utf-8")
    found = dict(
        re.findall(r'content="(#\w+)" media="\(prefers-color-scheme: (\w+)\)', page)
    )
    assert {scheme: colour for colour, scheme in found.items()} == {
        "light": schemes()["light"]["paper"],
        "dark": schemes()["dark"]["paper"],
    }


def test_every_typeface_named_on_a_page_is_one_that_is_served():
    page = (ROOT / "templates" / "base.html").read_text(encoding="utf-8")
    named = re.findall(r"/fonts/(\d+)/([a-z0-9-]+)\.woff2", css("base") + page)
    assert {name for _, name in named} == set(fonts.FACES)
    assert {int(recipe) for recipe, _ in named} == {fonts.RECIPE}


@pytest.fixture(scope="module")
def sans(tmp_path_factory):
    path = tmp_path_factory.mktemp("fonts") / "sans.woff2"
    fonts.make_subset(fonts.source("source-sans-3"), path)
    return path


def test_a_typeface_for_the_web_is_small_and_has_what_the_pages_write(sans):
    from fontTools.ttLib import TTFont

    assert sans.stat().st_size < 80_000
    font = TTFont(sans)
    held = set(font.getBestCmap())
    assert {ord(letter) for letter in "AZaz09éñ′″−–½⅞×≤→“”’"} <= held
    # Figures of one width, so that columns stand; this face has them so by default.
    names = font.getBestCmap()
    assert len({font["hmtx"][names[ord(one)]][0] for one in "0123456789−+"}) == 1
    assert [axis.axisTag for axis in font["fvar"].axes] == ["wght"]


def test_a_typeface_is_answered_once_for_ever(db, sans, settings, tmp_path):
    settings.DATA_DIR = tmp_path
    kept = tmp_path / "fonts" / str(fonts.RECIPE) / "source-sans-3.woff2"
    kept.parent.mkdir(parents=True)
    kept.write_bytes(sans.read_bytes())
    answer = Client().get(f"/fonts/{fonts.RECIPE}/source-sans-3.woff2")
    assert b"".join(answer.streaming_content) == sans.read_bytes()
    answer.close()
    assert answer["Content-Type"] == "font/woff2"
    assert "immutable" in answer["Cache-Control"]


@pytest.mark.parametrize(
    "address", ["/fonts/0/source-sans-3.woff2", "/fonts/1/other.woff2"]
)
def test_another_typeface_or_recipe_is_not_there(address):
    assert Client().get(address).status_code == 404


def test_nobody_waits_for_a_typeface_that_is_still_to_be_made(
    db, settings, tmp_path, monkeypatch
):
    settings.DATA_DIR = tmp_path
    asked = []
    monkeypatch.setattr(fonts, "make_soon", lambda: asked.append(True))
    answer = Client().get(f"/fonts/{fonts.RECIPE}/source-sans-3.woff2")
    whole = b"".join(answer.streaming_content)
    answer.close()
    assert asked
    assert whole == fonts.source("source-sans-3").read_bytes()
    assert answer["Cache-Control"] == "no-store"


def test_typefaces_are_made_once_at_a_time_and_a_full_disk_is_reported(
    settings, tmp_path, monkeypatch, caplog
):
    settings.DATA_DIR = tmp_path
    made = []

    def full(original, target):
        made.append(original)
        raise OSError("disk full")

    monkeypatch.setattr(fonts, "make_subset", full)
    with fonts._making:
        fonts.make_soon()
    assert not made
    fonts._making.acquire()
    fonts._make_all()
    assert len(made) == 1
    assert "could not be made" in caplog.text
    assert not fonts._making.locked()


def test_a_typeface_that_cannot_be_made_leaves_nothing_behind(
    settings, tmp_path, monkeypatch
):
    settings.DATA_DIR = tmp_path

    def broken(original, target):
        target.write_bytes(b"half")
        raise OSError("disk full")

    monkeypatch.setattr(fonts, "make_subset", broken)
    with pytest.raises(OSError, match="disk full"):
        fonts.subset_path("source-sans-3")
    assert not [path for path in tmp_path.rglob("*") if path.is_file()]


@pytest.mark.django_db
@pytest.mark.parametrize(
    "address", ["/accounts/sign-in/", "/about/figures/", "/nothing/"]
)
def test_every_page_names_the_site_and_says_where_the_caution_is(address, settings):
    html = Client().get(address, headers={"host": "localhost"}).content.decode()
    assert f'<span class="site-name">{settings.SITE_NAME}</span>' in html
    assert 'href="/about/figures/"' in html
    assert 'href="#main"' in html


def test_the_page_for_a_broken_site_asks_nothing_of_the_database():
    from django.template.loader import get_template

    html = get_template("500.html").render()
    assert "Something went wrong here" in html
    assert "Second Crossing" in html


@pytest.mark.django_db
def test_a_wrong_password_is_refused_in_words_and_the_name_is_kept():
    html = (
        Client()
        .post(
            "/accounts/sign-in/",
            {"username": "ada", "password": "wrong", "next": "/due/"},
        )
        .content.decode()
    )
    assert "Not signed in" in html
    assert 'value="ada"' in html
    assert 'name="next" value="/due/"' in html
    assert "wrong" not in html


def test_the_sheet_of_parts_is_only_for_who_builds_them():
    assert Client().get("/about/specimen/").status_code == 404
