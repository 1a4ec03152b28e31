"""Every page of the site, as its readers meet it, with the demonstration society.

On a phone and at a desk, by day and by night: no barrier that axe-core calls serious
or critical, no error on the console, nothing the policy refuses, and nothing that
scrolls sideways down to 320 px (WCAG 2.2, success criterion 1.4.10).
"""

import io
import re
import time

import pytest
from django.core import mail
from playwright.sync_api import expect

from bridges.intake import reading, taking
from bridges.models import Bridge
from shared import jobs, people
from shared.models import Person
from surveys.models import Visit
from tests.browser.conftest import DESKTOP, PATIENCE_MS, PHONE, axe, sign_in
from tests.makers import PASSWORD, make_id, make_person
from tests.shared import example_jobs

SMALLEST = {"width": 320, "height": 640}
BRIDGES = ("tanners-ford", "hollin-ford", "kestle-mill")

PUBLIC = [
    "/",
    "/?q=ford",
    "/?as_of=1925&q=frod",
    "/changes/",
    "/numbers/",
    "/along/",
    "/along/?crossing=Alder+River",
    "/bridges/tanners-ford/comparables/",
    "/bridges/tanners-ford/cite/",
    "/c/A-01/2999-12-31",
    "/b/A-11/card/",
    "/builders/",
    "/builders/harrow-and-linton/",
    "/lists/",
    "/lists/events/?kind=moved",
    "/lists/disputed/",
    "/about/figures/",
    "/field/",
    "/forms/",
    "/forms/half-hip-pratt/",
    "/forms/burr-arch/",
    "/forms/compare/",
    "/forms/compare/?form=pratt&panels=5&form=baltimore",
    "/forms/words/",
    "/field/forms/",
    "/accounts/sign-in/",
    "/accounts/link/",
    *(
        address.format(slug=slug)
        for slug in BRIDGES
        for address in (
            "/bridges/{slug}/",
            "/bridges/{slug}/history/",
            "/bridges/{slug}/trusses/upstream/",
        )
    ),
    "/bridges/stony-run-arch/",
    "/bridges/stony-run-arch/history/",
]
GUARDED = {
    "volunteer": [
        "/",
        "/bridges/hollin-ford/",
        "/bridges/hollin-ford/visit/",
        "/visits/",
        "/lists/ways-in/?near=39.674,-39.846,6",
        "/due/",
        "/due/?near=A-07&order=distance",
        "/due/sheets/?b=tanners-ford&b=stony-run-arch",
        "/watching/",
    ],
    "reviewer": ["/review/", "/builders/harrow-and-linton/names/"],
    "officer": [
        "/dossiers/",
        "/dossiers/hollin-ford/",
        "/dossiers/tanners-ford/photographs/",
        "/bridges/hollin-ford/record/",
        "/imports/",
        "/imports/queue/",
        "/imports/columns/",
    ],
    "keeper": [
        "/keeper/",
        "/keeper/archive/",
        "/keeper/log/",
        "/keeper/people/",
        "/keeper/people/invite/",
        "/accounts/me/",
        "/accounts/me/leave/",
        "/accounts/me/password/",
    ],
}


def inspect(page, address):
    """Open a page and look for what keeps somebody out, by day and by night."""
    page.emulate_media(color_scheme="light")
    answer = page.goto(address)
    assert answer.status == 200, address
    if address.startswith("/?") or address == "/":
        page.wait_for_load_state("networkidle")
    axe(page)
    page.emulate_media(color_scheme="dark")
    axe(page, "color-contrast")
    whole = page.viewport_size
    for size in (whole, SMALLEST):
        page.set_viewport_size(size)
        over = page.evaluate(
            "document.documentElement.scrollWidth - document.documentElement.clientWidth"
        )
        assert over <= 0, f"{address} is {over} px too wide at {size['width']} px"
    page.set_viewport_size(whole)
    assert page.title()
    assert page.locator("h1").count() == 1, address


def give_the_keeper_work():
    """A job that was given up, somebody invited; return pages that only then are."""
    kit, ida = (Person.objects.get(username=one) for one in ("keeper", "volunteer"))
    jobs.enqueue(example_jobs.fail, how="hopeless")
    _, secret = people.invite(
        email="somebody.with.a.long.name@example.org", groups=["volunteer"], by=kit
    )
    return [
        f"/keeper/people/{ida.pk}/",
        f"/keeper/people/{ida.pk}/close/",
        f"/accounts/invited/{secret}/",
    ]


def visit_of(slug):
    visits = Visit.objects.filter(bridge__slug=slug).in_time_order()
    return visits.last().get_absolute_url()


@pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desk"])
def test_public_pages_keep_nobody_out(demo_society, open_page, size):
    page = open_page(size)
    page.goto("/builders/")
    builder = page.get_by_role("main").get_by_role("link").first.get_attribute("href")
    for address in [*PUBLIC, builder, visit_of("hollin-ford")]:
        inspect(page, address)
    page.wait_for_load_state("networkidle")


def a_list_brought_in():
    """Bring in a list with a row that waits and faults; return its pages."""
    ford = Bridge.objects.get(slug="hollin-ford")
    place = f"{ford.latitude},{ford.longitude}"
    text = f"number,name,latitude,longitude,built\nX-1,Ford,{place},spring\nX-2\n"
    of = reading.receive(io.BytesIO(text.encode()), name="cards.csv", vintage="2020")
    reading.read(pk=of.pk)
    taking.take(pk=of.pk)
    row = of.rows.get(line=2)
    return [f"/imports/{of.pk}/", f"/imports/{of.pk}/rows/", f"/imports/rows/{row.pk}/"]


@pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desk"])
@pytest.mark.parametrize("who", GUARDED)
def test_pages_for_members_keep_no_member_out(demo_society, open_page, size, who):
    page = open_page(size)
    sign_in(page, who, demo_society.password)
    prepare = {"officer": a_list_brought_in, "keeper": give_the_keeper_work}.get(who)
    more = prepare() if prepare else []
    for address in [*GUARDED[who], *more]:
        inspect(page, address)
    page.wait_for_load_state("networkidle")


def test_an_invitation_and_a_link_work_in_a_browser(open_page, live_server):
    """Their pages tell no address on, which must not make their own forms strangers."""
    kit = make_person("kit", "keeper")
    _, secret = people.invite(email="nell@example.org", groups=["volunteer"], by=kit)
    page = open_page(PHONE)
    page.goto(f"/accounts/invited/{secret}/")
    page.get_by_label("Name to sign in with").fill("nell")
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    page.get_by_label("Password confirmation").fill(PASSWORD)
    page.get_by_role("button", name="Make the account").click()
    page.get_by_text("Your account is made").wait_for()
    page.get_by_role("button", name="Sign out").click()
    page.get_by_role("link", name="Sign in").first.wait_for()
    people.ask_for_link("nell@example.org", "")
    page.goto(re.search(r"/accounts/link/\S+", mail.outbox[-1].body)[0])
    page.get_by_role("main").get_by_role("button").click()
    page.get_by_text("You are signed in").wait_for()


def test_pages_that_refuse_say_so_as_pages_do(
    demo_society, phone_page, console_is_quiet
):
    page = phone_page
    console_is_quiet.expect("404")
    console_is_quiet.expect("403")
    for address, status in [
        ("/no-such-page/", 404),
        ("/bridges/no-such-bridge/", 404),
        (f"/visits/{make_id('nothing')}/", 404),
    ]:
        assert page.goto(address).status == status
        axe(page)
        assert page.get_by_role("link", name=re.compile("back", re.I)).count()
    sign_in(page, "volunteer", demo_society.password)
    for address in ("/review/", "/dossiers/"):
        assert page.goto(address).status == 403
        axe(page)


def test_the_keyboard_alone_reaches_the_page_and_sees_where_it_is(
    demo_society, desktop_page
):
    page = desktop_page
    page.goto("/bridges/hollin-ford/")
    page.keyboard.press("Tab")
    skip = page.locator(":focus")
    assert skip.get_attribute("href") == "#main"
    assert skip.is_visible()
    page.keyboard.press("Enter")
    page.wait_for_function("document.activeElement.id === 'main'")
    page.keyboard.press("Tab")
    ring = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
    assert ring != "none"


def test_without_scripts_every_bridge_can_still_be_found_and_read(
    demo_society, open_page
):
    page = open_page(PHONE, java_script_enabled=False)
    page.goto("/")
    page.get_by_role("link", name="Hollin Ford Bridge").first.click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Hollin Ford Bridge")
    page.get_by_role("link", name=re.compile("history", re.I)).first.click()
    expect(page).to_have_url(re.compile("/bridges/hollin-ford/history/$"))


def test_the_console_check_hears_what_it_should(
    phone_page, live_server, console_is_quiet
):
    page = phone_page
    page.goto("/accounts/sign-in/")
    page.evaluate(
        """() => {
            const script = document.createElement("script");
            script.textContent = "console.log('let in')";
            document.body.append(script);
            console.error("a fault of ours");
            document.body.append(Object.assign(new Image(), { src: "/no-such.png" }));
        }"""
    )
    for words in ("policy: script-src", "a fault of ours", "404"):
        until = time.monotonic() + PATIENCE_MS / 1000
        while not any(words in one for one in console_is_quiet.unexpected()):
            assert time.monotonic() < until, words
            page.wait_for_timeout(50)
    console_is_quiet.complaints.clear()


def test_the_search_for_barriers_finds_one(phone_page, live_server):
    phone_page.goto("/accounts/sign-in/")
    phone_page.evaluate("document.querySelector('label').remove()")
    with pytest.raises(AssertionError, match=r"label \(critical\)"):
        axe(phone_page)
