"""Time a recheck of everything on SQLite. Run by hand, bridges and processes:

    OPENBLAS_NUM_THREADS=1 python tests/benchmarks/bench_recheck.py 320 2

Makes that many bridges in a database of its own, each with two truss lines described
member by member at a first visit and three visits after it: a new deck, heavier counters
(a lone line of them on every third bridge), metal added to one chord member. Panels,
their length and the depth differ from bridge to bridge, so hardly any share a check. Then
everything is computed (new), asked again (nothing to do) and computed anew with the
engine's version changed, and what 5,000 bridges would take is worked out.
"""

# ruff: noqa: E402
import cProfile
import os
import pstats
import resource
import sys
import tempfile
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ["SECOND_CROSSING_DATA"] = tempfile.mkdtemp(prefix="recheck-")
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shared.settings")
os.environ.pop("DATABASE_URL", None)
sys.path.insert(0, str(Path(__file__).parents[2]))

import django

django.setup()

from django.core.management import call_command
from django.db import transaction

from analysis.models import Check, ConfigurationCheck, Effect
from analysis.processes import recheck_in_processes
from analysis.recheck import Counts
from bridges.models import Bridge
from tests.structures import (
    EYEBARS,
    GRID,
    PANS,
    ROD,
    make_described_bridge,
    make_visit_saying,
)

WANTED_S, WANTED_BRIDGES = 60.0, 5_000
PROCESSES = 1


def make(count):
    """Make bridges of differing shape, each of four configurations."""
    for number in range(count):
        panels = 5 + number % 3
        bridge = make_described_bridge(
            name=f"Bench {number}",
            slug=f"bench-{number}",
            span={
                "panels": panels,
                "panel_length_ft": 14.0 + number % 7 + number / 1e4,
                "depth_ft": 18.0 + number % 5,
                "crossed_panels": list(range(2, panels)),
            },
        )
        added = {**EYEBARS, "width_in": 2.5, "origin": "addition"}
        rod = {**ROD, "diameter_in": 1.75, "origin": "replacement"}
        lines = ("upstream",) if number % 3 == 0 else ("upstream", "downstream")
        counters = {
            f"span-1/{line}/{name}": {"components": [rod]}
            for line in lines
            for name in ("L2U3", "L3U2")
        }
        make_visit_saying(bridge, 2001, changed={"span-1/deck": PANS})
        make_visit_saying(bridge, 2009, changed={"span-1/deck": GRID} | counters)
        chord = {"span-1/upstream/L2L3": {"components": [EYEBARS, added]}}
        make_visit_saying(bridge, 2019, changed=chord)


def timed(what, count, profile=False):
    counts = Counts()
    profiler = cProfile.Profile() if profile else None
    start, wall = cpu_s(), time.perf_counter()
    if profiler:
        profiler.enable()
    ids = list(Bridge.objects.order_by("pk").values_list("pk", flat=True))
    for one in recheck_in_processes(ids, PROCESSES):
        counts.add(one)
    if profiler:
        profiler.disable()
        pstats.Stats(profiler).sort_stats("cumtime").print_stats(60)
    took, wall = cpu_s() - start, time.perf_counter() - wall
    whole = (took if PROCESSES == 1 else wall) / count * WANTED_BRIDGES
    print(
        f"{what:<23}{1e3 * took / count:7.2f} ms of processors and "
        f"{1e3 * wall / count:6.2f} ms by the clock a bridge; 5,000 bridges "
        f"{whole:4.0f} s ({WANTED_S:.0f} s); {counts.checks_new} checks and "
        f"{counts.effects_new} effects new, {counts.checks_kept} and "
        f"{counts.effects_kept} kept",
        flush=True,
    )
    assert counts.bridges == count


def cpu_s():
    """Time of this process and of those that it started and that have ended."""
    others = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.process_time() + others.ru_utime + others.ru_stime


def main():
    global PROCESSES
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    PROCESSES = int(sys.argv[2]) if sys.argv[2:3] and sys.argv[2].isdigit() else 1
    call_command("migrate", verbosity=0)
    start = time.perf_counter()
    with transaction.atomic():
        make(count)
    print(f"made {count} bridges in {time.perf_counter() - start:.0f} s")
    timed("all new", count, profile="profile" in sys.argv)
    timed("nothing to do", count, profile="again" in sys.argv)
    for model in (ConfigurationCheck, Effect, Check):
        model.objects.all().update(
            **({"engine": "0"} if model is not ConfigurationCheck else {"gap": ""})
        )
    timed("the engine has changed", count)


if __name__ == "__main__":
    main()
