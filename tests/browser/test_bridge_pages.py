"""The pages of a bridge in a real browser: barriers, policy, choosing a bar."""

import pytest
from playwright.sync_api import expect

from analysis import services
from surveys.models import Visit
from tests.browser.conftest import DESKTOP, PHONE, axe
from tests.structures import GRID, make_described_bridge, make_visit_saying

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def bridge(transactional_db):
    bridge = make_described_bridge()
    make_visit_saying(bridge, 2019, changed={"span-1/deck": GRID})
    services.recheck(bridge=bridge)
    return bridge


def addresses(bridge):
    first, second = Visit.objects.filter(bridge=bridge).in_time_order()
    root = f"/bridges/{bridge.slug}/"
    return [
        root,
        f"{root}history/",
        f"{root}history/?from={first.client_id}&to={second.client_id}",
        f"{root}trusses/upstream/",
        "/about/figures/",
        "/accounts/sign-in/",
    ]


@pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desk"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_page_of_a_bridge_has_a_barrier_or_scrolls_sideways(
    open_page, bridge, size, scheme
):
    page = open_page(size, color_scheme=scheme)
    for address in addresses(bridge):
        page.goto(address)
        axe(page)
        over = page.evaluate(
            "document.documentElement.scrollWidth - document.documentElement.clientWidth"
        )
        assert over == 0, address


def test_choosing_a_bar_shows_it_in_the_drawing_and_in_the_table(phone_page, bridge):
    page = phone_page
    page.goto(f"/bridges/{bridge.slug}/trusses/upstream/")
    page.locator('a[data-bar="L2L3"]').focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**#m-upstream-L2L3")
    row = page.locator("#m-upstream-L2L3")
    expect(page.locator("#m-upstream-L2L3:target")).to_have_count(1)
    expect(row).to_be_visible()
    chosen = page.locator("a.bar.is-chosen")
    expect(chosen).to_have_count(1)
    expect(chosen).to_have_attribute("data-bar", "L2L3")


def test_a_bar_is_reached_by_tapping_beside_it(phone_page, bridge):
    """The target is 44 px wide: 15 px off the middle of a bar still reaches it."""
    page = phone_page
    page.goto(f"/bridges/{bridge.slug}/trusses/upstream/")
    bar = page.locator('a[data-bar="L1L2"] path').first
    bar.scroll_into_view_if_needed()
    box = bar.bounding_box()
    page.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2 + 15)
    page.wait_for_url("**#m-upstream-L1L2")


def test_without_scripts_a_bar_still_leads_to_its_row(open_page, bridge):
    page = open_page(PHONE, java_script_enabled=False)
    page.goto(f"/bridges/{bridge.slug}/trusses/upstream/")
    link = page.locator('a[data-bar="L2L3"]')
    assert link.get_attribute("href") == "#m-upstream-L2L3"
    assert page.locator("#m-upstream-L2L3").count() == 1
