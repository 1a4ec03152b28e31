"""A small run of the long fuzz in tests/endurance, so that it stays true."""

from tests.endurance.fuzz_check_files import by_hypothesis, run


def test_files_are_answered_or_refused_and_nothing_else():
    counted, _, broken = run(240)
    assert not broken, broken[0][1]
    assert counted["mutated: answered"] > 20
    assert sum(counted.values()) == 240


def test_nor_does_hypothesis_find_any_other():
    counted = by_hypothesis(60, fixed=True)
    assert sum(counted.values()) >= 60
    assert len(counted) >= 4
