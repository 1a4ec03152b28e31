"""What every answer of the site carries, and the addresses of the site itself."""

import pytest
from django.db import OperationalError, connection
from django.test import Client

from tests.makers import PASSWORD, make_bridge, make_person

POLICY = {
    "default-src 'none'",
    "script-src 'self'",
    "style-src 'self'",
    "img-src 'self' blob: data:",
    "font-src 'self'",
    "connect-src 'self'",
    "worker-src 'self'",
    "manifest-src 'self'",
    "base-uri 'none'",
    "frame-ancestors 'none'",
    "form-action 'self'",
}


def directives(response):
    header = response.headers["Content-Security-Policy"]
    return {part.strip() for part in header.split(";")}


def refused(client, path):
    """A form sent without its token."""
    return Client(enforce_csrf_checks=True).post("/accounts/sign-in/", {})


ANSWERS = {
    "a page": lambda client: client.get("/about/figures/"),
    "no page": lambda client: client.get("/no-such-page/"),
    "a redirect": lambda client: client.get("/about/figures"),
    "a guarded page": lambda client: client.get("/review/"),
    "the wrong method": lambda client: client.post("/healthz"),
    "the API": lambda client: client.get("/api/session/"),
    "the schema": lambda client: client.get("/api/schema/"),
    "a fault of the API": lambda client: client.get("/api/bridges/none/"),
    "a style sheet": lambda client: client.get("/static/leaflet/leaflet.css"),
    "a form without its token": lambda client: refused(client, "/accounts/sign-in/"),
}


@pytest.mark.parametrize("which", ANSWERS)
def test_every_answer_carries_the_strict_policies(client, db, which):
    response = ANSWERS[which](client)
    response.close()
    assert directives(response) == POLICY
    assert response.headers["Permissions-Policy"].startswith("camera=(self)")
    assert response.headers["X-Content-Type-Options"] == "nosniff"
    assert response.headers["Referrer-Policy"] == "same-origin"


def test_the_site_says_it_is_well_when_its_database_answers(client, db):
    response = client.get("/healthz")
    assert (response.status_code, response.content) == (200, b"ok")
    assert "no-store" in response.headers["Cache-Control"]


def test_the_site_says_only_that_it_is_not_well_when_its_database_is_silent(
    client, db, monkeypatch
):
    def silent(*args, **kwargs):
        raise OperationalError("could not connect to secret-host")

    with monkeypatch.context() as broken:
        broken.setattr(connection, "cursor", silent)
        response = client.get("/healthz")
    assert (response.status_code, response.content) == (503, b"unavailable")


def test_the_session_of_a_stranger_is_empty_and_brings_a_token(client, db):
    response = client.get("/api/session/")
    assert response.status_code == 200
    assert response.headers["Cache-Control"] == "no-store"
    body = response.json()
    token = body.pop("csrf_token")
    assert len(token) >= 32
    assert body == {"user_id": None, "username": "", "credit": "", "groups": []}


def test_the_session_says_who_is_signed_in_and_what_they_belong_to(client, db):
    person = make_person("ada", "volunteer", "reviewer", credit_name="Ada Reed")
    client.force_login(person)
    body = client.get("/api/session/").json()
    assert body["user_id"] == person.pk
    assert body["username"] == "ada"
    assert body["credit"] == "Ada Reed"
    assert body["groups"] == ["reviewer", "volunteer"]


def test_signing_in_needs_the_right_password_and_keeps_the_name_typed(client, db):
    make_person("ada")
    wrong = client.post("/accounts/sign-in/", {"username": "ada", "password": "guess"})
    assert wrong.status_code == 200
    assert 'value="ada"' in wrong.text
    assert client.get("/api/session/").json()["username"] == ""

    right = client.post(
        "/accounts/sign-in/", {"username": "ada", "password": PASSWORD}, follow=True
    )
    assert right.status_code == 200
    assert client.get("/api/session/").json()["username"] == "ada"


def test_signing_in_leads_back_to_where_one_was_going_on_this_site_only(client, db):
    make_person("ada")
    form = {"username": "ada", "password": PASSWORD}
    inside = client.post("/accounts/sign-in/?next=/about/figures/", form)
    assert inside.headers["Location"] == "/about/figures/"

    client.logout()
    outside = client.post("/accounts/sign-in/?next=https://example.org/", form)
    assert outside.headers["Location"] == "/"


def test_signing_out_takes_a_form_and_not_a_link(client, db):
    client.force_login(make_person("ada"))
    assert client.get("/accounts/sign-out/").status_code == 405
    assert client.get("/api/session/").json()["username"] == "ada"
    assert client.post("/accounts/sign-out/").status_code == 302
    assert client.get("/api/session/").json()["username"] == ""


def test_a_person_taken_off_the_list_is_signed_out_everywhere(client, db):
    person = make_person("ada")
    client.force_login(person)
    person.is_active = False
    person.save()
    assert client.get("/api/session/").json()["username"] == ""


def test_a_session_outlasts_a_season_of_field_work_and_hides_from_scripts(client, db):
    make_person("ada")
    client.post("/accounts/sign-in/", {"username": "ada", "password": PASSWORD})
    cookie = client.cookies["second_crossing_session"]
    assert cookie["max-age"] == 60 * 24 * 60 * 60
    assert cookie["httponly"]
    assert cookie["samesite"] == "Lax"


@pytest.mark.parametrize(
    "path",
    [
        "/",
        "/bridges/{slug}/",
        "/bridges/{slug}/history/",
        "/builders/",
        "/about/figures/",
        "/accounts/sign-in/",
        "/api/bridges/",
        "/api/bridges/{slug}/",
        "/api/schema/",
    ],
)
def test_a_visitor_may_open_every_public_page(client, db, path):
    slug = make_bridge().slug
    assert client.get(path.format(slug=slug)).status_code == 200


@pytest.mark.parametrize(
    "path, groups",
    [
        ("/bridges/{slug}/visit/", {"volunteer", "reviewer", "officer", "keeper"}),
        ("/review/", {"reviewer", "keeper"}),
        ("/dossiers/", {"officer", "keeper"}),
        ("/dossiers/{slug}/", {"officer", "keeper"}),
        ("/dossiers/{slug}/dossier.pdf", {"officer", "keeper"}),
    ],
)
def test_a_guarded_page_sends_strangers_to_sign_in_and_others_away(
    client, db, path, groups
):
    path = path.format(slug=make_bridge().slug)
    stranger = client.get(path)
    assert stranger.status_code == 302
    assert stranger.headers["Location"] == f"/accounts/sign-in/?next={path}"
    for group in ("volunteer", "reviewer", "officer", "keeper"):
        client.force_login(make_person(group, group))
        answer = client.get(path)
        answer.getvalue()  # A file is closed when it has been read.
        assert answer.status_code == (200 if group in groups else 403), group


def test_what_was_sent_is_read_to_its_end_before_a_refusal(client, db):
    """Else the server drops the line, and the next call on it with no word."""
    path = "/api/uploads/5ec04d00-0000-4000-8000-000000000000/"
    answer = client.patch(path, b"x" * 200_000, "application/octet-stream")
    assert answer.status_code == 401
    assert answer.wsgi_request._stream.read(1) == b""
