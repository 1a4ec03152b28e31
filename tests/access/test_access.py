"""Who may do what, walked: every page, call and file, as everybody and as nobody.

``table.txt`` is the table. A new address without a row there fails here; the failure
prints the row to add, as the site answers now. Read it before you add it.
"""

from http.cookies import SimpleCookie
from pathlib import Path

import pytest
from django.core.cache import cache
from django.db import transaction
from django.test import Client

from shared import backup
from tests.access import world as worlds
from tests.access.world import PARAMETERS, ROLES, SECRETS

TABLE = Path(__file__).with_name("table.txt")
SIGN_IN = "/accounts/sign-in/"
METHODS = ("POST", "PUT", "PATCH", "DELETE")
ANSWERS = {"yes", "sign", "no", "hide", "none"}


def rows():
    """Return ``{(name, case, method): answers by role}``."""
    table = {}
    for line in TABLE.read_text(encoding="utf-8").splitlines():
        text = line.partition("#")[0].split()
        if not text:
            continue
        name, case, method, *answers = text
        assert len(answers) == len(ROLES), f"not {len(ROLES)} answers: {line}"
        assert set(answers) <= ANSWERS, line
        key = name, "" if case == "-" else case, method
        assert key not in table, f"twice: {line}"
        table[key] = dict(zip(ROLES, answers, strict=True))
    return table


@pytest.fixture
def world(db, settings):
    settings.LIMITS = dict.fromkeys(settings.LIMITS, 10_000)
    return worlds.make()


def callers(world):
    found = {}
    for role in ROLES:
        found[role] = client = Client()
        if role != "nobody":
            client.force_login(world.people[role])
        client.own_cookies = client.cookies.output()
    return found


def ask(client, method, path):
    """Ask, and take back whatever that changed: return the answer."""
    # What an earlier answer took away, as signing out does, is taken back as well.
    client.cookies = SimpleCookie(client.own_cookies.replace("Set-Cookie: ", ""))
    with transaction.atomic():
        sent = {"data": "{}", "content_type": "application/json"}
        if not path.startswith("/api/") and method == "POST":
            sent = {"data": {"sent": "1"}}
        answer = (
            client.generic(method, path)
            if method == "GET"
            else (getattr(client, method.lower())(path, **sent))
        )
        answer.body = (
            b"".join(answer.streaming_content) if answer.streaming else (answer.content)
        )
        if method != "GET":
            transaction.set_rollback(True)
    return answer


def told(answer):
    """Say an answer in the table's words."""
    location = answer.headers.get("Location", "")
    if answer.status_code == 401 or location.startswith(SIGN_IN):
        return "sign"
    words = {403: "no", 404: "hide", 405: "none"}
    return words.get(answer.status_code, "yes")


def line(key, answers):
    name, case, method = key
    columns = "".join(f"{answers[role]:10}" for role in ROLES)
    return f"{name:26}{case or '-':9}{method:7}{columns}".rstrip()


def test_every_address_has_a_row_and_every_row_an_address(world):
    table = rows()
    spoken = {name for name, _, _ in table}
    everybody = callers(world)
    missing = [
        line((name, "", "GET"), now(everybody, "GET", world.path(name, "")))
        for name in sorted(set(PARAMETERS) - spoken)
    ]
    assert not missing, "Add to tests/access/table.txt, after reading:\n" + "\n".join(
        missing
    )
    assert spoken <= set(PARAMETERS), spoken - set(PARAMETERS)


def now(everybody, method, path):
    return {role: told(ask(everybody[role], method, path)) for role in ROLES}


def test_every_way_to_change_something_has_a_row(world):
    """A method that an address takes and the table does not speak of."""
    spoken = {(name, method) for name, _, method in rows()}
    everybody = callers(world)
    missing = []
    for name in sorted(PARAMETERS):
        for method in METHODS:
            if (name, method) in spoken or name == "accounts:sign-in":
                continue
            # Django gives a form's PUT to its POST.
            if method == "PUT" and (name, "POST") in spoken:
                continue
            path = world.path(name, "")
            status = ask(everybody["keeper"], method, path).status_code
            if status != 405 and not (path.startswith("/api/") and status == 403):
                missing.append(line((name, "", method), now(everybody, method, path)))
    assert not missing, "Add to tests/access/table.txt, after reading:\n" + "\n".join(
        missing
    )


def test_everybody_may_do_what_the_table_says_and_sees_no_secret(world):
    everybody, wrong, seen = callers(world), [], []
    for key, expected in rows().items():
        name, case, method = key
        path = world.path(name, case)
        answers = {}
        for role in ROLES:
            cache.clear()
            answer = ask(everybody[role], method, path)
            answers[role] = told(answer)
            seen += [
                f"{role} sees {secret} in {method} {path}"
                for secret, may in SECRETS.items()
                if role not in may and secret.encode() in answer.body
            ]
        if answers != expected:
            wrong.append(f"is   {line(key, answers)}\nsays {line(key, expected)}")
    assert not wrong, "\n" + "\n".join(wrong)
    assert not seen, "\n" + "\n".join(seen)


def test_every_kind_of_stored_file_is_guarded_as_its_row_says(world, media):
    """Copies of every size as the one the table names; nothing by its name on disk."""
    everybody, table, wrong = callers(world), rows(), []
    for case, photo in world.photos.items():
        key = "surveys:photo", "" if case == "accepted" else case, "GET"
        for size in photo.derivatives:
            path = f"/photos/{photo.client_id}/{size}.jpg"
            is_now = now(everybody, "GET", path)
            wrong += [] if is_now == table[key] else [line((path, "", ""), is_now)]
    kinds = set()
    for name in backup.stored_names():
        kinds.add(name.partition("/")[0])
        for path in (f"/{name}", f"/media/{name}", f"/static/{name}"):
            for role in ("nobody", "keeper"):
                found = told(ask(everybody[role], "GET", path))
                wrong += [] if found == "hide" else [f"{role} {found} {path}"]
    assert kinds == {"originals", "photos", "dossiers"}, "else nothing was tried"
    assert not wrong, "\n".join(wrong)


def test_the_secrets_are_there_to_be_seen(world):
    """Else the walk above would prove nothing."""
    everybody = callers(world)
    keeper, author = everybody["keeper"], everybody["author"]
    pages = b"".join(
        ask(client, "GET", world.path(name, case)).body
        for client, name, case in (
            (keeper, "api-bridge", "shy"),
            (keeper, "bridge", "shy"),
            (keeper, "bridge", "hidden"),
            (keeper, "surveys:visit", "hidden"),
            (author, "surveys:visit", "waiting"),
            (author, "surveys:visit", "returned"),
            (keeper, "api-job", ""),
            (author, "accounts:own", ""),
            (keeper, "bridges:import-row", ""),
        )
    )
    missing = [secret for secret in SECRETS if secret.encode() not in pages]
    assert not missing
