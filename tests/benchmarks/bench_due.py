"""How long the due list, a drive and field sheets take, by number of bridges.

Run by hand, in a database made for it alone:

    python tests/benchmarks/bench_due.py 50 500 5000
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
ELEMENTS, VISITS = 40, 4
TODAY = datetime.date(2026, 1, 15)


def society(count):
    """Make bridges with 40 elements, four accepted visits each and two viewpoints."""
    from bridges.models import Bridge, Standing
    from shared.models import Person
    from surveys.models import Element, Observation, Viewpoint, Visit

    chance = random.Random(1)
    person, _ = Person.objects.get_or_create(username="ada")
    start = Bridge.objects.count()
    bridges = Bridge.objects.bulk_create(
        Bridge(
            name=f"Bridge {n}",
            slug=f"bridge-{n}",
            number=f"B-{n}",
            county=f"County {n % 9}",
            latitude=40 + chance.random() * 3,
            longitude=-78 + chance.random() * 4,
        )
        for n in range(start, count)
    )
    kinds = list(Element.Kind.values)
    for chunk in range(0, len(bridges), 500):
        some = bridges[chunk : chunk + 500]
        Standing.objects.bulk_create(
            Standing(bridge=one, last_visited=datetime.date(2021, 6, 1)) for one in some
        )
        elements = Element.objects.bulk_create(
            Element(
                bridge=one,
                kind=kinds[2 + at % (len(kinds) - 2)],
                path=f"e-{at}",
                name=f"part {at}",
                position=at,
            )
            for one in some
            for at in range(ELEMENTS)
        )
        Viewpoint.objects.bulk_create(
            Viewpoint(bridge=one, name=name, is_mandatory=True)
            for one in some
            for name in ("Portal", "Upstream")
        )
        visits = Visit.objects.bulk_create(
            Visit(
                bridge=one,
                surveyor=person,
                when=f"{1990 + 10 * at}-06-01",
                when_earliest=datetime.date(1990 + 10 * at, 6, 1),
                when_latest=datetime.date(1990 + 10 * at, 6, 1),
                status="accepted",
            )
            for one in some
            for at in range(VISITS)
        )
        Observation.objects.bulk_create(
            (
                Observation(
                    visit=visit,
                    element=element,
                    answer="not-seen" if chance.random() < 0.1 else "same",
                    reason="leaves",
                )
                for at, visit in enumerate(visits)
                for element in elements[
                    at // VISITS * ELEMENTS : at // VISITS * ELEMENTS + 30
                ]
            ),
            batch_size=5_000,
        )


def median_ms(call, times=5):
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        call()
        taken.append((time.perf_counter() - began) * 1000)
    return statistics.median(taken)


def measure(count):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from analysis import drive, field_sheet
    from analysis.due import due, fill
    from bridges.models import Bridge

    society(count)
    bridges = Bridge.objects.all()

    def page(bridges):
        return fill(due(bridges, TODAY, (41.0, -77.0), filled=False)[:25])

    began = time.perf_counter()
    page(bridges)
    first = (time.perf_counter() - began) * 1000
    with CaptureQueriesContext(connection) as seen:
        rows = page(bridges)
    listed = median_ms(lambda: page(bridges))
    county = median_ms(lambda: page(bridges.filter(county="County 1")))
    places = [
        (float(row.bridge.latitude), float(row.bridge.longitude)) for row in rows[:25]
    ]
    ordered = median_ms(lambda: drive.ordered(places), 3)
    sheets = median_ms(
        lambda: field_sheet.sheets([row.bridge for row in rows[:25]], TODAY), 3
    )
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{count:>6} bridges: due {listed:7.0f} ms in {len(seen)} queries "
        f"(the first reader after a change {first:6.0f} ms), one county "
        f"of nine {county:6.0f} ms; drive of 25 {ordered:5.0f} ms; "
        f"25 sheets {sheets:5.0f} ms; peak {peak:.0f} MB",
        flush=True,
    )


def main(counts):
    sys.path.insert(0, str(ROOT))
    with tempfile.TemporaryDirectory() as folder:
        os.environ["SECOND_CROSSING_DATA"] = folder
        os.environ["DJANGO_SETTINGS_MODULE"] = "shared.settings"
        import django
        from django.core.management import call_command

        django.setup()
        call_command("migrate", verbosity=0)
        for count in counts:
            measure(count)


if __name__ == "__main__":
    main(sorted(int(word) for word in sys.argv[1:]) or [50, 500])
