"""How long the map, the list and their counts take, by number of bridges.

Run by hand, with as many bridges as one likes, in a database made for it alone:

    python tests/benchmarks/bench_map.py 5000 100000
"""

import datetime
import os
import random
import resource
import statistics
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
VIEWS = [
    ("region", "-41,39,-39,41", 7),
    ("county", "-40.3,39.7,-39.9,40.0", 10),
    ("town", "-40.05,39.83,-39.97,39.87", 13),
]
FILTERS = [
    ("no filter", ""),
    ("form", "form=warren"),
    ("form, decade, changed", "form=warren&decade=1880&changed=deck&changed_within=5"),
    ("words", "q=mill+alder"),
]


MADE_ONE_BY_ONE = 10_000


def crowd(count):
    """Make bridges with standings; the many beyond the first are copied by SQL."""
    _make(min(count, MADE_ONE_BY_ONE))
    for start in range(MADE_ONE_BY_ONE, count, MADE_ONE_BY_ONE):
        _copy(start)


def _copy(start):
    """Copy the first bridges, some hundred metres on, under numbers of their own."""
    from django.db import connection

    from bridges.models import Bridge, Standing

    turns = start // MADE_ONE_BY_ONE
    changed = {
        "id": f"id + {start}",
        "bridge_id": f"bridge_id + {start}",
        "slug": f"slug || '-{turns}'",
        "number": f"number || '-{turns}'",
        "latitude": f"latitude + {turns} * 0.00171",
        "longitude": f"longitude + {turns} * 0.00093",
    }
    with connection.cursor() as cursor:
        for model, key in ((Bridge, "id"), (Standing, "bridge_id")):
            names = [one.column for one in model._meta.concrete_fields]
            values = ", ".join(changed.get(name, name) for name in names)
            cursor.execute(
                f"INSERT INTO {model._meta.db_table} ({', '.join(names)}) "
                f"SELECT {values} FROM {model._meta.db_table} "
                f"WHERE {key} <= {MADE_ONE_BY_ONE}"
            )


def _make(count):
    from bridges.models import Bridge, Form, MapVersion, Standing, family_of

    chance = random.Random(7)
    forms, statuses = list(Form), list(Bridge.Status)
    builts = [("1889", 1889, 1889), ("188X", 1880, 1889), ("1911", 1911, 1911)]
    day = datetime.date
    for start in range(0, count, 1000):
        bridges = []
        for n in range(start, min(start + 1000, count)):
            text, first, last = chance.choice(builts)
            bridges.append(
                Bridge(
                    name=f"{chance.choice(['Mill', 'Weir', 'Ferry'])} Bridge {n}",
                    slug=f"crowd-{n}",
                    number=f"C-{n}",
                    county=chance.choice(["Alder", "Sallow", "Maunder"]),
                    road="Mill Road",
                    crossing="Alder River",
                    latitude=round(39.3 + chance.random() * 0.9, 6),
                    longitude=round(-40.7 + chance.random() * 1.3, 6),
                    status=chance.choice(statuses),
                    built=text,
                    built_earliest=day(first, 1, 1),
                    built_latest=day(last, 12, 31),
                    is_position_sensitive=n % 50 == 0,
                    is_public=n % 40 != 0,
                )
            )
        Bridge.objects.bulk_create(bridges)
        standings = []
        for bridge in bridges:
            form = chance.choice(forms)
            standings.append(
                Standing(
                    bridge=bridge,
                    form=form,
                    family=family_of(form),
                    deck=chance.choice(["timber", "steel-grid", "concrete"]),
                    longest_span_ft=chance.uniform(20, 300),
                    last_changed=day(chance.randint(1990, 2026), 5, 1),
                    changed_parts=chance.choice([",deck,", ",deck,counter,", ""]),
                )
            )
        Standing.objects.bulk_create(standings)
    MapVersion.bump()


def milliseconds(call, times=9):
    took = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        took.append((time.perf_counter() - start) * 1000)
    return statistics.median(took)


def measure(count):
    from django.test import Client

    from bridges import mapindex
    from bridges.models import MapVersion

    crowd(count)
    client = Client()

    def rebuild():
        MapVersion.bump()
        mapindex.places_for(None)

    print(f"\n{count:,} bridges")
    print(f"  index made anew          {milliseconds(rebuild, 3):9.1f} ms")
    for name, bbox, zoom in VIEWS:
        for words, query in FILTERS:
            address = f"/api/bridges/map/?bbox={bbox}&zoom={zoom}&{query}"
            start = time.perf_counter()
            body = client.get(address).content
            first = (time.perf_counter() - start) * 1000
            took = milliseconds(lambda address=address: client.get(address))
            print(
                f"  map, {name:7} {words:22} {took:8.1f} ms"
                f"  (first {first:7.1f}), {len(body):7,} bytes"
            )
    for words, query in FILTERS:
        took = milliseconds(lambda query=query: client.get(f"/?{query}"), 5)
        print(f"  page, {words:30} {took:8.1f} ms")
    took = milliseconds(lambda: client.get("/api/bridges/?page_size=100"), 5)
    print(f"  API list, 100 of them                {took:8.1f} ms")
    start = time.perf_counter()
    size = sum(map(len, client.get("/export/bridges.csv").streaming_content))
    took = (time.perf_counter() - start) * 1000
    print(f"  CSV of all                           {took:8.0f} ms, {size:,} bytes")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"  most memory so far                   {peak:8.0f} MB")


def main(counts):
    sys.path.insert(0, str(ROOT))
    for count in counts:
        with tempfile.TemporaryDirectory() as folder:
            # A process for each: the settings read the folder once.
            pid = os.fork()
            if pid:
                os.waitpid(pid, 0)
                continue
            os.environ["SECOND_CROSSING_DATA"] = folder
            os.environ.pop("DATABASE_URL", None)
            os.environ["DJANGO_SETTINGS_MODULE"] = "shared.settings"
            import django
            from django.core.management import call_command

            django.setup()
            call_command("migrate", verbosity=0)
            measure(count)
            os._exit(0)


if __name__ == "__main__":
    main([int(text) for text in sys.argv[1:]] or [5_000, 100_000])
