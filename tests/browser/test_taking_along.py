"""Taking bridges along: what the map shows, and what is ticked in the due list."""

import re

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import PHONE, sign_in
from tests.makers import PASSWORD, make_bridge, make_person

PLACES = {
    "Near Bridge": (39.60, -79.70),
    "Next Bridge": (39.62, -79.68),
    "Far Bridge": (39.60, -78.90),
}


@pytest.fixture
def page(open_page, transactional_db):
    make_person("ada")
    for name, (latitude, longitude) in PLACES.items():
        make_bridge(name=name, latitude=latitude, longitude=longitude)
    page = open_page(PHONE)
    sign_in(page, "ada", PASSWORD)
    return page


def kept(page):
    """The names of the bridges that are on this phone, after it says how many."""
    page.get_by_text(re.compile(r"\d bridges? with you now")).first.wait_for(
        timeout=120_000
    )
    page.goto("/field/#/")
    rows = page.locator("a.field-row[href^='#/bridge/'] .field-row-name")
    rows.first.wait_for()
    return sorted(rows.all_text_contents())


def test_the_bridges_that_the_map_shows_after_it_is_moved_are_taken(page):
    page.goto("/")
    take = page.get_by_role("link", name=re.compile("take .* with me", re.IGNORECASE))
    expect(page.locator(".mark").first).to_be_visible()
    # Closer, onto what stands in the middle, then a little aside with the finger.
    page.goto("/#map=11/39.61/-79.60")
    page.reload()
    expect(page.locator(".mark").first).to_be_visible()
    ground = page.locator("[data-map]")
    ground.scroll_into_view_if_needed()
    box = ground.bounding_box()
    middle = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    before = page.url
    page.mouse.move(*middle)
    page.mouse.down()
    page.mouse.move(middle[0] + 100, middle[1], steps=8)
    # Held still before it is let go: let go in full swing, the map would coast on as far
    # as the machine is quick.
    page.wait_for_timeout(300)
    page.mouse.up()
    page.wait_for_function("(old) => location.href !== old", arg=before)
    take.click()
    assert kept(page) == ["Near Bridge", "Next Bridge"]


def test_what_is_ticked_in_the_due_list_is_taken(page):
    page.goto("/due/")
    for name in ("Far Bridge", "Near Bridge"):
        page.get_by_role("checkbox", name=f"Take {name} along").check()
    page.get_by_role("button", name="Take them into the field").click()
    assert kept(page) == ["Far Bridge", "Near Bridge"]
