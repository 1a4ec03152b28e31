"""Map, list, search and index, measured in one run on a crowd that is there already.

    manage.py make_crowd --bridges 100000       # in a database of its own
    python tests/benchmarks/bench_inventory.py  # with the same environment
    python tests/benchmarks/bench_inventory.py index pages  # or some parts of it

Prints medians, 95th percentiles and ratios. Load on the map comes from wrk, four
connections against two workers, beside a view that does nothing; everything else is
timed in this process through Django's own client.
"""

import os
import re
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
os.environ["DJANGO_SETTINGS_MODULE"] = "shared.settings"
PORT = 8397
SECONDS = 4
# A screen of 1024 by 640 pixels around the middle of the crowd.
MIDDLE = (39.5, -40.0)
FACETS = [
    "form=pratt&status=closed&decade=1880",
    "county=Aldershire&material=steel&span=100",
    "builder=works-3&plate=missing&repairs=some",
    "crossing=Alder+River&visited_since=2010&changed=deck",
    "deck=timber&listing=listed&certainty=certain",
    "connection=pin&deck_position=pony&panels=7",
    "as_of=1925&form=warren&county=Hazelshire",
    "ever_changed=chord&builder_certainty=certain&unvisited_since=2015",
]
WORDS = [
    "kestrel ford",
    "hazel mill",
    "c-4711",
    "aldershire willow",
    "kestrle",
    "jackdw",
]


def worked():
    """Return the processor seconds of this process and of its database's, if any."""
    from django.db import connection

    own = time.process_time()
    if connection.vendor != "postgresql" or connection.connection is None:
        return own
    try:
        pid = connection.connection.info.backend_pid
        ticks = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[11:13]
    except OSError:
        # The database is on another machine: its work is not known here.
        return own
    return own + sum(map(int, ticks)) / os.sysconf("SC_CLK_TCK")


def times(call, count=30):
    """Return (wall, processor) milliseconds of each call.

    The second tells the work itself where other programs share the machine; on
    PostgreSQL it counts the server's too, in steps of ten.
    """
    took = []
    for _ in range(count):
        start, own = time.perf_counter(), worked()
        call()
        wall = (time.perf_counter() - start) * 1000
        took.append((wall, (worked() - own) * 1000))
    return took


def told(words, took):
    """Print median and 95th percentile of both; return the median of processor time."""
    said = []
    for which in (0, 1):
        ordered = sorted(one[which] for one in took)
        last = ordered[max(int(len(ordered) * 0.95) - 1, 0)]
        said += [statistics.median(ordered), last]
    wall, wall_last, own, own_last = said
    print(
        f"  {words:44} {wall:9.2f} ms (p95 {wall_last:8.2f});"
        f" own {own:8.2f} ms (p95 {own_last:8.2f})",
        flush=True,
    )
    return own


def box_at(zoom):
    import math

    wide, tall = (px / 256 * 360 / 2**zoom for px in (1024, 640))
    tall *= math.cos(math.radians(MIDDLE[0]))
    west, east = MIDDLE[1] - wide / 2, MIDDLE[1] + wide / 2
    south, north = MIDDLE[0] - tall / 2, MIDDLE[0] + tall / 2
    edges = (max(west, -180), max(south, -85), min(east, 180), min(north, 85))
    return ",".join(f"{edge:.5f}" for edge in edges)


def index():
    from bridges import mapindex
    from bridges.models import Bridge, MapRow, MapVersion

    count = Bridge.objects.count()
    print(f"{count:,} bridges, {mapindex.connection.vendor}")

    def anew():
        mapindex._held = None
        mapindex.places_of(False)

    took = told("index made anew", times(anew, 3))
    print(f"    that is {took / count * 1e6:,.0f} ms of its own for a million")
    _of_index()
    some = MapRow.objects.order_by("pk").values_list("pk", flat=True)[count // 2]

    def mended():
        MapVersion.bump([some])
        mapindex.places_of(False)

    told("one bridge written, and the index mended", times(mended, 9))
    rows = mapindex.places_of(False).rows
    print(f"  arrays hold {rows.nbytes() / count:.1f} bytes a bridge")


def _of_index():
    """Measure what a worker's memory grows by, in a process of its own."""
    script = (
        "import django; django.setup()\n"
        "import gc, sys\n"
        "from bridges import mapindex\n"
        "from bridges.models import Bridge\n"
        "def kib():\n"
        "    for line in open('/proc/self/status'):\n"
        "        if line.startswith('VmRSS'): return int(line.split()[1])\n"
        "from bridges.packing import HAND, RECORD\n"
        "import numpy\n"
        "count = Bridge.objects.count(); list(Bridge.objects.all()[:500])\n"
        # What the first use of anything brings along is no bridge's doing.
        "from bridges import columns\n"
        "empty = columns.rows_of(numpy.zeros(0, RECORD), numpy.zeros(0, HAND))\n"
        "box = mapindex.Box(-43, 37, -37, 42, 7)\n"
        "mapindex.Places(empty, '', 0, is_members=False).view(box)\n"
        "mapindex.project(numpy.zeros(9), numpy.zeros(9))\n"
        "gc.collect(); before = kib()\n"
        "places = mapindex.places_of(False); gc.collect()\n"
        "print(f'{(kib() - before) * 1024 / count:.1f}')\n"
        "places.view(box); places.view(mapindex.Box(-40.01, 39.4, -40, 39.41, 14))\n"
        "for name in ('form', 'decade', 'county'): places.counts(name, ())\n"
        "gc.collect(); print(f'{(kib() - before) * 1024 / count:.1f}')\n"
        "places.page(places.mask(()), 'name', 0, 50); gc.collect()\n"
        "print(f'{(kib() - before) * 1024 / count:.1f}')\n"
    )
    made = subprocess.run(
        [sys.executable, "-c", script],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    grown, viewed, listed = made.stdout.split()
    print(
        f"  worker grew by {grown} bytes a bridge, {viewed} after views far and near,"
        f" {listed} with a list in order of names"
    )


def clusters():
    """Hold the index's clusters against the same by SQL, for speed and for equality."""
    from django.db import connection

    from bridges import mapindex

    places = mapindex.places_of(True)
    zoom = 7
    box = mapindex.Box(-43.2, 36.8, -36.8, 42.2, zoom)
    shift = mapindex.BITS - 2 - zoom
    with connection.cursor() as cursor:
        cursor.execute("CREATE TEMPORARY TABLE spots (x INTEGER, y INTEGER)")
        pairs = list(zip(places.x.tolist(), places.y.tolist(), strict=True))
        if connection.vendor == "postgresql":
            with cursor.copy("COPY spots (x, y) FROM STDIN") as copy:
                for pair in pairs:
                    copy.write_row(pair)
        else:
            cursor.executemany("INSERT INTO spots VALUES (%s, %s)", pairs)
        del pairs
        cursor.execute("CREATE INDEX spots_xy ON spots (x, y)")
        cursor.execute("ANALYZE")
        _, x0, y0, columns, rows = box.cells()
        sql = (
            f"SELECT x >> {shift}, y >> {shift}, COUNT(*), AVG(x), AVG(y) FROM spots "
            f"WHERE x BETWEEN {x0 << shift} AND {((x0 + columns) << shift) - 1} "
            f"AND y BETWEEN {y0 << shift} AND {((y0 + rows) << shift) - 1} GROUP BY 1, 2"
        )

        def by_sql():
            cursor.execute(sql)
            return cursor.fetchall()

        slow = told("region clusters by GROUP BY", times(by_sql, 5))
        found = by_sql()
        cursor.execute("DROP TABLE spots")

    _, ours, _ = places.view(box)

    def first():
        places._cells.clear()
        places.view(box)

    once = told("region clusters from memory, the first time", times(first, 7))
    after = told("region clusters from memory, the first after a write", _written(box))
    afar = told(
        "  the same, a bridge having moved, with mending the index",
        _written(box, is_moved=True, with_mending=True),
    )
    places = mapindex.places_of(True)
    fast = told(
        "region clusters from memory, asked again", times(lambda: places.view(box))
    )
    assert sorted(n for _, _, n in ours) == sorted(
        int(n) for _, _, n, *_ in found if n > 1
    )
    print(
        f"    {slow / once:,.0f} times as fast from nothing, {slow / after:,.0f} times "
        f"after a write ({slow / afar:,.0f} with the mending), {slow / fast:,.0f} times "
        "asked again"
    )


def _written(box, *, is_moved=False, with_mending=False):
    """Return the times of the first view after each of a few writes."""
    from bridges import mapindex
    from bridges.models import Bridge, MapVersion

    took = []
    for number in range(7):
        mapindex.places_of(True).view(box)
        bridge = Bridge.objects.order_by("pk")[50 + number]
        if is_moved:
            Bridge.objects.filter(pk=bridge.pk).update(
                latitude=float(bridge.latitude) + (-1) ** number * 0.2
            )
        MapVersion.bump([bridge.pk])
        if with_mending:
            took += times(lambda: mapindex.places_of(True).view(box), 1)
        else:
            places = mapindex.places_of(True)
            took += times(lambda places=places: places.view(box), 1)
    return took


def pages():
    from django.test import Client

    client = Client()
    client.get("/")
    told("list page, no filter", times(lambda: client.get("/"), 15))
    every, cold = [], []
    for query in FACETS:
        cold += times(lambda query=query: client.get(f"/?{query}"), 1)
        every += times(lambda query=query: client.get(f"/?{query}"), 5)
    told("list page, three facets, asked first", cold)
    told("list page, three facets, asked again", every)
    told(
        "API list, 100 of them",
        times(lambda: client.get("/api/bridges/?page_size=100"), 5),
    )


def words():
    from bridges import search

    for text in WORDS:

        def ask(text=text):
            return search.ids(text)

        found = len(ask())
        told(f"search “{text}”, {found:,} found", times(ask, 9))


def load():
    if shutil.which("wrk") is None:
        print("  wrk is not here: no load on the map")
        return
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    server = subprocess.Popen(
        [
            *(sys.executable, "-m", "gunicorn", "-w", "2", "--log-level", "error"),
            *("-b", f"127.0.0.1:{PORT}", "tests.benchmarks.noop_site"),
        ],
        cwd=ROOT,
        env=environment,
    )
    try:
        root = f"http://127.0.0.1:{PORT}"
        _wait(f"{root}/noop")
        for _ in range(8):
            subprocess.run(
                ["curl", "-s", "-o", "/dev/null", f"{root}{_map(7)}"], check=True
            )
        nothing = _wrk(f"{root}/noop")
        print(f"  no-op view: p95 {nothing[0]:.1f} ms, {nothing[1]:,.0f} a second")
        for zoom in (3, 5, 7, 9, 10, 11, 12, 13, 14, 16):
            took = _wrk(f"{root}{_map(zoom)}")
            print(
                f"  map at zoom {zoom:2}: p95 {took[0]:8.1f} ms, {took[1]:7,.0f} a second;"
                f" {took[0] / nothing[0]:.2f} times the no-op",
                flush=True,
            )
    finally:
        server.terminate()
        server.wait()


def _map(zoom):
    return f"/api/bridges/map/?bbox={box_at(zoom)}&zoom={zoom}"


def _wait(address):
    for _ in range(100):
        if subprocess.run(["curl", "-sf", "-o", "/dev/null", address]).returncode == 0:
            return
        time.sleep(0.3)
    raise SystemExit("The server did not come up.")


def _wrk(address):
    """Return (95th percentile in ms, answers a second)."""
    script = (
        "done = function(summary, latency, requests)\n"
        "  io.write(string.format('p95 %.3f failed %d\\n', "
        "latency:percentile(95) / 1000, summary.errors.status))\nend\n"
    )
    with tempfile.NamedTemporaryFile("w", suffix=".lua") as file:
        file.write(script)
        file.flush()
        made = subprocess.run(
            ["wrk", "-t2", "-c4", f"-d{SECONDS}s", "-s", file.name, address],
            capture_output=True,
            text=True,
            check=True,
        )
    p95, failed = re.search(r"p95 ([\d.]+) failed (\d+)", made.stdout).groups()
    assert failed == "0", made.stdout
    return float(p95), float(re.search(r"Requests/sec:\s+([\d.]+)", made.stdout)[1])


PARTS = {
    "index": index,
    "clusters": clusters,
    "pages": pages,
    "words": words,
    "load": load,
}


def main(chosen):
    import django

    django.setup()
    for name in chosen or PARTS:
        PARTS[name]()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"  most memory of this process {peak:,.0f} MB")


if __name__ == "__main__":
    main(sys.argv[1:])
