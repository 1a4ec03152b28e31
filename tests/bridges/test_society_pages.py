"""Pages about many bridges: changes, numbers, likenesses, rivers, signs, watching."""

import csv
import datetime
import io
import re
from xml.etree import ElementTree

import pytest
from django.core import mail
from django.core.management import call_command
from django.test import Client
from PIL import Image

from bridges import along, basemap, services, share
from bridges.models import Bridge, ChangeSeen, Watch
from bridges.spells import spells_of
from tests.bridges.inventory import built_by, list_bridge, list_builder, queries_of
from tests.makers import make_person

pytestmark = pytest.mark.django_db
ATOM = "{http://www.w3.org/2005/Atom}"
DAY = datetime.date
SEEN = DAY(2024, 6, 2)


def noted(bridge, key="v1", day=SEEN, parts=",deck,", text="Deck replaced."):
    known = [
        (one.key, one.day, one.parts, one.text)
        for one in ChangeSeen.objects.filter(bridge=bridge).exclude(key=key)
    ]
    services.note_changes(bridge, [*known, (key, day, parts, text)])
    return ChangeSeen.objects.get(bridge=bridge, key=key)


# -- what has changed


def entries(client, query=""):
    response = client.get(f"/changes.atom?{query}")
    assert response.status_code == 200
    return ElementTree.fromstring(response.content).findall(f"{ATOM}entry")


def test_a_feed_tells_the_changes_of_its_view_and_of_no_other(client):
    noted(list_bridge(1), parts=",deck,limit,")
    noted(list_bridge(2, form="warren"))
    (entry,) = entries(client, "form=warren")
    assert entry.find(f"{ATOM}title").text == "Mill Road Bridge 2: deck"
    assert "Deck replaced." in entry.find(f"{ATOM}summary").text
    assert len(entries(client)) == 2


def test_a_feed_holds_what_a_reader_of_feeds_needs(client):
    """RFC 4287: id, title and updated of feed and entry; an author; a self link."""
    noted(list_bridge(1))
    root = ElementTree.fromstring(client.get("/changes.atom").content)
    for node in (root, root.find(f"{ATOM}entry")):
        for name in ("id", "title", "updated"):
            assert node.find(f"{ATOM}{name}").text
    assert root.find(f"{ATOM}author/{ATOM}name").text
    assert any(link.get("rel") == "self" for link in root.findall(f"{ATOM}link"))
    tag = client.get("/changes.atom").headers["ETag"]
    again = client.get("/changes.atom", headers={"If-None-Match": tag})
    assert again.status_code == 304


def test_a_feed_tells_a_member_no_more_than_a_visitor(client):
    noted(list_bridge(1, is_public=False))
    client.force_login(make_person())
    assert entries(client) == []


def test_a_feed_that_cannot_be_read_says_why(client):
    response = client.get("/changes.atom?decade=soon")
    assert response.status_code == 400
    assert "Decade built" in response.content.decode()


def test_a_change_keeps_when_it_was_noted_and_its_id_as_its_words_change(client):
    bridge = list_bridge(1)
    first = noted(bridge)
    before = entries(client)[0].find(f"{ATOM}id").text
    again = noted(bridge, text="Deck replaced, as we know now.")
    assert again.noted_at == first.noted_at
    assert entries(client)[0].find(f"{ATOM}id").text == before
    services.note_changes(bridge, [])
    assert not ChangeSeen.objects.exists()


def test_the_page_of_changes_is_narrowed_by_part_and_year(client):
    bridge = list_bridge(1)
    noted(bridge)
    noted(bridge, "v2", DAY(1936, 5, 1), ",chord,", "Chord reinforced.")
    text = client.get("/changes/?part=chord").content.decode()
    assert "Chord reinforced." in text
    assert "Deck replaced." not in text
    assert "Deck replaced." in client.get("/changes/?year=2024").content.decode()
    assert client.get("/changes/?year=soon&part=%00").status_code == 200


# -- numbers


def test_every_figure_of_the_numbers_leads_to_a_list_of_that_length(client):
    builder = list_builder()
    built_by(list_bridge(1), builder, confidence="possible")
    list_bridge(2, form="warren", status="lost", built="1885/1893", lost="1936")
    list_bridge(3, form="warren", last_visited=None)
    list_bridge(4, last_visited=DAY(2009, 1, 1), built="")
    noted(Bridge.objects.get(slug="mill-road-1"))
    response = client.get("/numbers/")
    followed = 0
    for chart in response.context["charts"]:
        for label, cells in chart.rows:
            for number, href in cells:
                page = client.get(href).context["page"]
                assert page.paginator.count == number, (chart.key, label, href)
                followed += 1
    assert followed > 20
    drawn = "".join(str(chart.drawing) for chart in response.context["charts"])
    for href, said in re.findall(r'<a href="([^"]+)" aria-label="([^"]+)"', drawn):
        page = client.get(href.replace("&amp;", "&")).context["page"]
        assert page.paginator.count == int(re.search(r": (\d+)", said)[1]), said


# -- likenesses


def test_likes_are_chosen_by_what_they_have_in_common_and_say_so(client):
    builder = list_builder()
    one = list_bridge(1, panels=5, features={})
    like = list_bridge(2, panels=5, longest_span_ft=91.0, features={"railing": "gone"})
    list_bridge(3, form="howe", material="timber")
    other = list_bridge(4, material="steel", longest_span_ft=200.0, built="1920")
    for bridge in (one, like):
        built_by(bridge, builder)
    response = client.get("/bridges/mill-road-1/comparables/")
    found = response.context["found"]
    assert [row.bridge for row in found] == [like, other]
    assert found[0].points == 4 + 3 + 2 + 2 + 2 + 1 + 1 + 1
    assert "Corrick &amp; Vane had a hand in both" in response.content.decode()
    assert "railing gone" in response.content.decode()


def test_survivors_are_counted_against_all_known(client):
    list_bridge(1)
    list_bridge(2)
    list_bridge(3, status="lost")
    told = client.get("/bridges/mill-road-1/comparables/").context["survival"]
    assert (told["known"], told["left"]) == (3, 2)
    for query, count in ((told["query"], 3), (told["query_left"], 2)):
        assert client.get(f"/?{query}").context["page"].paginator.count == count


def test_the_table_of_likes_is_a_file_that_no_spreadsheet_runs(client):
    list_bridge(1)
    list_bridge(2, name="=1+1", features={"railing": "as first recorded"})
    text = client.get("/bridges/mill-road-1/comparables.csv").content.decode()
    (row,) = csv.DictReader(io.StringIO(text.removeprefix("\ufeff")))
    assert row["name"] == "'=1+1"
    assert row["left: railing"] == "as first recorded"


def test_a_bridge_that_visitors_may_not_see_is_no_likeness(client):
    list_bridge(1)
    list_bridge(2, is_public=False)
    assert client.get("/bridges/mill-road-1/comparables/").context["found"] == []


# -- along a river


def test_bridges_over_a_water_come_in_the_order_of_its_line(client, monkeypatch):
    # The line turns back on itself: neither west to east nor north to south.
    line = [[-40.0, 40.0], [-39.9, 40.0], [-39.9, 39.9], [-40.0, 39.9]]
    monkeypatch.setattr(basemap, "lines_named", lambda name: [line])
    for number, (longitude, latitude) in enumerate(
        [(-39.99, 39.9001), (-39.98, 40.0001), (-39.9001, 39.95)], 1
    ):
        list_bridge(number, longitude=longitude, latitude=latitude)
    response = client.get("/along/?crossing=Alder+River")
    names = [bridge.slug[-1] for bridge, _ in response.context["found"]]
    assert (names, response.context["how"]) == (["2", "3", "1"], "line")


def test_without_a_line_the_longer_way_decides():
    north_to_south = [(-40.0, 39.0), (-40.01, 41.0), (-40.0, 40.0)]
    assert along.in_order(north_to_south, []) == ([1, 2, 0], "south")
    far_away = [[[10.0, 10.0], [11.0, 10.0]]]
    assert along.in_order(north_to_south, far_away)[1] == "south"


def test_a_degree_of_latitude_is_sixty_nine_miles():
    """69.1 statute miles: 60 nautical miles of 1852 m, on a sphere (by hand)."""
    assert along.miles_between((0, 40), (0, 41)) == pytest.approx(69.1, abs=0.1)


def test_a_river_does_not_give_a_sensitive_bridge_away(client):
    list_bridge(1, is_position_sensitive=True, crossing="Sunken Brook")
    assert client.get("/along/?crossing=Sunken+Brook").status_code == 404
    assert "Sunken" not in client.get("/along/").content.decode()


# -- signs


def test_a_short_address_leads_to_its_bridge_under_every_number_it_had(client):
    bridge = list_bridge(1)
    assert client.get("/b/A-001").url == bridge.get_absolute_url()
    bridge.number = "B/7"
    bridge.save()
    for number in ("A-001", "B/7"):
        assert client.get(f"/b/{number}").url == bridge.get_absolute_url()
    assert client.get("/b/C-9").status_code == 404
    assert client.get("/b/B/7/card/").status_code == 200


def test_a_code_is_of_the_short_address(client, monkeypatch):
    list_bridge(1)
    made = []
    make = share.segno.make
    monkeypatch.setattr(
        share.segno, "make", lambda text, **how: made.append(text) or make(text, **how)
    )
    svg = client.get("/b/A-001/qr.svg").content
    assert ElementTree.fromstring(svg).tag.endswith("svg")
    png = Image.open(io.BytesIO(client.get("/b/A-001/qr.png").content))
    assert png.size[0] == png.size[1] > 200
    assert made == ["http://testserver/b/A-001"] * 2


def test_a_card_holds_any_name(client):
    list_bridge(1, name="W" * 150, county="X" * 80)
    picture = Image.open(io.BytesIO(client.get("/b/A-001/card.png").content))
    assert picture.size == (1200, 630)


@pytest.mark.parametrize("kind", ["", "/card/", "/card.png", "/qr.svg", "/qr.png"])
def test_a_bridge_that_is_not_public_has_no_sign_for_visitors(client, kind):
    list_bridge(1, is_public=False)
    assert client.get(f"/b/A-001{kind}").status_code == 404


# -- watching


def member(username="ada", **facts):
    person = make_person(username, **facts)
    client = Client()
    client.force_login(person)
    return person, client


def digest():
    mail.outbox.clear()
    call_command("send_digests", site="https://bridges.example/", stdout=io.StringIO())
    return list(mail.outbox)


def test_who_watches_is_told_once_of_what_is_noted_after(client):
    old = list_bridge(1)
    noted(old, "before")
    _, ada = member(email="ada@mail.example")
    ada.post("/watching/add/", {"bridge": old.slug})
    ada.post("/watching/add/", {"query": "form=warren"})
    assert digest() == []
    noted(old)
    noted(list_bridge(2, form="warren"), text="Warren deck replaced.")
    noted(list_bridge(3))
    (letter,) = digest()
    assert letter.to == ["ada@mail.example"]
    assert "Mill Road Bridge 1" in letter.body
    assert "Warren deck replaced." in letter.body
    assert "Mill Road Bridge 3" not in letter.body
    assert "https://bridges.example/bridges/mill-road-1/" in letter.body
    assert digest() == []


def test_a_mail_that_was_not_sent_is_tried_again(client, monkeypatch):
    bridge = list_bridge(1)
    _, ada = member(email="ada@mail.example")
    ada.post("/watching/add/", {"bridge": bridge.slug})
    noted(bridge)
    with monkeypatch.context() as broken:

        def refuse(self):
            raise OSError("no route")

        broken.setattr(mail.EmailMessage, "send", refuse)
        with pytest.raises(Exception, match="no route"):
            digest()
    assert len(digest()) == 1


def test_mail_stops_by_its_own_link_without_signing_in(client):
    bridge = list_bridge(1)
    _, ada = member(email="ada@mail.example")
    ada.post("/watching/add/", {"bridge": bridge.slug})
    noted(bridge)
    (letter,) = digest()
    link = re.search(r"https://bridges\.example(/watching/stop/\S+)", letter.body)[1]
    assert client.get(link).status_code == 200
    assert Watch.objects.exists()
    client.post(link)
    assert not Watch.objects.exists()
    assert client.get("/watching/stop/nonsense/").status_code == 404


def test_a_watch_is_ones_own(client):
    bridge = list_bridge(1)
    _, ada = member()
    ada.post("/watching/add/", {"bridge": bridge.slug})
    ada.post("/watching/add/", {"bridge": bridge.slug})
    (watch,) = Watch.objects.all()
    _, bob = member("bob")
    assert bob.post(f"/watching/{watch.pk}/stop/").status_code == 404
    assert bob.post("/watching/add/", {"query": "decade=soon"}).status_code == 404
    assert client.get("/watching/").status_code == 302
    ada.post(f"/watching/{watch.pk}/stop/")
    assert not Watch.objects.exists()


# -- a status and its time


class Event:
    def __init__(self, kind, year):
        self.kind = kind
        self.when_earliest, self.when_latest = DAY(year, 1, 1), DAY(year, 12, 31)


def statuses(bridge, events, *years):
    found = spells_of(bridge, events, DAY(2026, 1, 1))
    return [
        next(
            (
                one.status
                for one in found
                if (one.first is None or one.first <= DAY(year, 7, 1))
                and (one.last is None or one.last >= DAY(year, 7, 1))
            ),
            None,
        )
        for year in years
    ]


def test_a_bridge_has_the_status_that_its_events_give_it_on_a_day():
    bridge = list_bridge(1, built="1889", status="lost", lost="1972")
    events = [Event("closed", 1936), Event("reopened", 1938), Event("bypassed", 1960)]
    assert statuses(bridge, events, 1880, 1900, 1937, 1950, 1965, 1980) == [
        None,
        "in-service",
        "closed",
        "in-service",
        "bypassed",
        "lost",
    ]


def test_today_a_bridge_has_the_status_that_the_record_gives():
    bridge = list_bridge(1, built="1889", status="closed")
    assert statuses(bridge, [], 1990, 2026) == ["in-service", "closed"]
    gone = list_bridge(2, built="1889", status="lost")
    assert statuses(gone, [], 1900, 2026) == ["lost", "lost"]


# -- costs


@pytest.mark.parametrize(
    "address",
    ["/changes/", "/changes.atom", "/numbers/", "/along/?crossing=Alder+River"]
    + ["/bridges/mill-road-1/comparables/", "/?as_of=1925"],
)
def test_pages_of_many_cost_the_same_for_few_and_for_fifty(client, address):
    builder = list_builder()
    for number in (1, 2):
        bridge = list_bridge(number)
        built_by(bridge, builder)
        noted(bridge)
    client.get(address)
    few = queries_of(lambda: client.get(address))
    for number in range(3, 51):
        bridge = list_bridge(number)
        built_by(bridge, builder)
        noted(bridge)
    client.get(address)
    many = queries_of(lambda: client.get(address))
    assert len(many) == len(few), "\n".join(many)


def test_the_count_of_queries_hears_a_prefetch_that_is_missing(client, monkeypatch):
    """The tests of costs would be deaf if nothing could make them fail."""
    list_bridge(1)
    client.get("/")
    one = queries_of(lambda: client.get("/"))
    for number in range(2, 51):
        list_bridge(number)
    monkeypatch.setattr(
        type(Bridge.objects.all()), "for_list", lambda self: self.order_by("name")
    )
    client.get("/")
    fifty = queries_of(lambda: client.get("/"))
    assert len(fifty) >= len(one) + 49
