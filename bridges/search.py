"""Finding bridges by words, with some forgiveness for how they are spelt.

One way in for both databases: ``narrow`` for a queryset, and ``readings`` for what a
misspelt word was taken for. Each word must stand somewhere in the words of
a bridge, whole or in part. A word that stands nowhere is read as the words of the
record that are spelt nearly so: one letter off, or two in a long word.

SQLite keeps the words in an FTS5 table of trigrams, PostgreSQL under a pg_trgm index;
where neither can be had the same questions are answered by reading every row. The FTS
table follows ``SearchText`` by triggers, which ``install`` puts back after any
migration that remakes that table.

What would give a sensitive bridge away stands apart (``kept``), and a visitor's
question never looks there, not even for how a word is spelt.
"""

from __future__ import annotations

import re
import string
import unicodedata

from django.db import DatabaseError, connections, router, transaction
from django.db.models import Q
from django.db.models.expressions import RawSQL

from .derived import SearchText, SearchWord

MOST_WORDS = 8
# A trigram index knows of nothing shorter.
LEAST = 3
# From so many letters on a word may be one letter off, and two.
ONE_OFF, TWO_OFF = 4, 7
MOST_READINGS = 6
MOST_CANDIDATES = 80
MOST_BEGINNING = 400
CHUNK = 500
FTS = "bridges_searchtext_fts"
WORDS_FTS = "bridges_searchword_fts"
MARKS = str.maketrans({"'": "", "’": "", "‘": "", "ʼ": "", "\x00": " "})


def fold(text):
    """Return plain small letters: no accents, no apostrophes, single spaces."""
    plain = unicodedata.normalize("NFKD", str(text).translate(MARKS)).casefold()
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    return " ".join(plain.split())


def words_of(text):
    """Return the words of a question, folded; at most ``MOST_WORDS`` of them."""
    return fold(text).split()[:MOST_WORDS]


# -- writing


def write(ids=None):
    """Write the words of these bridges; None writes those of all."""
    from .models import Bridge

    if ids is None:
        ids = list(Bridge.objects.order_by("pk").values_list("pk", flat=True))
    for start in range(0, len(ids), CHUNK):
        _write(ids[start : start + CHUNK])


def _write(ids):
    from .models import Attribution, Bridge, LifeEvent, Plate

    told, kept = {}, {}
    bridges = list(Bridge.objects.filter(pk__in=ids))
    notes = dict(
        SearchText.objects.filter(bridge__in=ids).values_list("bridge_id", "notes")
    )
    for bridge in bridges:
        hides = bridge.is_position_sensitive
        told[bridge.pk] = [
            bridge.name,
            bridge.also_known_as,
            bridge.number,
            bridge.county,
            bridge.town,
            bridge.summary,
        ]
        kept[bridge.pk] = [bridge.access_notes]
        aside = kept if hides else told
        aside[bridge.pk] += [bridge.road, bridge.crossing, notes.get(bridge.pk, "")]
    for model, path in (
        (Attribution, "builder__name"),
        (Attribution, "builder__names__name"),
        (Plate, "transcription"),
        (LifeEvent, "text"),
    ):
        rows = model.objects.filter(bridge__in=ids).order_by("pk")
        for pk, text in rows.values_list("bridge_id", path):
            told[pk].append(text or "")
    rows = [
        SearchText(
            bridge_id=bridge.pk,
            told=fold(" ".join(told[bridge.pk])),
            kept=fold(" ".join(kept[bridge.pk])),
        )
        for bridge in bridges
    ]
    SearchText.objects.bulk_create(
        rows,
        update_conflicts=True,
        unique_fields=["bridge"],
        update_fields=["told", "kept"],
        batch_size=200,
    )
    open_words = {word for row in rows for word in _vocabulary(row.told)}
    other_words = {word for row in rows for word in _vocabulary(row.kept)} - open_words
    SearchWord.objects.bulk_create(
        [SearchWord(word=word, is_told=True) for word in sorted(open_words)],
        update_conflicts=True,
        unique_fields=["word"],
        update_fields=["is_told"],
        batch_size=300,
    )
    SearchWord.objects.bulk_create(
        [SearchWord(word=word) for word in sorted(other_words)],
        ignore_conflicts=True,
        batch_size=300,
    )


def write_notes(bridge_id, text):
    """Keep what visits say of a bridge among its words; ``write`` puts it in place."""
    SearchText.objects.update_or_create(bridge_id=bridge_id, defaults={"notes": text})


WORD = re.compile(r"[^\W\d_]{3,40}")


def _vocabulary(text):
    """Words of letters only: a number misspelt is another number."""
    return set(WORD.findall(text))


# -- asking


def narrow(queryset, text, *, is_members=False):
    """Return the bridges of a queryset that hold every word of a question."""
    asked = _spellings(text, is_members)
    if asked is None:
        return queryset
    if not asked:
        return queryset.none()
    if _has_fts(queryset.db):
        return queryset.filter(pk__in=_fts(asked, is_members))
    return queryset.filter(pk__in=_rows(asked, is_members).values("bridge"))


def ids(text, *, is_members=False):
    """Return the ids of the bridges that ``narrow`` would leave; None for all.

    Read from the index alone, without looking each of them up among the bridges.
    """
    asked = _spellings(text, is_members)
    if not asked:
        return asked
    using = router.db_for_read(SearchText)
    if not _has_fts(using):
        return list(_rows(asked, is_members).values_list("bridge_id", flat=True))
    found = _fts(asked, is_members)
    with connections[using].cursor() as cursor:
        cursor.execute(found.sql, found.params)
        return [row[0] for row in cursor.fetchall()]


def _spellings(text, is_members):
    """Return the spellings looked for of each word; [] for nothing, None for all."""
    words = words_of(text)
    if not words:
        # Only marks that the record's words do not hold, such as an apostrophe.
        return [] if str(text).strip() else None
    taken = readings(text, is_members=is_members)
    if not all(taken.values()):
        return []
    return [taken.get(word) or [word] for word in words]


def _rows(asked, is_members):
    found = SearchText.objects.all()
    for spellings in asked:
        found = found.filter(_holds(spellings, is_members))
    return found


def _holds(spellings, is_members):
    columns = ("told", "kept") if is_members else ("told",)
    found = Q()
    for spelling in spellings:
        for column in columns:
            found |= Q(**{f"{column}__contains": spelling})
    return found


def _fts(asked, is_members):
    """Return the query of ids that the trigram table answers."""
    clauses, sql, params = [], [], []
    for spellings in asked:
        long = [one for one in spellings if len(one) >= LEAST]
        if len(long) == len(spellings):
            clauses.append("(" + " OR ".join(_phrase(one) for one in long) + ")")
        else:
            column = "told || ' ' || kept" if is_members else "told"
            like = " OR ".join(f"instr({column}, %s) > 0" for _ in spellings)
            sql.append(
                f"SELECT bridge_id AS rowid FROM bridges_searchtext WHERE {like}"
            )
            params += spellings
    if clauses:
        where = " AND ".join(clauses)
        match = where if is_members else f"{{told}} : ({where})"
        sql.insert(0, f"SELECT rowid FROM {FTS} WHERE {FTS} MATCH %s")
        params.insert(0, match)
    return RawSQL(" INTERSECT ".join(sql), params)


def _phrase(word):
    doubled = word.replace('"', '""')
    return f'"{doubled}"'


def readings(text, *, is_members=False):
    """Return {word: spellings taken for it} of words that stand nowhere as written.

    An empty list is a word for which nothing near was found.
    """
    found = {}
    for word in words_of(text):
        if word not in found and not _stands(word, is_members):
            found[word] = _near(word, is_members)
    return found


def _stands(word, is_members):
    using = router.db_for_read(SearchText)
    connection = connections[using]
    if _has_fts(using) and len(word) >= LEAST:
        match = _phrase(word) if is_members else f"{{told}} : {_phrase(word)}"
        with connection.cursor() as cursor:
            cursor.execute(f"SELECT 1 FROM {FTS} WHERE {FTS} MATCH %s LIMIT 1", [match])
            return cursor.fetchone() is not None
    return SearchText.objects.filter(_holds([word], is_members)).exists()


def _near(word, is_members):
    if len(word) < ONE_OFF or not word.isalpha():
        return []
    known = (
        SearchWord.objects.all()
        if is_members
        else SearchWord.objects.filter(is_told=True)
    )
    one_off = known.filter(word__in=_one_off(word)).order_by("word")
    found = list(one_off.values_list("word", flat=True)[:MOST_READINGS])
    if found or len(word) < TWO_OFF:
        return found
    scored = sorted(
        (distance(word, other), other) for other in _candidates(word, is_members)
    )
    return [other for away, other in scored if away <= 2][:MOST_READINGS]


def _one_off(word):
    """Return all that one letter dropped, added, changed or swapped makes of a word."""
    halves = [(word[:i], word[i:]) for i in range(len(word) + 1)]
    letters = string.ascii_lowercase
    made = {a + b[1:] for a, b in halves if b}
    made |= {a + b[1] + b[0] + b[2:] for a, b in halves if len(b) > 1}
    made |= {a + c + b[1:] for a, b in halves if b for c in letters}
    made |= {a + c + b for a, b in halves for c in letters}
    return made - {word}


def _candidates(word, is_members):
    """Return words that share letters in threes with one: likely to be near it."""
    using = router.db_for_read(SearchWord)
    told = "" if is_members else "AND w.is_told"
    length = "length(w.word) BETWEEN %s AND %s"
    bounds = [len(word) - 2, len(word) + 2]
    connection = connections[using]
    if _has_fts(using):
        threes = {word[i : i + 3] for i in range(len(word) - 2)}
        match = " OR ".join(_phrase(three) for three in sorted(threes))
        sql = (
            f"SELECT w.word FROM {WORDS_FTS} f JOIN bridges_searchword w "
            f"ON w.id = f.rowid WHERE {WORDS_FTS} MATCH %s AND {length} {told} "
            f"ORDER BY f.rank LIMIT {MOST_CANDIDATES}"
        )
        params = [match, *bounds]
    elif connection.vendor == "postgresql" and _has_trgm(connection):
        sql = (
            f"SELECT w.word FROM bridges_searchword w WHERE w.word %% %s AND {length} "
            f"{told} ORDER BY similarity(w.word, %s) DESC LIMIT {MOST_CANDIDATES}"
        )
        params = [word, *bounds, word]
    else:
        sql = f"SELECT w.word FROM bridges_searchword w WHERE {length} {told}"
        params = bounds
    # Two letters swapped early leave no three in common; most people get the first
    # two right.
    begin = (
        f"SELECT w.word FROM bridges_searchword w WHERE w.word LIKE %s AND {length} "
        f"{told} LIMIT {MOST_BEGINNING}"
    )
    with connection.cursor() as cursor:
        cursor.execute(sql, params)
        found = {row[0] for row in cursor.fetchall()}
        cursor.execute(begin, [f"{word[:2]}%", *bounds])
        return found | {row[0] for row in cursor.fetchall()}


def distance(one, other):
    """Return how many letters dropped, added, changed or swapped with the next.

    Optimal string alignment (the restricted Damerau–Levenshtein distance).
    """
    before, last = None, list(range(len(other) + 1))
    for i, a in enumerate(one, 1):
        row = [i]
        for j, b in enumerate(other, 1):
            cost = min(last[j] + 1, row[j - 1] + 1, last[j - 1] + (a != b))
            if i > 1 and j > 1 and a == other[j - 2] and one[i - 2] == b:
                cost = min(cost, before[j - 2] + 1)
            row.append(cost)
        before, last = last, row
    return last[-1]


# -- the tables behind it

_known: dict[str, bool] = {}


def _has_fts(using):
    connection = connections[using]
    if connection.vendor != "sqlite":
        return False
    key = str(connection.settings_dict["NAME"])
    if key not in _known:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1 FROM sqlite_master WHERE name = %s", [FTS])
            _known[key] = cursor.fetchone() is not None
    return _known[key]


def _has_trgm(connection):
    key = f"trgm {connection.settings_dict['NAME']}"
    if key not in _known:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1 FROM pg_extension WHERE extname = 'pg_trgm'")
            _known[key] = cursor.fetchone() is not None
    return _known[key]


def install(using):
    """Make the index that this database can have, and leave what is there already.

    Says nothing where a database can have none: then every row is read.
    """
    connection = connections[using]
    tables = connection.introspection.table_names()
    if SearchText._meta.db_table not in tables:
        return
    makers = {"sqlite": _install_fts, "postgresql": _install_trgm}
    maker = makers.get(connection.vendor)
    _known.clear()
    if maker is None:
        return
    try:
        with transaction.atomic(using=using):
            maker(connection)
    except DatabaseError:
        # No FTS5 in this SQLite, or nobody may make an extension here.
        return
    finally:
        _known.clear()


def _install_fts(connection):
    tables = (
        ("bridges_searchtext", FTS, "bridge_id", ("told", "kept")),
        ("bridges_searchword", WORDS_FTS, "id", ("word",)),
    )
    with connection.cursor() as cursor:
        for table, fts, key, columns in tables:
            names = ", ".join(columns)
            cursor.execute("SELECT 1 FROM sqlite_master WHERE name = %s", [fts])
            is_new = cursor.fetchone() is None
            cursor.execute(
                f"CREATE VIRTUAL TABLE IF NOT EXISTS {fts} USING fts5({names}, "
                f"content='{table}', content_rowid='{key}', tokenize='trigram')"
            )
            was = ", ".join(f"old.{name}" for name in columns)
            now = ", ".join(f"new.{name}" for name in columns)
            drop = (
                f"INSERT INTO {fts}({fts}, rowid, {names}) "
                f"VALUES ('delete', old.{key}, {was});"
            )
            add = f"INSERT INTO {fts}(rowid, {names}) VALUES (new.{key}, {now});"
            # Only where a word changed: a note kept aside moves nothing.
            moved = " OR ".join(f"old.{name} IS NOT new.{name}" for name in columns)
            for event, when, body in (
                ("INSERT", "", add),
                ("DELETE", "", drop),
                ("UPDATE", f"WHEN {moved}", drop + add),
            ):
                cursor.execute(
                    f"CREATE TRIGGER IF NOT EXISTS {fts}_{event.lower()} "
                    f"AFTER {event} ON {table} {when} BEGIN {body} END"
                )
            if is_new:
                cursor.execute(f"INSERT INTO {fts}({fts}) VALUES ('rebuild')")


def _install_trgm(connection):
    with connection.cursor() as cursor:
        cursor.execute("CREATE EXTENSION IF NOT EXISTS pg_trgm")
        for table, column in (
            ("bridges_searchtext", "told"),
            ("bridges_searchtext", "kept"),
            ("bridges_searchword", "word"),
        ):
            cursor.execute(
                f"CREATE INDEX IF NOT EXISTS {table}_{column}_trgm ON {table} "
                f"USING gin ({column} gin_trgm_ops)"
            )
