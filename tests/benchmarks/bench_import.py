"""Bring in made-up federal files of two sizes: rows a second, faults found, memory.

    python tests/benchmarks/bench_import.py [--rows 10000 100000] [--layout fixed]

Each size runs in a process and a database of its own, SQLite beside this file's own
temporary folder or what ``DATABASE_URL`` names (which is emptied).
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, nargs="+", default=[10_000, 100_000])
    parser.add_argument("--layout", choices=["delimited", "fixed"], default="delimited")
    parser.add_argument("--each", type=int, default=20, help="faults of every kind")
    parser.add_argument("--bridges", type=int, default=2000, help="on record before")
    parser.add_argument("--new", action="store_true", help="make bridges of the rest")
    parser.add_argument("--one", type=int, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.one:
        print(json.dumps(run(asked.one, asked)))
        return
    figures = []
    for rows in asked.rows:
        with tempfile.TemporaryDirectory() as folder:
            more = {"SECOND_CROSSING_DATA": folder, "PYTHONPATH": str(ROOT)}
            command = [sys.executable, __file__, *sys.argv[1:], "--one", str(rows)]
            done = subprocess.run(
                command, env={**os.environ, **more}, capture_output=True, text=True
            )
            if done.returncode:
                sys.exit(done.stderr)
            figures.append(json.loads(done.stdout.splitlines()[-1]))
            tell(figures[-1])
    if len(figures) > 1:
        first, last = figures[0], figures[-1]
        print(
            f"memory at {last['rows']:,} rows over that at {first['rows']:,}: "
            f"{last['peak_mb'] / first['peak_mb']:.2f}"
        )


def tell(one):
    print(f"{one['rows']:,} rows, {one['layout']}, {one['vendor']}, {one['mb']:.1f} MB")
    print(
        f"  read   {one['read_s']:7.1f} s  {one['rows'] / one['read_s']:8,.0f} rows/s"
    )
    print(f"  taken  {one['take_s']:7.1f} s  outcomes {one['outcomes']}")
    print(f"  whole  {one['rows'] / (one['read_s'] + one['take_s']):8,.0f} rows/s")
    print(f"  a later vintage, read {one['later_s']:.1f} s, changed {one['changed']}")
    print(f"  peak memory {one['peak_mb']:.0f} MB, before {one['before_mb']:.0f} MB")
    kinds = one["kinds"]
    wrong = {code: pair for code, pair in kinds.items() if pair[0] != pair[1]}
    planted = sum(pair[0] for pair in kinds.values())
    found = sum(pair[1] for pair in kinds.values())
    print(
        f"  {len(kinds)} kinds of faults: planted {planted}, found {found}, off {wrong}"
    )
    for code, (put, seen) in sorted(kinds.items()):
        print(f"    {code:22}{put:6}{seen:6}")


def peak_mb():
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def run(rows, asked):
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shared.settings")
    import django

    django.setup()
    from django.core.management import call_command
    from django.db import connection

    from bridges import crowd
    from bridges.intake import reading, taking
    from bridges.models import Bridge, Import
    from tests import federal_files

    call_command("migrate", verbosity=0)
    call_command("flush", interactive=False, verbosity=0)
    crowd.make(asked.bridges)
    # Where the made-up crowd stands is sea: moved into the state of the made-up list.
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE bridges_bridge SET longitude = longitude * 0.86 - 43.4, "
            "latitude = 39.8 + (latitude - 37) * 0.42"
        )
        if connection.vendor == "sqlite":
            # The site's page cache of 64 MB fills with any work; not to be taken for
            # the reader's own memory.
            cursor.execute("PRAGMA cache_size=-4000")
    folder = Path(os.environ["SECOND_CROSSING_DATA"])
    path = folder / "made-up-2022.txt"
    planted = federal_files.write(path, asked.layout, rows, each=asked.each)
    before = peak_mb()
    unmatched = Import.Unmatched.NEW if asked.new else Import.Unmatched.KEEP
    of, read_s = timed(reading, path, unmatched)
    begun = time.perf_counter()
    taking.take(pk=of.pk)
    take_s = time.perf_counter() - begun
    found = of.report["faults"]
    peak = peak_mb()
    later = path.with_name("made-up-2023.txt")
    federal_files.write(later, asked.layout, rows, each=asked.each, closed=50)
    again, later_s = timed(reading, later, unmatched)
    return {
        "rows": of.row_count,
        "layout": asked.layout,
        "vendor": connection.vendor,
        "mb": path.stat().st_size / 1e6,
        "read_s": read_s,
        "take_s": take_s,
        "later_s": later_s,
        "changed": again.report["changed"],
        "outcomes": of.report["outcomes"],
        "bridges": Bridge.objects.count(),
        "before_mb": before,
        "peak_mb": peak,
        "kinds": {
            code: (planted.get(code, 0), found.get(code, 0))
            for code in {*planted, *found}
        },
    }


def timed(reading, path, unmatched):
    with path.open("rb") as file:
        of = reading.receive(file, name=path.name, unmatched=unmatched)
    begun = time.perf_counter()
    reading.read(pk=of.pk)
    of.refresh_from_db()
    return of, time.perf_counter() - begun


if __name__ == "__main__":
    main()
