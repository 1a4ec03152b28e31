"""The map and list in a browser: with keys, with fingers, and without the map."""

import re

import pytest
from playwright.sync_api import expect

from bridges.models import Bridge
from surveys.models import Viewpoint
from tests.bridges.inventory import built_by, list_bridge, list_builder
from tests.browser.conftest import DESKTOP, PHONE, axe

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def bridges():
    builder = list_builder()
    facts = [
        {"name": "Weir Lane Bridge", "latitude": 39.7, "longitude": -40.2},
        {"name": "Old Ferry Bridge", "latitude": 39.9, "longitude": -39.8},
        {"name": "Near One", "latitude": 39.600, "longitude": -39.700},
        {"name": "Near Two", "latitude": 39.602, "longitude": -39.702},
        {"name": "Same Spot A", "latitude": 39.95, "longitude": -40.3},
        {"name": "Same Spot B", "latitude": 39.95, "longitude": -40.3},
    ]
    for number, fact in enumerate(facts, 1):
        form = "stone-arch" if number == 2 else "pratt"
        built_by(list_bridge(number, form=form, **fact), builder)


def marks(page):
    return page.locator(".mark")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_the_pages_have_no_serious_barrier_and_keep_the_policy(
    open_page, bridges, size, scheme
):
    page = open_page(size, color_scheme=scheme)
    for address in ("/", "/?decade=1880&form=pratt", "/builders/"):
        page.goto(address)
        if address.startswith("/?") or address == "/":
            expect(marks(page).first).to_be_visible()
        axe(page)
    page.goto("/builders/corrick-and-vane/")
    axe(page)
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= size["viewport"]["width"]


def test_a_mark_is_opened_and_left_with_the_keyboard(desktop_page, bridges):
    page = desktop_page
    page.goto("/")
    mark = page.get_by_role("button", name="Weir Lane Bridge, Pratt, built 1889")
    mark.focus()
    page.keyboard.press("Enter")
    link = page.locator(".leaflet-popup").get_by_role("link", name="Weir Lane Bridge")
    expect(link).to_be_focused()
    page.keyboard.press("Escape")
    expect(page.locator(".leaflet-popup")).to_have_count(0)
    expect(mark).to_be_focused()
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("/bridges/mill-road-1/"))


def test_a_ring_comes_apart_when_it_is_opened(desktop_page, bridges):
    page = desktop_page
    page.goto("/?q=near")
    page.get_by_role("button", name="2 bridges here").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Near One")).to_be_visible()
    expect(page.get_by_role("button", name="Near Two")).to_be_visible()
    # The ring is gone; the keys are still the map's.
    expect(page.locator("[data-map]")).to_be_focused()
    expect(page).to_have_url(re.compile(r"#map=[\d.]+/39\.60\d+/-39\.70\d+"))


def test_bridges_on_one_spot_are_listed_together(desktop_page, bridges):
    page = desktop_page
    page.goto("/?q=spot")
    page.get_by_role("button", name="2 bridges here").click()
    popup = page.locator(".leaflet-popup")
    expect(popup.get_by_role("link", name="Same Spot A")).to_be_visible()
    expect(popup.get_by_role("link", name="Same Spot B")).to_be_visible()


def test_the_map_moves_without_dragging_and_its_view_is_in_the_address(
    desktop_page, bridges
):
    page = desktop_page
    page.goto("/")
    expect(page.locator("[data-said]")).to_have_text("All 6 in view.")
    for _ in range(4):
        page.get_by_role("button", name="East").click()
        page.wait_for_timeout(400)
    expect(page.locator("[data-said]")).to_contain_text("of 6 in view")
    moved = page.url
    page.goto("about:blank")
    page.goto(moved)
    expect(page.locator("[data-said]")).to_contain_text("of 6 in view")
    page.get_by_role("button", name="Show all").click()
    expect(page.locator("[data-said]")).to_have_text("All 6 in view.")


def test_near_me_goes_there_and_says_when_it_cannot(open_page, bridges):
    page = open_page(
        PHONE,
        geolocation={"latitude": 39.9, "longitude": -39.8},
        permissions=["geolocation"],
    )
    page.goto("/")
    page.get_by_role("button", name="Near me").tap()
    expect(page.get_by_role("button", name="Old Ferry Bridge")).to_be_visible()
    expect(page.locator(".here")).to_be_visible()
    page.context.clear_permissions()
    page.reload()
    page.get_by_role("button", name="Near me").tap()
    expect(page.locator("[data-said]")).to_contain_text("could not be found")


def test_filters_are_folded_on_a_phone_and_lead_to_a_short_address(phone_page, bridges):
    page = phone_page
    page.goto("/")
    facet = page.locator("summary", has_text="Form").first
    expect(facet).to_be_hidden()
    page.locator("summary", has_text="Filters").tap()
    facet.tap()
    page.get_by_role("checkbox", name="Stone arch").check()
    page.get_by_role("button", name="Show these bridges").tap()
    page.wait_for_url(re.compile(r"/\?form=stone-arch(#.*)?$"))
    expect(page.get_by_role("row")).to_have_count(2)
    expect(marks(page)).to_have_count(1)
    page.get_by_role("link", name="Form: Stone arch").tap()
    expect(page.get_by_role("row")).to_have_count(7)


def test_without_scripts_the_list_and_its_filters_still_work(open_page, bridges):
    page = open_page(DESKTOP, java_script_enabled=False)
    page.goto("/")
    expect(page.get_by_text("The map needs JavaScript.")).to_be_visible()
    page.get_by_label("Names, roads, waters, plates, notes").fill("ferry")
    page.get_by_role("button", name="Find").click()
    expect(page.get_by_role("row")).to_have_count(2)
    assert page.url.endswith("/?q=ferry")


def test_when_the_server_does_not_answer_the_map_says_so(
    desktop_page, bridges, console_is_quiet
):
    console_is_quiet.expect("/api/bridges/map/")
    console_is_quiet.expect("Failed to load resource")
    page = desktop_page
    page.route("**/api/bridges/map/**", lambda route: route.abort())
    page.goto("/")
    expect(page.locator("[data-said]")).to_contain_text(
        "could not be brought up to date"
    )
    expect(page.get_by_role("row")).to_have_count(7)


def test_the_slide_of_years_moves_the_map_and_leads_to_the_list(desktop_page, bridges):
    page = desktop_page
    page.goto("/")
    expect(page.locator("[data-said]")).to_have_text("All 6 in view.")
    # All of them are of 1889.
    page.locator("[data-slide] input").fill("1880")
    expect(page.locator("[data-slide] output")).to_have_text("1880")
    expect(marks(page)).to_have_count(0)
    page.get_by_role("link", name="List them").click()
    expect(page).to_have_url(re.compile(r"\?as_of=1880"))
    expect(page.get_by_text("No bridge is all of this at once")).to_be_visible()
    page.get_by_role("link", name="1925").click()
    expect(page.locator(".finder-count strong")).to_have_text("6")


def test_photographs_are_a_layer_of_their_own(desktop_page, bridges):
    bridge = Bridge.objects.get(name="Weir Lane Bridge")
    Viewpoint.objects.create(
        bridge=bridge, name="Bank", latitude=39.7001, longitude=-40.2, bearing_deg=90
    )
    page = desktop_page
    page.goto("/#map=14/39.7/-40.2")
    expect(marks(page)).to_have_count(1)
    page.get_by_role("button", name="Photographs").click()
    mark = page.get_by_label("Viewpoint, Bank, camera facing E")
    expect(mark).to_be_visible()
    mark.click()
    expect(page.locator(".map-popup")).to_contain_text("Weir Lane Bridge")
    page.get_by_role("button", name="Photographs").click()
    expect(mark).to_have_count(0)
