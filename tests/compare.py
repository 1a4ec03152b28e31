"""Compare an output with a file that a person has read and accepted.

A golden file is never written by the tests: what was received is left beside it for
somebody to read and, if it is right, to rename.
"""

import difflib
from pathlib import Path

import pytest

GOLDEN = Path(__file__).with_name("golden")


def assert_golden(name, text):
    """Fail with the difference unless ``text`` is what ``golden/<name>`` holds."""
    accepted = GOLDEN / name
    received = GOLDEN / f"received.{name}"
    before = accepted.read_text(encoding="utf-8") if accepted.exists() else ""
    if text == before:
        received.unlink(missing_ok=True)
        return
    GOLDEN.mkdir(exist_ok=True)
    received.write_text(text, encoding="utf-8")
    diff = difflib.unified_diff(
        before.splitlines(), text.splitlines(), "accepted", "received", lineterm=""
    )
    message = f"Read {received.name}; if it is right, rename it {name}."
    pytest.fail("\n".join([message, *diff]), pytrace=False)
