"""What a phone keeps to open the field page with no signal."""

import json
import re

import pytest
from django.test import Client

from surveys import offline
from tests.makers import make_person


def shell_of(source):
    return json.loads(re.match(r"const FIELD = (.*);\n", source)[1])


def test_the_worker_keeps_the_page_and_every_file_it_needs(client):
    answer = client.get("/sw.js")
    assert answer.headers["Cache-Control"] == "no-cache"
    assert answer.headers["Content-Type"].startswith("text/javascript")
    shell = shell_of(answer.content.decode())["shell"]
    page = client.get("/field/").content.decode()
    for address in re.findall(r"(?:href|src)=\"(/[^\"#]*)\"", page):
        assert address in shell or address == "/", address
    modules = [one for one in shell if one.endswith(".js")]
    imported = set()
    for path in offline._scripts():
        source = (offline.Path(offline.finders.find(path))).read_text()
        imported |= set(re.findall(r"from \"\./([\w.]+)\";", source))
    assert imported <= {one.rsplit("/", 1)[-1] for one in modules}


def test_no_module_imports_itself_by_way_of_others():
    """Names of files are hashed by their content, imports in it too: no end to that."""
    folder = offline.Path(offline.finders.find(f"{offline.SCRIPTS}/main.js")).parent
    imports = {
        path.name: re.findall(r"from \"\./([\w.]+)\";", path.read_text())
        for path in folder.glob("*.js")
    }

    def reached(name, above=()):
        assert name not in above, f"{' → '.join([*above, name])}"
        for other in imports[name]:
            reached(other, (*above, name))

    reached("main.js")


def test_the_release_changes_when_a_kept_file_does_and_only_then(tmp_path, monkeypatch):
    before = shell_of(offline.worker_source())["release"]
    assert shell_of(offline.worker_source())["release"] == before
    found = offline.finders.find
    changed = tmp_path / "field.css"
    changed.write_text("/* another */")
    monkeypatch.setattr(
        offline.finders,
        "find",
        lambda name: str(changed) if name.endswith("field.css") else found(name),
    )
    assert shell_of(offline.worker_source())["release"] != before


@pytest.mark.django_db
def test_the_page_is_the_same_for_everybody_and_holds_no_token():
    stranger, member = Client(), Client()
    member.force_login(make_person("ada", first_name="Ada"))
    pages = [one.get("/field/") for one in (stranger, member)]
    assert pages[0].content == pages[1].content
    assert not pages[1].cookies
    assert b"csrf" not in pages[1].content.lower()


def test_the_manifest_names_the_page_and_its_scope(client):
    answer = client.get("/field/manifest.webmanifest")
    assert answer.headers["Content-Type"] == "application/manifest+json"
    assert answer.json()["scope"] == answer.json()["start_url"] == "/field/"
