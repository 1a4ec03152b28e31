"""What every release since the first has stored comes forward whole."""

import hashlib
import tarfile
from pathlib import Path

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from shared import backup, tables
from shared.models import Person
from surveys.models import Observation, Photo, Visit
from tests.shared.test_backup import _further_databases  # noqa: F401

KEPT = sorted(Path(__file__).parent.glob("*.tar.gz"))
# Made anew by every release for its own models, and so not the society's.
OF_THE_RELEASE = {"contenttypes.ContentType", "auth.Permission"}
pytestmark = pytest.mark.django_db(transaction=True)


def test_there_is_a_release_to_come_from():
    assert KEPT


@pytest.mark.parametrize("kept", KEPT, ids=lambda path: path.stem)
def test_a_database_of_an_earlier_release_comes_forward(kept, tmp_path):
    with tarfile.open(kept) as file:
        file.extractall(tmp_path, filter="data")
    facts = backup.restore(tmp_path / "backup", replace=True, older_too=True)

    now = tables.summary("default")
    for label, then in facts["tables"].items():
        if label not in OF_THE_RELEASE and label in now:
            assert now[label]["rows"] == then["rows"], label
    plan = MigrationExecutor(connection)
    assert not plan.migration_plan(plan.loader.graph.leaf_nodes())

    assert set(Person.objects.values_list("username", flat=True)) == {
        "ada",
        "kit",
        "rae",
    }
    visits = Visit.objects.in_time_order()
    assert [(one.when, one.status) for one in visits] == [
        ("1978~", "submitted"),
        ("2019-06-02", "accepted"),
    ]
    deck = Observation.objects.get(element__path="span-1/deck")
    assert deck.state["layers"][0]["thickness_in"] == 3.0
    photo = Photo.objects.get()
    with photo.original.open() as original:
        assert hashlib.sha256(original.read()).hexdigest() == photo.sha256
