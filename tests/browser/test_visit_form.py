"""The visit form and review in a real browser: one hand, no script, no barriers."""

import re

import pytest
from playwright.sync_api import expect

from surveys.models import Visit
from tests.browser.conftest import DESKTOP, PHONE, axe, sign_in
from tests.images import jpeg
from tests.makers import PASSWORD, make_bridge, make_person, make_visit

pytestmark = pytest.mark.django_db(transaction=True)

ROD = {"components": [{"shape": "round-rod", "diameter_in": 1.125}]}
PATHS = [
    f"span-1/{line}/{member}"
    for line in ("upstream", "downstream")
    for member in ("L2U3", "L3U2", "L1L2")
]
LEAST_PX = 48


@pytest.fixture
def bridge(transactional_db):
    ada, rex = make_person("ada"), make_person("rex", "reviewer")
    bridge = make_bridge()
    said = dict.fromkeys(PATHS, ROD) | {"limit": {"tons": 8}}
    make_visit(bridge, ada, rex, date="1990", said=said)
    return bridge


def opened(page, bridge):
    sign_in(page, "ada", PASSWORD)
    page.goto(f"/bridges/{bridge.slug}/visit/")
    return page


def row_of(page, line, member):
    group = page.locator("[data-group]", has_text=f"{line} truss")
    if not group.evaluate("group => group.open"):
        group.locator("> summary").click()
    name = page.locator(".log-name", has_text=member)
    return group.locator("[data-row]").filter(has=name)


@pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desk"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_logging_and_reviewing_have_no_barrier_and_scroll_no_way_but_down(
    open_page, bridge, size, scheme
):
    waiting = make_visit(
        bridge, None, date="2019", said={PATHS[0]: "gone", "limit": {"tons": 3}}
    )
    page = opened(open_page(size, color_scheme=scheme), bridge)
    row_of(page, "Upstream", "L2U3").locator(".log-answer-changed").click()
    page.locator(".danger-block input").check()
    check(page)
    for address in (f"/visits/{waiting.client_id}/", "/visits/"):
        page.goto(address)
        check(page)
    desk = open_page(size, color_scheme=scheme)
    sign_in(desk, "rex", PASSWORD)
    for address in ("/review/", f"/review/{waiting.client_id}/"):
        desk.goto(address)
        check(desk)


def check(page):
    axe(page)
    over = page.evaluate(
        "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )
    assert over == 0, page.url


def test_every_answer_is_large_enough_for_a_thumb(phone_page, bridge):
    page = opened(phone_page, bridge)
    row_of(page, "Upstream", "L2U3")
    boxes = [
        one.bounding_box() for one in page.locator("label.log-answer:visible").all()
    ]
    assert boxes
    assert min(box["height"] for box in boxes) >= LEAST_PX
    assert min(box["width"] for box in boxes) >= LEAST_PX


def test_without_a_script_the_editor_opens_and_the_visit_is_sent(open_page, bridge):
    page = opened(open_page(PHONE, java_script_enabled=False), bridge)
    # Without a script there is no asking the element itself.
    group = page.locator("[data-group]", has_text="Upstream truss")
    group.locator("> summary").click()
    row = group.locator("[data-row]").filter(
        has=page.locator(".log-name", has_text="L2U3")
    )
    size = row.locator("input[name$='-p0-size']")
    expect(size).to_be_hidden()
    row.locator(".log-answer-changed").click()
    expect(size).to_be_visible()
    row.locator("select[name$='-happened']").select_option("replaced")
    row.locator(".log-kept input").uncheck()
    row.locator("select[name$='-p0-shape']").select_option("square-rod")
    size.fill("1 1/4")
    page.locator("[data-send]").click()
    page.wait_for_url("**/visits/**")
    state = Visit.objects.get(status="submitted").observations.get().whole_state()
    assert (state["components"][0]["side_in"], state["components"][0]["origin"]) == (
        1.25,
        "replacement",
    )


def test_the_count_follows_the_thumb_and_an_answer_can_be_taken_back(
    phone_page, bridge
):
    page = opened(phone_page, bridge)
    row = row_of(page, "Upstream", "L2U3")
    total = page.locator("[data-total]")
    same = row.locator(".log-answer-same")
    same.click()
    expect(total).to_have_text(re.compile("^1 of "))
    same.click()
    expect(total).to_have_text(re.compile("^0 of "))
    group = page.locator("[data-group]", has_text="Upstream truss")
    group.locator("[data-rest]").check()
    expect(group.locator("[data-count]")).to_have_text(re.compile("^3 of "))


def test_a_tab_that_was_closed_gives_back_what_was_typed(
    phone_page, bridge, console_is_quiet
):
    page = opened(phone_page, bridge)
    page.on("dialog", lambda dialog: dialog.accept())
    row = row_of(page, "Upstream", "L2U3")
    row.locator(".log-answer-changed").click()
    row.locator("textarea[name$='-f-description']").fill("The turnbuckle is gone.")
    page.get_by_label("Who was there?").fill("A. Weir")
    page.get_by_label("Anything else").click()
    first = page.locator("[name=client_id]").input_value()
    page.reload()
    page.get_by_role("button", name="Bring it back").click()
    expect(page.locator("[name=client_id]")).to_have_value(first)
    expect(page.get_by_label("Who was there?")).to_have_value("A. Weir")
    words = row.locator("textarea[name$='-f-description']")
    expect(words).to_have_value("The turnbuckle is gone.")
    page.locator("[data-send]").click()
    page.wait_for_url("**/visits/**")
    page.goto(f"/bridges/{bridge.slug}/visit/")
    assert not page.get_by_role("button", name="Bring it back").is_visible()


def test_a_third_piece_can_be_added_and_is_recorded(phone_page, bridge):
    page = opened(phone_page, bridge)
    row = row_of(page, "Upstream", "L1L2")
    row.locator(".log-answer-changed").click()
    for index, size in enumerate(("3 x 3/8", "3 x 1/2")):
        if index:
            row.get_by_role("button", name="Another piece").click()
        row.locator(f"select[name$='-p{index}-shape']").select_option("flat-bar")
        row.locator(f"input[name$='-p{index}-size']").fill(size)
    page.locator("[data-send]").click()
    page.wait_for_url("**/visits/**")
    state = Visit.objects.get(status="submitted").observations.get().whole_state()
    assert [p.get("thickness_in") for p in state["components"]] == [None, 0.375, 0.5]


def test_the_phones_position_goes_with_the_photo_when_asked(open_page, bridge):
    page = opened(
        open_page(
            PHONE,
            geolocation={"latitude": 41.25, "longitude": -77.5, "accuracy": 12},
            permissions=["geolocation"],
        ),
        bridge,
    )
    page.locator("[data-where-on]").check()
    file = {"name": "deck.jpg", "mimeType": "image/jpeg", "buffer": jpeg(320, 240)}
    page.locator("[name=ph0-take]").set_input_files(file)
    page.get_by_text("Position kept, within about 12 m").wait_for()
    page.locator("[data-send]").click()
    page.wait_for_url("**/visits/**")
    photo = Visit.objects.get(status="submitted").photos.get()
    assert (float(photo.latitude), photo.position_source) == (41.25, "device")
    assert photo.position_accuracy_m == 12


def test_a_bar_of_the_drawing_leads_to_its_row(phone_page, bridge):
    page = opened(phone_page, bridge)
    row = row_of(page, "Upstream", "L1L2")
    page.locator("[data-group][open] a.bar[href^='#e']").first.wait_for()
    page.locator(f"a.bar[href='#{row.get_attribute('id')}']").focus()
    page.keyboard.press("Enter")
    page.wait_for_function("(row) => row.matches(':target')", arg=row.element_handle())


def test_a_session_that_ran_out_and_came_back_still_sends(
    phone_page, bridge, console_is_quiet
):
    """Signing in again in another tab changes the token; the form must not mind."""
    console_is_quiet.expect("401")
    page = opened(phone_page, bridge)
    row_of(page, "Upstream", "L2U3").locator(".log-answer-gone").click()
    page.context.clear_cookies(name="second_crossing_session")
    page.locator("[data-send]").click()
    page.get_by_text("You are signed out; nothing was sent").wait_for()
    with page.context.expect_page() as tab:
        page.get_by_role("link", name="Sign in in another tab").click()
    sign_in(tab.value, "ada", PASSWORD)
    page.locator("[data-send]").click()
    page.wait_for_url("**/visits/**")
    assert Visit.objects.get(status="submitted").observations.get().answer == "gone"
