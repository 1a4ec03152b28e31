"""The rooms are kept: what imports what, and what pages may hold."""

import ast
import re
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
ROOMS = ("shared", "bridges", "surveys", "analysis")
TEMPLATES = sorted((ROOT / "templates").rglob("*.*"))
MODULES = sorted(
    path for room in ROOMS for path in (ROOT / room).glob("static/**/*.js")
)
NUMBERS = {"numpy", "scipy"}


def imported(path):
    """Yield the top-level name of everything a Python file imports from outside."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name.split(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            if node.level == 0:
                yield node.module.split(".")[0]
            elif len(path.relative_to(ROOT / "analysis" / "engine").parts) < node.level:
                yield f"what lies above the engine ({node.module})"


def test_the_engine_imports_the_standard_library_numpy_and_scipy_only():
    files = sorted((ROOT / "analysis" / "engine").rglob("*.py"))
    assert len(files) > 3
    allowed = NUMBERS | set(sys.stdlib_module_names)
    strangers = {
        (path.name, name)
        for path in files
        for name in imported(path)
        if name not in allowed
    }
    assert not strangers


def test_no_room_is_imported_by_one_below_it_even_inside_a_function():
    below = {room: ROOMS[: ROOMS.index(room)] for room in ROOMS}
    upward = [
        (str(path.relative_to(ROOT)), name)
        for room in ROOMS
        for path in sorted((ROOT / room).rglob("*.py"))
        if "engine" not in path.parts
        for name in imported_absolutely(path)
        if name in ROOMS and name != room and name not in below[room]
    ]
    assert not upward


def imported_absolutely(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name.split(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            yield node.module.split(".")[0]


def tag_libraries():
    """Return {library name: room} of the project's own template tags."""
    return {
        path.stem: room
        for room in ROOMS
        for path in (ROOT / room).glob("templatetags/*.py")
        if path.stem != "__init__"
    }


def test_no_template_of_a_lower_room_uses_tags_or_partials_of_a_higher():
    libraries = tag_libraries()
    upward = []
    for path in TEMPLATES:
        room = path.relative_to(ROOT / "templates").parts[0]
        if room not in ROOMS:
            continue
        text = path.read_text(encoding="utf-8")
        loaded = " ".join(re.findall(r"{%\s*load\s+([^%]+)%}", text)).split()
        used = [libraries[name] for name in loaded if name in libraries]
        used += [
            name.split("/")[0]
            for name in re.findall(r"{%\s*(?:include|extends)\s+[\"']([^\"']+)", text)
            if name.split("/")[0] in ROOMS
        ]
        upward += [
            (str(path.relative_to(ROOT)), other)
            for other in used
            if ROOMS.index(other) > ROOMS.index(room)
        ]
    assert not upward


def without_comments(text):
    text = re.sub(r"{#.*?#}", "", text)
    return re.sub(r"{%\s*comment.*?endcomment\s*%}", "", text, flags=re.DOTALL)


INLINE = {
    "an inline script": re.compile(
        r"<script(?![^>]*\bsrc=)(?![^>]*type=[\"']application/(?:ld\+)?json)", re.I
    ),
    "a style element": re.compile(r"<style\b", re.I),
    "a style attribute": re.compile(r"<[^>]*\sstyle\s*=", re.I),
    "a script in an attribute": re.compile(r"<[^>]*\son[a-z]+\s*=\s*[\"']", re.I),
    "a javascript: address": re.compile(r"[\"']\s*javascript:", re.I),
}


@pytest.mark.parametrize("fault", INLINE)
def test_no_page_needs_more_than_the_strict_policy_allows(fault):
    """PDF templates are pages of no browser, and name themselves so."""
    pages = [path for path in TEMPLATES if "pdf" not in path.as_posix()]
    assert pages
    found = [
        str(path.relative_to(ROOT))
        for path in pages
        if INLINE[fault].search(without_comments(path.read_text(encoding="utf-8")))
    ]
    assert not found


@pytest.mark.parametrize(
    "fault, text",
    [
        ("an inline script", "<script>go()</script>"),
        ("a style element", "<style>p{}</style>"),
        ("a style attribute", '<p class="a" style="color: red">'),
        ("a script in an attribute", '<button onclick="go()">'),
        ("a javascript: address", '<a href="javascript:go()">'),
    ],
)
def test_the_search_for_what_the_policy_refuses_finds_it(fault, text):
    assert INLINE[fault].search(text)


IMPORT = re.compile(
    r"^\s*(?:import|export)\b(?:(?!\b(?:function|const|class|let|async)\b)[^;\"'])*"
    r"[\"'][^\"']+[\"'](?P<end>.?)",
    re.MULTILINE,
)


def test_every_import_of_a_module_ends_with_a_semicolon():
    """Without it Django leaves the name unhashed and a phone may mix two releases."""
    open_ended = [
        (str(path.relative_to(ROOT)), match[0].strip())
        for path in MODULES
        for match in IMPORT.finditer(path.read_text(encoding="utf-8"))
        if match["end"] != ";"
    ]
    assert not open_ended


def test_the_search_for_imports_sees_one_without_its_semicolon():
    ends = [
        match["end"]
        for match in IMPORT.finditer(
            'import { a,\n  b } from "./a.js"\nimport "./b.js";'
        )
    ]
    assert ends == ["", ";"]


def test_every_test_that_a_docstring_leads_to_is_there():
    tests = {path.name for path in ROOT.glob("tests/**/test_*.py")}
    for path in ROOT.glob("analysis/engine/**/*.py"):
        named = set(re.findall(r"\btest_[a-z0-9_]+\.py", path.read_text()))
        assert named <= tests, (path.name, named - tests)


def test_nothing_stands_at_the_top_but_what_is_agreed():
    agreed = {
        *ROOMS,
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "manage.py",
        "templates",
        "tests",
        "fixtures",
    }
    visible = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert visible - {"test-results"} <= agreed
