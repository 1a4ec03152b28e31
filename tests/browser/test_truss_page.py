"""A vehicle driven across in a real browser: the forces on the page are the engine's."""

import numpy as np
import pytest
from playwright.sync_api import expect

from analysis import services
from analysis.engine import checkfile
from analysis.engine.drive import drive
from analysis.engine.vehicles import VEHICLES
from tests.browser.conftest import DESKTOP, PHONE
from tests.structures import make_described_bridge

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def bridge(transactional_db):
    bridge = make_described_bridge()
    services.recheck(bridge=bridge)
    return bridge


@pytest.fixture
def address(bridge):
    return f"/bridges/{bridge.slug}/trusses/upstream/"


def opened(open_page, address, size=DESKTOP, **options):
    """Open the page; the first look at a truss samples its band, which takes a while."""
    page = open_page(size, **options)
    page.goto(address, timeout=120_000)
    return page


def shown(page):
    """Return {member: kip} as written on the drawing."""
    texts = page.locator("[data-label]").evaluate_all(
        "all => all.map((one) => [one.dataset.label, one.textContent])"
    )
    return {name: float(t.replace("−", "-") or 0) for name, t in texts}


def engines(bridge, front, key="H15", heading=1):
    step = services.history(bridge)[-1]
    made = drive(checkfile.read(step.lines[0][2].check_made.document))
    vehicle = VEHICLES[key]
    axles = front - heading * np.array([vehicle.behind_front_ft])
    forces = made.standing(axles, np.array(vehicle.axle_kip))[0]
    return dict(zip(made.truss.names, forces.tolist(), strict=True))


def place_at(page, front):
    page.get_by_label("Where the front axle stands").evaluate(
        "(one, at) => { one.value = at;"
        " one.dispatchEvent(new Event('input', { bubbles: true })); }",
        front,
    )


def test_forces_follow_the_vehicle_and_are_the_engines(open_page, bridge, address):
    page = opened(open_page, address)
    for front in (0.0, 18.5, 40.0, 61.5, 90.0):
        place_at(page, front)
        # Written to a tenth of a kip, and nothing under half of that.
        assert shown(page) == pytest.approx(engines(bridge, front), abs=0.0501)
    page.get_by_label("Vehicle", exact=True).select_option("type-3S2")
    page.get_by_role("button", name="Turn it round").click()
    place_at(page, 30.0)
    assert shown(page) == pytest.approx(
        engines(bridge, 30.0, "type-3S2", -1), abs=0.0501
    )


def test_the_vehicle_goes_by_keyboard_and_from_stop_to_stop(open_page, address):
    page = opened(open_page, address, PHONE)
    place = page.get_by_label("Where the front axle stands")
    place.focus()
    page.keyboard.press("Home")
    assert float(place.input_value()) == 0.0
    page.keyboard.press("ArrowRight")
    assert float(place.input_value()) == 0.5
    page.get_by_role("button", name="On a stop").click()
    assert float(place.input_value()) == 14.0
    page.get_by_role("button", name="Back a stop").click()
    assert float(place.input_value()) == 0.0


def test_the_vehicle_is_dragged(open_page, address):
    page = opened(open_page, address)
    body = page.locator("[data-vehicle] .body")
    body.scroll_into_view_if_needed()
    box = body.bounding_box()
    before = shown(page)
    place = page.get_by_label("Where the front axle stands")
    was = float(place.input_value())
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 60, y, steps=4)
    page.mouse.up()
    assert float(place.input_value()) > was + 1
    assert shown(page) != before


def test_a_tapped_bar_shows_its_influence_line(open_page, address):
    page = opened(open_page, address)
    bar = page.locator('[data-stage] [data-bar="L0L1"] .tap')
    bar.scroll_into_view_if_needed()
    box = bar.bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    chosen = page.get_by_label("Influence line of", exact=True)
    expect(chosen).to_have_value("L0L1")
    expect(page.locator("[data-line-words]")).to_contain_text("pulls L0L1")


def test_who_asked_for_less_motion_sees_stops_only(open_page, address):
    page = opened(open_page, address, reduced_motion="reduce")
    place = page.get_by_label("Where the front axle stands")
    place.focus()
    page.keyboard.press("Home")
    stops, last = {float(place.input_value())}, None
    while last != (last := float(place.input_value())):
        stops.add(last)
        page.get_by_role("button", name="On a stop").click()
    assert len(stops) > 4
    page.get_by_role("button", name="Drive across").click()
    # Looked at between two pictures of the screen, whenever these come.
    seen = page.evaluate(
        """(place) => new Promise((done) => {
            const seen = new Set();
            const look = () => {
                seen.add(Number(place.value));
                if (seen.size > 3) done([...seen]);
                else requestAnimationFrame(look);
            };
            look();
        })""",
        place.element_handle(),
    )
    page.get_by_role("button", name="Stop", exact=True).click()
    assert set(seen) <= stops


def test_without_scripts_one_place_is_shown(open_page, address):
    page = opened(open_page, address, PHONE, java_script_enabled=False)
    assert page.locator("[data-stage]").is_visible()
    assert page.locator("[data-vehicle] .wheel").count() == 2
    assert not page.locator("[data-controls]").is_visible()
