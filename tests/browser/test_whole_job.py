"""The job itself, once through, as three people do it.

A volunteer on a phone logs a revisit with four changes, one member that could not be
seen and a photograph; a reviewer accepts it; the history tells each change beside what
it did; the officer's PDF tells the same. Nothing here reaches past what they see:
buttons, labels, headings, and the words of the page and of the file.
"""

import re
from io import BytesIO

import pytest
from playwright.sync_api import expect
from pypdf import PdfReader

from tests.browser.conftest import DESKTOP, axe, sign_in
from tests.images import with_place

BRIDGE = "/bridges/hollin-ford/"
SEEN = "2025-05-17"
SEEN_WORDS = "17 May 2025"
LAST_WORDS = "2 June 2019"
UNSEEN = "L3L4"
PARTS = ("Deck replaced", "L1L2", "Counters L2U3 and L3U2", "plate")
MINUS = "−"
# Figures are printed to a tenth: each of them may be half of that away.
ROUNDING = 0.05


def number(text):
    return float(text.replace(MINUS, "-").replace(",", "").replace("+", ""))


# -- the volunteer


def group_of(page, title):
    """Open one group of the form by its heading and return it."""
    summary = page.locator("summary", has_text=title)
    group = page.get_by_role("group").filter(has=summary).last
    if not group.evaluate("group => group.open"):
        summary.tap()
    return group


def row_of(group, name):
    """Return the row of one part: its answers and what unfolds below them."""
    named = re.compile(rf"^{re.escape(name)}\b", re.I)
    part = group.page.get_by_role("group", name=named)
    return group.locator("[data-row]").filter(has=part)


def answer(row, word):
    row.get_by_role("radio", name=word, exact=True).tap()


def relay_the_deck(page):
    row = row_of(group_of(page, "Portals, railings and deck"), "Deck")
    answer(row, "Changed")
    layer = row.get_by_role("group", name="Lowest layer")
    layer.get_by_label("Material").select_option("steel grid")
    layer.get_by_label("Thickness (in)").fill("5")
    layer.get_by_label("Weight, if known").fill("18")


def strengthen_a_chord(page):
    row = row_of(group_of(page, "Upstream truss"), "L1L2")
    answer(row, "Changed")
    row.get_by_label("What happened").select_option("Pieces added to those there")
    piece = row.get_by_role("group", name="A new piece").first
    piece.get_by_label("Shape").select_option("flat bar")
    piece.get_by_label("How many").fill("2")
    piece.get_by_label("Size in inches").fill("3 x 1/2")
    piece.get_by_label("Old or new").select_option("Addition")


def swap_the_counters(page):
    row = row_of(group_of(page, "Upstream truss"), "L2U3")
    answer(row, "Changed")
    row.get_by_label("What happened").select_option("Pieces replaced")
    row.get_by_role("checkbox", name=re.compile("round rod")).uncheck()
    piece = row.get_by_role("group", name="A new piece").first
    piece.get_by_label("Shape").select_option("round rod")
    piece.get_by_label("Size in inches").fill("1 1/2")
    piece.get_by_label("Ends").select_option("Upset")
    piece.get_by_label("Old or new").select_option("Replacement")
    row.locator("summary", has_text="The same change on others too").tap()
    for also in ("L3U2 upstream", "L2U3 downstream", "L3U2 downstream"):
        row.get_by_role("checkbox", name=also).check()


def miss_the_plate(page):
    row = row_of(group_of(page, "Plates"), "Builder's plate")
    answer(row, "Gone")
    row.get_by_label("Note").fill("Four bright bolt holes.")


def fail_to_see_a_member(page):
    row = row_of(group_of(page, "Downstream truss"), UNSEEN)
    answer(row, "Couldn’t see")
    row.get_by_label("Why not").fill("knotweed up to the deck")


def log_the_visit(page):
    page.goto(BRIDGE)
    page.get_by_role("link", name=re.compile("log a visit", re.I)).first.tap()
    page.get_by_label("Date", exact=True).fill(SEEN)
    page.get_by_label("Who was there?").fill("I. Penhallow, J. Tarn")
    relay_the_deck(page)
    strengthen_a_chord(page)
    swap_the_counters(page)
    miss_the_plate(page)
    fail_to_see_a_member(page)
    photos = page.get_by_role("group", name="Photos")
    photos.get_by_label("or choose some").first.set_input_files(
        {"name": "deck.jpg", "mimeType": "image/jpeg", "buffer": with_place()}
    )
    photos.get_by_label("What it shows").first.fill("The new grid from the west end")
    photos.get_by_label("Of which part").first.select_option("deck")
    axe(page)
    page.get_by_role("button", name="Send the visit").tap()
    page.wait_for_url("**/visits/**")


# -- the reviewer


def accept_the_visit(page):
    page.goto("/review/")
    page.get_by_role("link", name=re.compile("Hollin Ford")).first.click()
    main = page.get_by_role("main")
    expect(main).to_contain_text("knotweed up to the deck")
    expect(main).to_contain_text("Four bright bolt holes.")
    preview = page.locator("#preview")
    expect(preview.get_by_role("listitem")).to_have_count(4)
    shot = page.get_by_role("figure").filter(has_text="The new grid from the west end")
    image = shot.get_by_role("img")
    image.scroll_into_view_if_needed()
    image.evaluate("image => image.decode()")
    assert image.evaluate("image => image.naturalWidth") > 0
    page.get_by_label("I have looked at the photos").check()
    page.get_by_role("button", name="Accept into the record").click()
    said = page.get_by_role("status").first
    expect(said).to_contain_text("Hollin Ford")
    expect(said).to_contain_text("record")


# -- what anybody then reads


class Told:
    """One change as the history tells it."""

    def __init__(self, item):
        self.title = item.locator(".change-title").inner_text()
        self.words = item.inner_text()
        # {truss: (tons on the estimate, tons of dead load)}
        self.did = {}
        for effect in item.locator(".effect").all():
            text = effect.inner_text()
            share = re.search(rf"([+{MINUS}]?[\d,.]+) tons on the estimate", text)
            if not share:
                continue
            dead = re.search(rf"([+{MINUS}][\d,.]+) tons of dead load", text)
            for truss in trusses_in(text):
                self.did[truss] = (
                    number(share[1]),
                    number(dead[1]) if dead else 0.0,
                )


def trusses_in(text):
    return re.findall(r"upstream|downstream", text.lower().split(":")[0])


def step_of(page, heading=SEEN_WORDS):
    """Return the place of one visit in the history."""
    named = page.get_by_role("heading", name=heading, exact=True)
    return page.get_by_role("listitem").filter(has=named).last


def estimates_of(page, heading):
    """Return {truss: tons} as one visit of the history states them."""
    said = step_of(page, heading).locator(".facts").first.inner_text()
    found = re.findall(r"(Upstream|Downstream) truss\s+about ([\d.]+) tons", said)
    return {truss.lower(): float(tons) for truss, tons in found}


def the_whole(page):
    """Return {truss: (tons before, tons after)}."""
    before, after = estimates_of(page, LAST_WORDS), estimates_of(page, SEEN_WORDS)
    assert set(before) == set(after) == {"upstream", "downstream"}
    return {truss: (before[truss], after[truss]) for truss in after}


# -- the officer


def dossier_text(page):
    """Return the words of the PDF that the officer's button asks for."""
    page.goto("/dossiers/")
    page.get_by_role("link", name=re.compile("Hollin Ford")).first.click()
    button = page.get_by_role("button", name="PDF on Letter")
    address = button.evaluate(
        "b => b.form.action + '?' + new URLSearchParams(new FormData(b.form, b))"
    )
    # A browser shows it in a viewer of its own; the file is what it was sent.
    answer = page.request.get(address, timeout=120_000)
    assert answer.headers["content-type"] == "application/pdf"
    pages = PdfReader(BytesIO(answer.body())).pages
    return " ".join(" ".join(one.extract_text() for one in pages).split())


@pytest.fixture
def accepted(demo_society, phone_page, desktop_page):
    """The visit, sent from the phone and accepted at the desk; both pages."""
    sign_in(phone_page, "volunteer", demo_society.password)
    log_the_visit(phone_page)
    sign_in(desktop_page, "reviewer", demo_society.password)
    accept_the_visit(desktop_page)
    return phone_page, desktop_page


def test_a_revisit_becomes_changes_effects_and_a_dossier(
    accepted, demo_society, open_page
):
    phone, _ = accepted
    phone.goto(f"{BRIDGE}history/")
    axe(phone)
    told = [Told(item) for item in step_of(phone).locator(".change").all()]
    whole = the_whole(phone)
    four_changes_and_no_more(told)
    shares_make_up_the_whole(told, whole)

    officer = open_page(DESKTOP)
    sign_in(officer, "officer", demo_society.password)
    the_dossier_says_the_same(dossier_text(officer), told, whole)


def four_changes_and_no_more(told):
    """Three bear on the trusses, the plate does not, the unseen member is none."""
    by_part = {part: one for one in told for part in PARTS if part in one.title}
    assert len(told) == len(by_part) == len(PARTS) == 4
    assert by_part["plate"].did == {}
    assert "No part of the truss check" in by_part["plate"].words
    assert set(by_part["Deck replaced"].did) == {"upstream", "downstream"}
    assert set(by_part["L1L2"].did) == {"upstream"}
    assert set(by_part["Counters L2U3 and L3U2"].did) == {"upstream", "downstream"}
    assert not any(UNSEEN in one.title for one in told)


def shares_make_up_the_whole(told, whole):
    """Each figure is printed to a tenth, so each may hide a twentieth."""
    for truss, (before, after) in whole.items():
        shares = [one.did[truss][0] for one in told if truss in one.did]
        assert shares
        assert sum(shares) == pytest.approx(
            after - before, abs=(len(shares) + 2) * ROUNDING + 1e-9
        )
    # The deck alone weighs on both trusses: its figures are not nothing.
    deck = next(one for one in told if "Deck" in one.title)
    assert all(tons < 0 < dead for tons, dead in deck.did.values())


def the_dossier_says_the_same(text, told, whole):
    assert "Screening estimate" in text or "screening estimate" in text
    for one in told:
        assert one.title in text
        for truss, (limit, dead) in one.did.items():
            assert rows_of(text, one.title)[truss] == (dead, limit)
    for truss, (before, after) in whole.items():
        assert f"limit {before} → {after} {truss}" in text


def rows_of(text, title):
    """Return {truss: (dead load, limit)} as the dossier's table gives one change."""
    rows = {}
    sign = rf"[+{MINUS}]?[\d,.]+"
    pattern = rf"{re.escape(title)}((?: (?:both|\w+stream)(?: {sign}){{3}})+)"
    for run in re.findall(pattern, text):
        for truss, dead, limit in re.findall(rf"(\w+) ({sign}) ({sign}) {sign}", run):
            both = ("upstream", "downstream") if truss == "both" else (truss,)
            rows |= dict.fromkeys(both, (number(dead), number(limit)))
    return rows
