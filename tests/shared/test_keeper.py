"""The keeper's page says what needs a hand."""

import datetime

import pytest
from django.utils import timezone

from shared import audit, keeper
from shared.models import AuditEntry
from tests.makers import make_bridge, make_person, make_visit


@pytest.fixture
def keepers_page(client, db):
    client.force_login(make_person("kit", "keeper"))
    return lambda: client.get("/keeper/").text


def test_it_counts_what_there_is_and_names_what_runs(keepers_page):
    make_visit(make_bridge(), said={"limit": "same"})
    text = " ".join(keepers_page().split())
    assert "<dt>Bridges</dt><dd>1</dd>" in text
    assert "<dt>Visits</dt><dd>1</dd>" in text
    for name in ("Django", "Python", "Second Crossing", "free"):
        assert name in text


def test_it_warns_of_a_backup_that_is_missing_or_old(keepers_page):
    assert "No backup has been made yet" in keepers_page()
    audit.note(audit.Action.BACKED_UP, subject="3 rows")
    assert "No backup" not in keepers_page()
    AuditEntry.objects.update(at=timezone.now() - datetime.timedelta(days=9))
    assert "The last backup is of" in keepers_page()


def test_it_warns_of_little_room(keepers_page, monkeypatch):
    assert "Little room" not in keepers_page()
    monkeypatch.setattr(keeper, "LITTLE_ROOM", 1.1)
    assert "Little room" in keepers_page()


def test_exports_prints_and_acceptances_are_in_the_audit_log(client, db):
    bridge = make_bridge()
    rae = make_person("rae", "reviewer", "keeper")
    visit = make_visit(bridge, said={"limit": "same"})
    client.force_login(rae)
    client.post(f"/review/{visit.client_id}/", {"action": "accept", "looked": "on"})
    list(client.get("/export/bridges.csv").streaming_content)
    told = client.get("/keeper/log/").text
    assert "Accepted a visit" in told
    assert "Took an export" in told
    client.logout()
    list(client.get("/export/bridges.csv").streaming_content)
    assert AuditEntry.objects.filter(action="exported").count() == 1


def test_entries_are_forgotten_after_two_years(db):
    audit.note(audit.Action.BACKED_UP)
    AuditEntry.objects.update(at=timezone.now() - datetime.timedelta(days=731))
    assert audit.forget_old() == 1
