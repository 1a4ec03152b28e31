"""What somebody with bad intent would try. Each fails where its guard is taken away."""

import threading

import pytest
from django.contrib.auth.hashers import BasePasswordHasher, MD5PasswordHasher
from django.core import mail
from django.test import Client

from shared import limits, people
from shared.models import Job, Tally
from tests.makers import PASSWORD, make_person

COOKIE = "second_crossing_session"
FORM = {"username": "ada", "password": PASSWORD}


@pytest.fixture
def ada(db):
    return make_person("ada", email="ada@example.org")


# -- session fixation


def planted(client):
    """A session that somebody else knows the key of."""
    session = client.session
    session["planted"] = True
    session.save()
    return client.cookies[COOKIE].value


def by_link(client):
    client.post("/accounts/link/", {"email": "ada@example.org"})
    path = mail.outbox[-1].body.split("http://testserver")[1].split()[0]
    client.post(path)


def by_invitation(client):
    _, secret = people.invite(
        email="new@example.org", groups=["volunteer"], by=make_person("kit", "keeper")
    )
    client.post(
        f"/accounts/invited/{secret}/",
        {"username": "nell", "password1": PASSWORD, "password2": PASSWORD},
    )


WAYS_IN = {
    "a password": lambda client: client.post("/accounts/sign-in/", FORM),
    "a link": by_link,
    "an invitation": by_invitation,
}


@pytest.mark.parametrize("way", WAYS_IN)
def test_a_session_planted_before_signing_in_is_worth_nothing_after(client, ada, way):
    known = planted(client)
    WAYS_IN[way](client)
    assert client.get("/api/session/").json()["username"] in ("ada", "nell")
    thief = Client()
    thief.cookies[COOKIE] = known
    assert thief.get("/api/session/").json()["username"] == ""
    assert client.cookies[COOKIE].value != known


def test_a_new_password_ends_the_sessions_elsewhere(client, ada):
    thief = Client()
    thief.force_login(ada)
    client.force_login(ada)
    done = client.post(
        "/accounts/me/password/",
        {
            "old_password": PASSWORD,
            "new_password1": "river stones in May",
            "new_password2": "river stones in May",
        },
    )
    assert done.status_code == 302
    assert client.get("/api/session/").json()["username"] == "ada"
    assert thief.get("/api/session/").json()["username"] == ""


# -- forms sent from elsewhere


@pytest.mark.parametrize(
    "path",
    [
        "/accounts/sign-in/",
        "/accounts/sign-out/",
        "/accounts/link/",
        "/accounts/me/",
        "/accounts/me/password/",
        "/accounts/me/leave/",
        "/keeper/people/invite/",
        "/api/visits/",
        "/api/run-check/",
    ],
)
def test_nothing_is_done_for_a_form_without_the_sites_token(ada, path):
    client = Client(enforce_csrf_checks=True)
    client.force_login(make_person("kit", "keeper"))
    assert client.post(path, {}, "application/json").status_code == 403
    assert client.post(path, {}).status_code in (403, 415)


def test_a_link_by_mail_is_confirmed_by_the_sites_own_form_alone(client, ada):
    client.post("/accounts/link/", {"email": ada.email})
    path = mail.outbox[-1].body.split("http://testserver")[1].split()[0]
    elsewhere = Client(enforce_csrf_checks=True)
    assert elsewhere.post(path).status_code == 403
    assert elsewhere.get("/api/session/").json()["username"] == ""
    assert client.post(path).status_code == 302, "and is not used up by that"


# -- open redirects


@pytest.mark.parametrize(
    "elsewhere",
    [
        "https://example.org/",
        "//example.org/",
        "/\\example.org/",
        "\\\\example.org",
        "http:example.org",
        "javascript:alert(1)",
        "https://testserver@example.org/",
        "https://testserver.example.org/",
        "\thttps://example.org",
    ],
)
def test_signing_in_and_out_lead_nowhere_else(client, ada, elsewhere):
    signed_in = client.post("/accounts/sign-in/", FORM | {"next": elsewhere})
    assert signed_in.headers["Location"] == "/"
    again = client.get("/accounts/sign-in/", {"next": elsewhere})
    assert again.headers["Location"] == "/"
    signed_out = client.post("/accounts/sign-out/", {"next": elsewhere})
    assert signed_out.headers["Location"] == "/"


# -- the host header


def test_a_host_that_is_not_the_sites_gets_nothing_and_stands_in_no_mail(client, ada):
    for headers in (
        {"HTTP_HOST": "evil.example"},
        {"HTTP_HOST": "testserver:80@evil.example"},
    ):
        answer = client.post("/accounts/link/", {"email": ada.email}, **headers)
        assert answer.status_code == 400
    assert mail.outbox == []
    client.post(
        "/accounts/link/", {"email": ada.email}, HTTP_X_FORWARDED_HOST="evil.example"
    )
    assert "evil" not in mail.outbox[0].body


# -- who has an account?


def test_asking_for_a_link_does_and_says_the_same_for_strangers(
    client, ada, settings, django_assert_num_queries
):
    settings.JOBS_INLINE = False
    answers, jobs = [], []
    for address in ("ada@example.org", "stranger@example.org"):
        response = client.post("/accounts/link/", {"email": address}, follow=True)
        answers.append((response.redirect_chain, response.text.count("on its way")))
        jobs.append(Job.objects.values_list("call", flat=True).order_by("pk")[0])
        Job.objects.all().delete()
    assert answers[0] == answers[1]
    assert jobs[0] == jobs[1]
    assert mail.outbox == [], "nothing is looked up or sent while the page waits"


def test_without_a_worker_the_answer_does_not_wait_for_the_letter(
    client, ada, settings, monkeypatch
):
    settings.PRODUCTION, later = True, []

    class Thread(threading.Thread):
        def start(self):
            later.append(self.run)

    monkeypatch.setattr(people.threading, "Thread", Thread)
    monkeypatch.setattr(people.connection, "close", lambda: None)
    assert client.post("/accounts/link/", {"email": ada.email}).status_code == 302
    assert mail.outbox == []
    later.pop()()
    assert "/accounts/link/" in mail.outbox[0].body


def test_a_wrong_password_says_the_same_for_strangers_and_for_who_has_left(client, ada):
    make_person("bob", is_active=False)
    said = set()
    for name in ("ada", "stranger", "bob"):
        page = client.post("/accounts/sign-in/", {"username": name, "password": "no"})
        said.add(page.text.partition("<h2>Not signed in</h2>")[2].partition("</p>")[0])
        assert page.status_code == 200
    assert len(said) == 1
    assert "password" in said.pop()


def test_signing_in_takes_as_long_for_strangers(client, ada, monkeypatch):
    """The slow part is the hash: it is made once whether or not there is an account."""
    hashed = []
    encode = MD5PasswordHasher.encode

    def counting(self, password, salt):
        hashed.append(password)
        return encode(self, password, salt)

    monkeypatch.setattr(MD5PasswordHasher, "encode", counting)
    make_person("bob", is_active=False)
    hashed.clear()
    counts = {}
    for name in ("ada", "stranger", "bob"):
        client.post("/accounts/sign-in/", {"username": name, "password": "no"})
        counts[name] = len(hashed)
        hashed.clear()
    assert counts == {"ada": 1, "stranger": 1, "bob": 1}
    assert issubclass(MD5PasswordHasher, BasePasswordHasher)


# -- too often


@pytest.mark.parametrize(
    "path, form, name",
    [
        ("/accounts/link/", {"email": "x@example.org"}, "mail"),
        ("/accounts/sign-in/", {"username": "x", "password": "y"}, "sign-in"),
        ("/accounts/link/abc/", {}, "sign-in"),
    ],
)
def test_one_address_is_slowed_down_and_another_is_not(
    client, db, settings, path, form, name
):
    settings.LIMITS = {**settings.LIMITS, name: 3}
    for _ in range(3):
        assert client.post(path, form).status_code != 429
    slowed = client.post(path, form)
    assert slowed.status_code == 429
    assert slowed.headers["Retry-After"] == "60"
    assert client.post(path, form, REMOTE_ADDR="203.0.113.9").status_code != 429
    assert "127.0.0.1" not in str(list(Tally.objects.values()))


def test_counts_are_shared_by_processes_and_forgotten_after_a_day(db, monkeypatch):
    assert [limits.counted("mail", "x") for _ in range(3)] == [1, 2, 3]
    assert limits.counted("mail", "y") == 1
    Tally.objects.update(minute=1)
    assert limits.forget_old() == 2
