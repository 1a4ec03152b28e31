"""The field page in airplane mode: from opening it to a visit that arrived once."""

import re
import time

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from bridges.models import Bridge
from surveys import offline, services
from surveys.models import Photo, Viewpoint, Visit
from tests.browser.conftest import PATIENCE_MS, PHONE, axe, sign_in
from tests.images import jpeg
from tests.makers import PASSWORD, make_person, make_visit, photo_document
from tests.structures import make_described_bridge

LEAST_PX = 44


OLD_VIEW = jpeg(1000, 750, (40, 90, 120))


@pytest.fixture
def bridge(transactional_db):
    """A described bridge with one viewpoint and an old picture from it."""
    ada, rex = make_person("ada", first_name="Ada"), make_person("rex", "reviewer")
    bridge = make_described_bridge()
    Viewpoint.objects.create(bridge=bridge, name="East bank", bearing_deg=85)
    photo = photo_document(OLD_VIEW, "old.jpg", viewpoint="East bank")
    visit = make_visit(bridge, ada, date="2001-05-01", photos=[photo])
    services.store_photo(photo=visit.photos.get(), bytes=OLD_VIEW)
    services.accept_visit(visit=visit, reviewer=rex)
    return bridge


@pytest.fixture
def page(open_page, bridge, console_is_quiet):
    """A phone with the bridge taken along and the page kept, its signal gone."""
    console_is_quiet.expect("ERR_INTERNET_DISCONNECTED")
    page = open_page(
        PHONE,
        geolocation={"latitude": 41.2, "longitude": -77.4, "accuracy": 8},
        permissions=["geolocation", "camera"],
    )
    sign_in(page, "ada", PASSWORD)
    page.goto(f"/field/#/take/{bridge.slug}")
    page.get_by_text("1 bridge with you now").first.wait_for(timeout=120_000)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.context.set_offline(True)
    page.goto("/field/#/")
    page.reload()
    return page


def heading(page, words):
    page.get_by_role("heading", level=1, name=words).wait_for()


def begin(page, bridge):
    page.get_by_role("link", name=bridge.name).click()
    page.get_by_role("button", name="Begin the visit").click()
    page.get_by_text("0 of").first.wait_for()


def one_is_only_here(page):
    """Wait for the page to say that one visit is nowhere but on this phone."""
    counted = page.locator("[data-count]")
    expect(counted).to_have_text("1 visit only on this phone")


def send(page):
    """The signal comes back; the page sends by itself, without a tap."""
    page.context.set_offline(False)
    page.get_by_text("Sent from this phone").wait_for(timeout=120_000)


def test_a_visit_logged_in_airplane_mode_arrives_once_and_leaves_the_phone(
    page, bridge
):
    begin(page, bridge)
    page.get_by_role("link", name="Nothing has changed").click()
    page.get_by_role("button", name="same as last time").click()
    heading(page, "Sending")
    one_is_only_here(page)
    page.reload()
    page.get_by_text("Saved on this phone; not sent yet.").wait_for()
    assert Visit.objects.filter(status="submitted").count() == 0
    send(page)
    expect(page.locator("[data-count]")).to_be_hidden()
    visit = Visit.objects.get(status="submitted")
    assert visit.observations.filter(answer="same").count() > 30
    assert visit.surveyor.username == "ada"


def test_each_answer_is_on_the_disk_before_the_next_is_asked(page, bridge):
    begin(page, bridge)
    page.get_by_role("link", name=re.compile("Portals, railings")).click()
    page.get_by_role("button", name="Same: Deck", exact=True).click()
    page.get_by_text("1 of 4 looked at").first.wait_for()
    # No farewell: the tab is closed as a phone closes it, without unload.
    context = page.context
    page.close(run_before_unload=False)
    again = context.new_page()
    again.goto("/field/")
    again.get_by_role("link", name=bridge.name).first.click()
    again.get_by_role("link", name=re.compile("Portals, railings")).click()
    pressed = again.get_by_role("button", name="Same: Deck", exact=True)
    expect(pressed).to_have_attribute("aria-pressed", "true")


def test_a_visit_begun_by_mistake_is_thrown_away_by_hand_and_only_when_asked_twice(
    page, bridge
):
    begin(page, bridge)
    page.get_by_role("button", name="Throw this visit away").click()
    heading(page, bridge.name)
    expect(page.locator("[data-count]")).to_be_hidden()
    # At a part of the walk it begins with one tap; what is recorded is asked about.
    page.get_by_role("button", name=re.compile("Under the deck")).click()
    page.get_by_role("button", name="Gone: Stringers").click()
    # Begun today, it is gone on with: at no part does a second one begin.
    page.goto(f"/field/#/bridge/{bridge.slug}")
    page.get_by_role("button", name=re.compile("Under the deck")).click()
    page.get_by_text("1 of 3 looked at").first.wait_for()
    page.get_by_role("link", name="The walk round").click()
    page.get_by_role("button", name="Throw this visit away").click()
    one_is_only_here(page)
    page.get_by_role("button", name="Yes, throw away all of it").click()
    page.get_by_role("button", name="Begin the visit").wait_for()
    expect(page.locator("[data-count]")).to_be_hidden()
    page.reload()
    expect(page.get_by_role("link", name="Go on with today’s")).to_have_count(0)


def test_a_bar_is_tapped_and_the_same_said_of_its_twin_on_the_other_truss(page, bridge):
    begin(page, bridge)
    page.get_by_role("link", name="Upstream truss").click()
    page.locator("a.bar[href='#bar:span-1/upstream/L2L3']").focus()
    page.keyboard.press("Enter")
    heading(page, "L2L3, upstream truss")
    page.get_by_role("button", name="Changed").click()
    page.get_by_role("button", name="Reinforced").click()
    page.get_by_role("button", name="flat bar").click()
    page.get_by_role("button", name="3 × 1/2", exact=True).click()
    page.get_by_role("button", name="How many: more").click()
    page.get_by_text("Measured on it").click()
    page.get_by_label("Left at the thinnest, measured (in)").fill("7/16")
    page.get_by_label("Rivet holes across one piece").fill("2")
    page.get_by_label("Rivets, diameter (in)").fill("3/4")
    page.get_by_role("button", name="L2L3 on the other truss").click()
    page.get_by_role("button", name="Done").click()
    heading(page, "Upstream truss")
    page.get_by_role("link", name="The walk round").click()
    page.get_by_role("link", name="Finish and save").click()
    page.get_by_role("button", name="Save this visit").click()
    send(page)
    visit = Visit.objects.get(status="submitted")
    assert not visit.set_aside, visit.set_aside
    rows = visit.observations.all()
    assert {one.element.path for one in rows} == {
        "span-1/upstream/L2L3",
        "span-1/downstream/L2L3",
    }
    here = rows.get(element__path="span-1/upstream/L2L3").whole_state()
    measured = [here.get(name) for name in ("remaining_in", "holes", "rivet_in")]
    assert measured == [0.4375, 2, 0.75]
    for one in rows:
        pieces = one.whole_state()["components"]
        assert [(p["shape"], p["count"], p["origin"]) for p in pieces] == [
            ("eyebar", 2, "original"),
            ("flat-bar", 2, "addition"),
        ]


def test_signed_out_or_signed_in_as_another_nothing_is_sent_and_nothing_lost(
    page, bridge, console_is_quiet
):
    make_person("bea")
    begin(page, bridge)
    page.get_by_role("link", name="Finish and save").click()
    page.get_by_label("Anything else").fill("Ice on the deck.")
    page.get_by_role("button", name="Save this visit").click()
    heading(page, "Sending")
    page.context.clear_cookies()
    page.context.set_offline(False)
    page.get_by_role("button", name="Send now").click()
    page.get_by_text("Signed out. Sign in again to send").wait_for()
    sign_in(page, "bea", PASSWORD)
    page.goto("/field/#/outbox")
    page.get_by_text("Waits for ada to sign in.").wait_for()
    page.wait_for_timeout(400)
    assert not Visit.objects.filter(status="submitted").exists()
    page.goto("/")
    page.get_by_role("button", name=re.compile("Sign out")).click()
    asked = page.get_by_role("dialog", name="1 visit is only on this phone")
    axe(page)
    asked.get_by_role("button", name="Stay signed in").click()
    page.get_by_role("button", name=re.compile("Sign out")).click()
    asked.get_by_role("button", name="Sign out all the same").click()
    page.get_by_role("link", name="Sign in").first.wait_for()
    sign_in(page, "ada", PASSWORD)
    page.goto("/field/#/outbox")
    page.get_by_text("Sent from this phone").wait_for()
    assert Visit.objects.get(status="submitted").notes == "Ice on the deck."
    assert Photo.objects.count() == 1


def choose_photos(page, *names):
    files = [
        {"name": name, "mimeType": "image/jpeg", "buffer": picture(name)}
        for name in names
    ]
    page.get_by_label("Choose photos").set_input_files(files)
    page.get_by_text(names[-1]).first.wait_for()


def picture(name):
    return jpeg(640, 480) + name.encode()


def test_photos_are_pinned_placed_repeated_and_arrive_byte_for_byte(page, bridge):
    begin(page, bridge)
    page.get_by_role("link", name="Photos").click()
    page.get_by_role("button", name="Yes, keep it").click()
    choose_photos(page, "one.jpg", "two.jpg")
    page.get_by_label("Of what").first.select_option(label="deck")
    page.get_by_label("What it shows").first.fill("Planks by the east end")
    page.get_by_role("link", name="East bank").click()
    page.get_by_text("The old picture lies over").wait_for()
    over = page.locator(".field-over")
    page.get_by_role("button", name="75%").click()
    expect(over).to_have_css("opacity", "0.75")
    page.get_by_role("button", name="Take it").click()
    page.get_by_text("; taken again from the same place").wait_for()
    page.get_by_role("link", name="The walk round").click()
    page.get_by_role("link", name="Finish and save").click()
    page.get_by_role("button", name="Save this visit").click()
    send(page)
    photos = {one.name: one for one in Visit.objects.latest("pk").photos.all()}
    for name in ("one.jpg", "two.jpg"):
        with photos[name].original.open() as file:
            assert file.read() == picture(name)
        assert float(photos[name].latitude) == 41.2
        assert photos[name].position_source == "device"
    assert photos["one.jpg"].element.path == "span-1/deck"
    assert photos["one.jpg"].caption == "Planks by the east end"
    again = next(one for one in photos.values() if one.repeats_id)
    assert again.repeats.name == "old.jpg"
    assert (again.viewpoint.name, again.bearing_deg) == ("East bank", 85)
    assert again.arrived_at
    # By the phone's clock, where the phone took it; out of the library the file knows.
    moment = timezone.localdate(again.taken_at)
    assert (moment, photos["one.jpg"].taken_at) == (
        again.taken_latest,
        None,
    )
    assert again.width_px > 300


NO_CAMERA = {
    "The live camera cannot be used here": """() => {
        const refuse = async () => { throw new DOMException("no", "NotAllowedError"); };
        navigator.mediaDevices.getUserMedia = refuse;
    }""",
    "This browser gives no live camera": """() =>
        Object.defineProperty(navigator, "mediaDevices", { value: undefined })""",
}


def test_without_a_live_camera_the_old_picture_stands_beside_with_its_hints(
    page, bridge
):
    begin(page, bridge)
    for why, script in NO_CAMERA.items():
        page.evaluate(script)
        page.get_by_role("link", name="Photos").click()
        page.get_by_role("link", name="East bank").click()
        page.get_by_text(why).wait_for()
        expect(page.get_by_text("Looking east, 85°.")).to_be_visible()
        expect(page.get_by_text("Switch on the grid of your camera")).to_be_visible()
        # The old picture as large as it comes, lines over it, and all of it seen.
        page.get_by_alt_text("As it was").evaluate("one => one.decode()")
        box = page.get_by_alt_text("As it was").bounding_box()
        assert box["width"] > 300
        assert box == page.locator(".field-gridded svg").bounding_box()
        for gone in (
            page.get_by_role("button", name="Take it", exact=True),
            page.get_by_role("slider"),
        ):
            expect(gone).to_be_hidden()
        camera = page.get_by_label("Take it with the phone’s camera")
        expect(camera).to_be_in_viewport()
        axe(page)
        if "cannot" in why:
            page.get_by_role("link", name="Photos").click()
            page.get_by_role("link", name="The walk round").click()
    shot = {"name": "again.jpg", "mimeType": "image/jpeg", "buffer": jpeg(640, 480)}
    camera.set_input_files([shot])
    page.get_by_text("; taken again from the same place").wait_for()
    # Then and now, side by side.
    expect(page.locator(".field-pair img")).to_have_count(2)
    page.get_by_role("link", name="The walk round").click()
    page.get_by_role("link", name="Finish and save").click()
    page.get_by_role("button", name="Save this visit").click()
    send(page)
    again = Visit.objects.latest("pk").photos.get()
    assert (again.repeats.name, again.viewpoint.name) == ("old.jpg", "East bank")
    assert again.bearing_deg == 85


def test_what_waits_is_saved_as_a_file_and_sent_from_another_phone(
    page, bridge, open_page, console_is_quiet
):
    begin(page, bridge)
    page.get_by_role("link", name="Photos").click()
    choose_photos(page, "one.jpg")
    page.get_by_role("link", name="The walk round").click()
    page.get_by_role("link", name="Finish and save").click()
    page.get_by_role("button", name="Save this visit").click()
    heading(page, "Sending")
    with page.expect_download() as saved:
        page.get_by_role("button", name="Save a copy").click()
    other = open_page(PHONE)
    sign_in(other, "ada", PASSWORD)
    other.goto("/field/#/outbox")
    other.get_by_label("Load a copy").set_input_files(saved.value.path())
    other.get_by_text("Sent from this phone").wait_for()
    visit = Visit.objects.latest("pk")
    with visit.photos.get().original.open() as file:
        assert file.read() == picture("one.jpg")
    # The first phone sends it too, and it is the same visit.
    send(page)
    assert Visit.objects.filter(status="submitted").count() == 1


def test_a_bridge_not_on_the_record_is_found_with_no_signal(page, bridge):
    page.get_by_role("link", name="A bridge not on the record").click()
    page.get_by_role("button", name="Use where I stand").click()
    page.get_by_text("Position kept: 41.2, -77.4").wait_for()
    page.get_by_label("Its name").fill("Kiln Bridge")
    page.get_by_label("Its outline").select_option("pratt")
    page.get_by_label("What you see").fill("One span, pins, no plate.")
    page.get_by_role("link", name="Finish and save").click()
    page.get_by_role("button", name="Save this visit").click()
    send(page)
    found = Bridge.objects.get(name="Kiln Bridge")
    assert (found.is_public, float(found.latitude)) == (False, 41.2)
    assert Visit.objects.get(bridge=found).notes == "One span, pins, no plate."


IS_WRITTEN_DOWN = """(words) => new Promise((done) => {
  const asked = indexedDB.open("second-crossing-field");
  asked.onsuccess = () => {
    const facts = asked.result.transaction("facts").objectStore("facts").getAll();
    facts.onsuccess = () => {
      asked.result.close();
      done(JSON.stringify(facts.result).includes(words));
    };
  };
})"""


def test_a_question_reaches_the_phone_and_its_answer_comes_back(page, bridge):
    begin(page, bridge)
    page.get_by_role("link", name=re.compile("Signs and approaches")).click()
    page.get_by_role("button", name="Couldn’t see: Posted limit").click()
    page.get_by_role("link", name="The walk round").click()
    page.get_by_role("link", name="Finish and save").click()
    page.get_by_role("button", name="Save this visit").click()
    send(page)
    visit = Visit.objects.get(status="submitted")
    services.return_visit(
        visit=visit,
        reviewer=make_person("rae", "reviewer"),
        question="Was the post standing?",
    )
    page.goto(f"/field/#/take/{bridge.slug}")
    page.get_by_text("1 bridge with you now").first.wait_for()
    page.context.set_offline(True)
    page.goto(f"/field/#/bridge/{bridge.slug}")
    typed = page.get_by_label("Was the post standing?")
    typed.fill("Yes, the plate was turned away.")
    # Half an answer outlives the page, once it has had a breath to write it down.
    until = time.monotonic() + PATIENCE_MS / 1000
    while not page.evaluate(IS_WRITTEN_DOWN, "the plate was turned away"):
        assert time.monotonic() < until
        page.wait_for_timeout(50)
    page.reload()
    expect(typed).to_have_value("Yes, the plate was turned away.")
    page.get_by_role("button", name="Answer in these words").click()
    heading(page, "Sending")
    page.context.set_offline(False)
    page.get_by_text("Nothing waits.").wait_for(timeout=120_000)
    visit.refresh_from_db()
    assert visit.replies.get().text == "Yes, the plate was turned away."
    assert visit.status == "submitted"


def test_a_new_release_and_a_full_phone_take_nothing_away(
    page, bridge, monkeypatch, console_is_quiet
):
    console_is_quiet.expect("QuotaExceeded")
    console_is_quiet.expect("no room")
    begin(page, bridge)
    page.get_by_role("link", name=re.compile("Under the deck")).click()
    page.get_by_role("button", name="Gone: Stringers").click()
    page.get_by_text("1 of 3 looked at").first.wait_for()
    # The disk is full: said at once, and what was there before stays.
    page.evaluate(
        """() => {
            const full = () => { throw new DOMException("no room", "QuotaExceededError"); };
            IDBObjectStore.prototype.put = full;
            navigator.storage.estimate = async () => ({ quota: 1e9, usage: 999e6 });
        }"""
    )
    page.get_by_role("button", name="Same: Floor beams").click()
    page.get_by_text("This could not be written down").first.wait_for()
    page.get_by_role("link", name="In the field").click()
    page.get_by_text("This phone is full").wait_for()
    page.context.set_offline(False)
    page.reload()
    # A new release waits until somebody changes to it.
    monkeypatch.setattr(offline, "STYLES", offline.STYLES[::-1])
    page.evaluate("navigator.serviceWorker.ready.then((kept) => kept.update())")
    page.get_by_text("A new release of this page is here").wait_for()
    with page.expect_navigation():
        page.get_by_role("button", name="Change to it now").click()
    one_is_only_here(page)
    page.get_by_role("link", name=bridge.name).first.click()
    page.get_by_role("link", name=re.compile("Under the deck")).click()
    gone = page.get_by_role("button", name="Gone: Stringers")
    expect(gone).to_have_attribute("aria-pressed", "true")


def steps(page, bridge):
    """Yield the address of each step of a visit that has begun."""
    home = page.url.split("#")[1]
    groups = [
        one.get_attribute("href")
        for one in page.locator(".field-groups a.field-row").all()
    ]
    yield "#/"
    yield f"#/bridge/{bridge.slug}"
    yield f"#{home}"
    yield from (groups[0], next(one for one in groups if "line-" in one))
    for step in ("e/span-1%2Fupstream%2FL2L3", "e/span-1%2Fdeck", "same", "finish"):
        yield f"#{home}/{step}"
    for step in ("danger", "photos", "e/span-1%2Fupstream%2FL2"):
        yield f"#{home}/{step}"
    yield f"#{home}/repeat/{Photo.objects.get().client_id}"
    yield "#/find"
    yield "#/outbox"


def test_every_step_is_large_enough_told_and_open_to_all(page, bridge):
    begin(page, bridge)
    for address in list(steps(page, bridge)):
        page.evaluate("document.querySelector('[data-said]').textContent = ''")
        page.goto(f"/field/{address}")
        expect(page.locator("[data-said]")).not_to_be_empty()
        for words in ("Changed", "Replaced", "round rod"):
            found = page.get_by_role("button", name=words, exact=True)
            if "/e/" in address and found.count() == 1:
                found.click()
        assert page.evaluate("document.activeElement.id") or "/e/" in address
        axe(page)
        page.emulate_media(color_scheme="dark")
        axe(page, "color-contrast")
        page.emulate_media(color_scheme="light")
        small = page.evaluate(SMALL, LEAST_PX)
        assert not small, f"{address}: {small}"
        for width in (320, 390):
            page.set_viewport_size({"width": width, "height": 844})
            over = page.evaluate(
                "document.documentElement.scrollWidth"
                " - document.documentElement.clientWidth"
            )
            assert over <= 0, f"{address} is {over} px too wide at {width} px"
        page.evaluate("document.documentElement.style.fontSize = '200%'")
        over = page.evaluate(WIDE)
        assert not over, f"{address} at 200 % text: {over}"
        page.evaluate("document.documentElement.style.fontSize = ''")


# What reaches past the screen, but for what scrolls in a box of its own.
WIDE = """() => [...document.querySelectorAll("body *")]
  .filter((one) => !one.closest(".field-drawing") && one.checkVisibility())
  .filter((one) => one.getBoundingClientRect().right > innerWidth + 1
    || (one.matches("button") && one.scrollWidth > one.clientWidth + 1))
  .map((one) => one.outerHTML.slice(0, 80))"""


def test_a_visit_is_logged_by_keyboard_alone(page, bridge):
    for name in (
        bridge.name,
        "Nothing has changed",
        "Add something before saving",
        "Save this visit",
    ):
        press(page, name)
    heading(page, "Sending")
    one_is_only_here(page)


def press(page, name):
    """Go on by Tab until the focus is on what is so called, then press Enter."""
    page.get_by_text(name).first.wait_for()
    for _ in range(80):
        page.keyboard.press("Tab")
        if name in page.evaluate("document.activeElement.textContent"):
            page.keyboard.press("Enter")
            return
    raise AssertionError(f"{name} cannot be reached by keyboard.")


# What can be tapped and is under the least size, but for links within a sentence (WCAG
# 2.2, 2.5.8, exempts them) and bars, whose broad line is measured on its own.
SMALL = """(least) => {
  const shown = (one) => one.checkVisibility() && one.getClientRects().length;
  const boxOf = (one) => (one.closest("label") ?? one).getBoundingClientRect();
  return [...document.querySelectorAll("button, a, input, select, textarea, summary")]
    .filter((one) => shown(one) && !one.closest("svg") && !one.matches(".skip-link"))
    .filter((one) => !(one.matches("a") && getComputedStyle(one).display === "inline"))
    .filter((one) => boxOf(one).height < least || boxOf(one).width < least)
    .map((one) => `${one.outerHTML.slice(0, 90)} ${Math.round(boxOf(one).height)}`);
}"""
