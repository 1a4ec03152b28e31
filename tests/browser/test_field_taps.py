"""What a visit costs in taps, from tapping the bridge to saved, in airplane mode.

Printed with ``pytest -s tests/browser/test_field_taps.py``.
"""

import re

import pytest

from surveys.models import Visit
from tests.browser.conftest import PHONE, sign_in
from tests.browser.field_taps import Thumb
from tests.images import jpeg
from tests.makers import PASSWORD, make_person
from tests.structures import make_described_bridge

# As few as were reached; at most 8 and 45 were asked for.
MOST_WHEN_SAME, MOST_WHEN_MUCH_CHANGED = 3, 26


@pytest.fixture
def bridge(transactional_db):
    make_person("ada", first_name="Ada")
    return make_described_bridge()


@pytest.fixture
def thumb(open_page, bridge, console_is_quiet):
    console_is_quiet.expect("ERR_INTERNET_DISCONNECTED")
    page = open_page(PHONE)
    sign_in(page, "ada", PASSWORD)
    page.goto(f"/field/#/take/{bridge.slug}")
    page.get_by_text("1 bridge with you now").first.wait_for(timeout=120_000)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.context.set_offline(True)
    page.goto("/field/#/")
    page.reload()
    return Thumb(page)


def sent(page):
    page.get_by_role("heading", level=1, name="Sending").wait_for()
    page.context.set_offline(False)
    page.get_by_text("Sent from this phone").wait_for(timeout=120_000)
    return Visit.objects.get(status="submitted")


def test_all_the_same_as_last_time(thumb, bridge):
    thumb.link(bridge.name)
    thumb.button("Nothing has changed")
    thumb.button(re.compile("Save: .* the same as last time"))
    print(f"\nall the same: {thumb.taps} taps (at most {MOST_WHEN_SAME})")
    assert thumb.taps <= MOST_WHEN_SAME
    assert set(sent(thumb.page).observations.values_list("answer", flat=True)) == {
        "same"
    }


def test_deck_chord_counters_railing_and_four_photos(thumb, bridge):
    page = thumb.page
    thumb.link(bridge.name)
    # The deck is of steel grid now, and a railing has gone.
    thumb.button(re.compile("Portals, railings"))
    thumb.button("Changed: Deck", exact=True)
    thumb.button("5 in steel grid")
    thumb.button("Done")
    thumb.button(re.compile("^(Gone|Not there): Upstream railing"))
    # One panel of the lower chord is reinforced on one truss.
    thumb.link(re.compile("On to: Upstream truss"))
    thumb.bar("span-1/upstream/L2L3")
    thumb.button("Reinforced")
    thumb.button("flat bar")
    thumb.button("3 × 1/2", exact=True)
    thumb.button("How many: more")
    thumb.button("Done")
    # The counters are swapped, on both trusses.
    thumb.bar("span-1/upstream/L2U3")
    thumb.button("Replaced")
    thumb.button("2", exact=True)
    thumb.button(re.compile("of its kind"))
    thumb.button("Done")
    # Four photos.
    thumb.link("Photos")
    for number in range(4):
        name = f"view-{number}.jpg"
        data = jpeg(320, 240) + name.encode()
        thumb.photo({"name": name, "mimeType": "image/jpeg", "buffer": data})
    thumb.link("The walk round")
    thumb.link("Nothing else has changed")
    thumb.button(re.compile("Save: .* the same as last time"))
    print(f"\nmuch changed: {thumb.taps} taps (at most {MOST_WHEN_MUCH_CHANGED})")
    assert thumb.taps <= MOST_WHEN_MUCH_CHANGED, thumb.log
    visit = sent(page)
    said = {one.element.path: one for one in visit.observations.all()}
    assert said["span-1/deck"].state["layers"][0]["material"] == "steel-grid"
    assert said["span-1/railing-upstream"].answer == "gone"
    chord = said["span-1/upstream/L2L3"].whole_state()["components"]
    assert [(one["shape"], one["count"]) for one in chord] == [
        ("eyebar", 2),
        ("flat-bar", 2),
    ]
    counters = [
        one
        for one in said.values()
        if one.element.role == "counter" and one.answer == "changed"
    ]
    assert {one.element.truss_line.key for one in counters} == {
        "upstream",
        "downstream",
    }
    assert all(
        [piece["diameter_in"] for piece in one.whole_state()["components"]] == [2.0]
        for one in counters
    )
    assert visit.photos.count() == 4
