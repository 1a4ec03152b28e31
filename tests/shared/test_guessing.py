"""Passwords cannot be guessed at leisure, and nobody is locked out by a stranger."""

import datetime

import pytest
from axes.models import AccessAttempt
from django.test import RequestFactory

from shared import callers
from shared.models import AuditEntry
from tests.makers import PASSWORD, make_person


@pytest.fixture(autouse=True)
def _guarded(settings, db):
    settings.AXES_ENABLED = True
    make_person("ada")


def sign_in(client, password, address="198.51.100.7", username="ada"):
    return client.post(
        "/accounts/sign-in/",
        {"username": username, "password": password},
        REMOTE_ADDR=address,
    )


def guess_until_closed(client, settings):
    for _ in range(settings.AXES_FAILURE_LIMIT - 1):
        assert sign_in(client, "guess").status_code == 200
    return sign_in(client, "guess")


def test_after_so_many_wrong_passwords_even_the_right_one_waits(client, settings):
    closed = guess_until_closed(client, settings)
    assert closed.status_code == 429
    assert "quarter of an hour" in closed.text
    assert sign_in(client, PASSWORD).status_code == 429
    assert client.get("/api/session/").json()["username"] == ""


def test_being_shut_out_is_written_down_for_who_has_an_account(client, settings):
    guess_until_closed(client, settings)
    for _ in range(settings.AXES_FAILURE_LIMIT):
        sign_in(client, "guess", username="a password typed in the wrong box")
    entry = AuditEntry.objects.get(action="shut-out")
    assert entry.person.username == "ada"
    assert "password" not in entry.subject


def test_the_same_name_is_not_closed_to_another_address(client, settings):
    guess_until_closed(client, settings)
    assert sign_in(client, PASSWORD, address="203.0.113.9").status_code == 302


def test_a_quarter_of_an_hour_opens_it_again(client, settings):
    guess_until_closed(client, settings)
    for attempt in AccessAttempt.objects.all():
        attempt.attempt_time -= datetime.timedelta(minutes=16)
        attempt.save()
    assert sign_in(client, PASSWORD).status_code == 302


def test_signing_in_forgets_the_slips_before_it(client, settings):
    for _ in range(3):
        for _ in range(settings.AXES_FAILURE_LIMIT - 1):
            sign_in(client, "guess")
        assert sign_in(client, PASSWORD).status_code == 302
        client.logout()


def test_no_password_is_kept_with_a_failure(client):
    sign_in(client, "a secret word")
    attempt = AccessAttempt.objects.get()
    kept = " ".join(str(value) for value in vars(attempt).values())
    assert "a secret word" not in kept


@pytest.mark.parametrize(
    "behind_proxy, forwarded, address",
    [
        (False, None, "198.51.100.7"),
        (False, "192.0.2.1", "198.51.100.7"),
        (True, None, "198.51.100.7"),
        (True, "192.0.2.1", "192.0.2.1"),
        (True, "10.1.1.1, 192.0.2.1", "192.0.2.1"),
    ],
)
def test_the_callers_own_word_on_its_address_counts_for_nothing(
    settings, behind_proxy, forwarded, address
):
    settings.BEHIND_PROXY = behind_proxy
    headers = {"HTTP_X_FORWARDED_FOR": forwarded} if forwarded else {}
    request = RequestFactory().get("/", REMOTE_ADDR="198.51.100.7", **headers)
    assert callers.address(request) == address


def test_limits_on_the_api_count_the_same_address(settings):
    assert settings.REST_FRAMEWORK["NUM_PROXIES"] == 0
