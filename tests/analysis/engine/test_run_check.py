"""The command: what it prints where, and with which status."""

import io
import json
import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.core.management import call_command
from jsonschema import Draft202012Validator

from analysis.engine import checkfile
from analysis.engine.answer import answer
from tests.compare import assert_golden

from .checkfiles import OUTRIGHT, PONY, THROUGH, changed

ROOT = Path(checkfile.__file__).parents[2]


@pytest.fixture
def run(capsys, monkeypatch):
    """Run the command in this process; return its status, output and error lines."""

    def run(*arguments, stdin=b""):
        monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=io.BytesIO(stdin)))
        status = 0
        try:
            call_command("run_check", *arguments, no_color=True)
        except SystemExit as stopped:
            status = stopped.code
        out, err = capsys.readouterr()
        return SimpleNamespace(status=status, out=out, err=err.splitlines())

    return run


def write(folder, name, document):
    path = folder / name
    path.write_text(json.dumps(document))
    return str(path)


def test_a_file_is_answered_on_standard_output(run, tmp_path):
    done = run(write(tmp_path, "a.json", THROUGH))
    assert done.status == 0
    assert done.err == []
    assert json.loads(done.out) == answer(THROUGH)


def test_several_files_are_answered_as_one_list_in_order(run, tmp_path):
    files = [
        write(tmp_path, f"{n}.json", document)
        for n, document in enumerate((THROUGH, OUTRIGHT, PONY))
    ]
    done = run(*files)
    assert json.loads(done.out) == [answer(d) for d in (THROUGH, OUTRIGHT, PONY)]


def test_a_dash_reads_standard_input(run):
    done = run("-", stdin=json.dumps(OUTRIGHT).encode())
    assert json.loads(done.out) == answer(OUTRIGHT)


def test_a_truss_that_cannot_stand_is_an_answer_not_a_fault(run, tmp_path):
    gone = changed(THROUGH, ("members", 3), {"names": ["L1U1"], "absent": True})
    done = run(write(tmp_path, "a.json", gone))
    assert done.status == 0
    assert json.loads(done.out)["stands"] is False


def test_faults_go_to_standard_error_one_a_line_and_nothing_is_answered(run, tmp_path):
    good = write(tmp_path, "good.json", THROUGH)
    wrong = changed(THROUGH, ("geometry", "depth_ft"), -1)
    bad = write(tmp_path, "bad.json", changed(wrong, ("colour",), "red"))
    missing = str(tmp_path / "missing.json")
    done = run(good, bad, missing)
    assert done.status == 2
    assert done.out == ""
    assert done.err[0].startswith(f"{bad}: colour: unknown key; expected title")
    assert done.err[1:] == [
        f"{bad}: geometry.depth_ft: expected a number of at least 0.1 and at most 500, "
        "found -1",
        f"{missing}: $: expected a file that can be read: No such file or directory",
    ]


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"{",
        b"\xff\xff",
        b"[]",
        b'{"a": NaN}',
        b"[" * 200_000,
        b'{"\\ud800\\n": 1}',
        b'{"title": "\\ud800", "geometry": {"form": "\\ud800"}}',
        b"{}" + b" " * 2_000_000,
    ],
    ids=range(9),
)
def test_anything_may_stand_in_a_file(run, content):
    done = run("-", stdin=content)
    assert done.status == 2
    assert done.out == ""
    assert done.err
    for line in done.err:
        assert line.startswith("-: ")
        assert "expect" in line
        line.encode("ascii")


def test_a_lone_surrogate_in_a_title_does_not_stop_the_table(run):
    titled = json.dumps(OUTRIGHT | {"title": "\ud800"}).encode()
    done = run("-", "--table", stdin=titled)
    assert done.status == 0
    assert done.out.startswith("\\ud800")


def test_a_folder_is_no_file(run, tmp_path):
    done = run(str(tmp_path))
    assert (done.status, done.out) == (2, "")
    assert "Is a directory" in done.err[0]


def test_without_a_file_it_says_what_it_expects(run):
    done = run()
    assert (done.status, done.out) == (2, "")
    assert done.err == ["run_check: expected a FILE, - or --schema"]


def test_the_schema_is_that_of_the_reader(run):
    done = run("--schema")
    assert done.status == 0
    schema = json.loads(done.out)
    assert schema == checkfile.schema()
    Draft202012Validator(schema).validate(THROUGH)


def test_the_table_for_people(run, tmp_path):
    """Read: sums, signs and columns; the caution stands above every figure."""
    done = run(write(tmp_path, "a.json", THROUGH), "--table")
    assert done.status == 0
    assert_golden("run-check-table.txt", done.out)


def test_a_table_of_what_cannot_stand_says_so(run, tmp_path):
    gone = changed(THROUGH, ("members", 3), {"names": ["L1U1"], "absent": True})
    done = run(write(tmp_path, "a.json", gone), "--table")
    assert "As recorded it cannot stand. Joints that can move: " in done.out
    assert "L1U1    absent" in done.out
    assert "first limit" not in done.out


def test_a_table_says_where_stability_is_lost_and_of_a_chord(run, tmp_path):
    alone = changed(THROUGH, ("members", 3), {"names": ["L2U3"], "absent": True})
    done = run(write(tmp_path, "a.json", alone), "--table")
    assert "Stability is lost under" in done.out
    done = run(write(tmp_path, "b.json", PONY), "--table")
    assert "Upper chord buckles sideways at:" in done.out


def test_it_runs_without_a_database(tmp_path):
    """As a person runs it, with a database that cannot be opened."""
    nowhere = f"sqlite:///{tmp_path}/none/none.sqlite3"
    done = subprocess.run(
        [sys.executable, "manage.py", "run_check", "-"],
        cwd=ROOT,
        env=os.environ | {"DATABASE_URL": nowhere},
        input=json.dumps(OUTRIGHT).encode(),
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["stands"] is True
    wrong = subprocess.run(
        [sys.executable, "manage.py", "run_check", str(tmp_path / "none.json")],
        cwd=ROOT,
        capture_output=True,
        check=False,
    )
    assert (wrong.returncode, wrong.stdout) == (2, b"")
    assert wrong.stderr.count(b"\n") == 1
    assert b"Traceback" not in wrong.stderr
