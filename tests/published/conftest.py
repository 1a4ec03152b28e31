"""Every test here says where its values are from and how surely they are known."""

import pytest

from tests.published import rows


def pytest_configure(config):
    config.addinivalue_line(
        "markers", "published(source, certainty): where a test's values are from"
    )


def pytest_collection_modifyitems(items):
    for item in items:
        if "tests/published" not in item.nodeid.replace("\\", "/"):
            continue
        mark = item.get_closest_marker("published")
        if mark is None or len(mark.args) != 2:
            raise pytest.UsageError(f"{item.nodeid} names no source and certainty")
        if mark.args[1] not in rows.CERTAINTIES:
            raise pytest.UsageError(f"{item.nodeid}: {mark.args[1]} is no certainty")


@pytest.fixture(autouse=True)
def _named(request):
    """Tell the rows whose values they are."""
    mark = request.node.get_closest_marker("published")
    rows.CURRENT.source, rows.CURRENT.certainty = mark.args
    rows.CURRENT.what = request.node.name.removeprefix("test_").replace("_", " ")
