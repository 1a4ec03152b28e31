"""A small run of the long fuzz in tests/endurance, so that it stays true."""

from hypothesis import given, settings

from tests.endurance.fuzz_check_files import (
    check_document,
    check_text,
    mutated,
    spoilt,
)


@settings(max_examples=120)
@given(mutated())
def test_a_mutated_file_is_answered_or_refused_and_nothing_else(document):
    check_document(document)


@settings(max_examples=120)
@given(spoilt())
def test_spoilt_text_is_read_or_refused_and_nothing_else(text):
    check_text(text)
