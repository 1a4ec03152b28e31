"""Time the engine beside a peer. Run by hand, on an idle machine:

    OPENBLAS_NUM_THREADS=1 python tests/benchmarks/bench_engine.py

W1 is one configuration of a seven-panel Pratt with counters in three panels under HS20
both ways; W2 is 1,000 of them and W3 10,000, every area +-40 %, 10 to 70 % lost on three
members each. Figures are medians of process time. On a shared machine only ratios within
one run mean anything, so the peer takes its turns between the engine's. The peer is
OpenSeesPy (extra ``bench``; its wheel needs the libraries libblas3 and liblapack3), one
model per geometry, its own tension-only material, areas as parameters, 1-ft steps or the
places where an axle stands on a joint, every bar's force read at every step. Neither is
asked where a peak occurs. Without it the ratios are left out. What each line should come
to stands beside it.
"""

import dataclasses
import json
import os
import statistics
import subprocess
import sys
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[2]))

import numpy as np
import scipy.linalg

from analysis.engine import batch, checkfile, equilibrium
from analysis.engine.answer import answer
from analysis.engine.chord import chord_bar
from analysis.engine.chunks import slices
from analysis.engine.figures import figures_many
from analysis.engine.loads import vehicle_places
from analysis.engine.moving import Train, envelope, envelope_of
from analysis.engine.rating import ratings_of
from analysis.engine.setting import setting
from analysis.engine.singly import envelopes
from tests.analysis.engine.checkfiles import THROUGH, changed
from tests.analysis.engine.trusses import (
    make_half_hip,
    make_pratt,
    make_truss,
    plain_forces,
    plain_steps,
)

HS20 = Train(np.array([8.0, 32.0, 32.0]), np.array([0.0, 14.0, 28.0]))
DEAD_KIP = 6.0
#: The slack of a rod that must not be quite slack in the peer's stiffness.
RESIDUAL = 1e-9


def crossed_only(truss):
    """Return the truss with no rods but those that cross another."""
    mine = equilibrium._crossing(truss.xy_ft, truss.ends, truss.tension_only)
    return dataclasses.replace(truss, tension_only=mine)


def pratt(panels=7, crossed=3):
    """Return a Pratt of 18-ft panels, 22 ft deep, its middle panels crossed by rods."""
    middle, half = (panels + 1) // 2, crossed // 2
    sides = [middle + k for k in range(-half, half + 1) if k]
    return crossed_only(make_pratt(panels, 18.0, 22.0, counters=sides))


def double_intersection():
    """Return 12 panels of 16 ft, 28 ft deep: three crossed pairs, four redundants."""
    n = 12
    joints = {f"L{i}": (16.0 * i, 0.0) for i in range(n + 1)}
    joints |= {f"U{i}": (16.0 * i, 28.0) for i in range(1, n)}
    bars = [f"L{i}L{i + 1}" for i in range(n)]
    bars += [f"U{i}U{i + 1}" for i in range(1, n - 1)]
    bars += ["L0U1", "L12U11"] + [f"L{i}U{i}" for i in range(1, n)]
    bars += ["L2U1", *(f"L{i + 2}U{i}" for i in range(1, 5))]
    bars += ["L10U11", *(f"L{i - 2}U{i}" for i in range(11, 7, -1))]
    bars += ["L7U5", "L5U7", "L8U6", "L4U6"]
    rods = ["L7U5", "L5U7", "L8U6", "L6U8", "L4U6", "L6U4"]
    return make_truss(
        joints,
        bars,
        supports=("L0", "L12"),
        loaded=[f"L{i}" for i in range(n + 1)],
        slack=rods,
    )


def configurations(truss, count, seed=1908):
    rng = np.random.default_rng(seed)
    m = len(truss.names)
    ea = 29_000.0 * 4.0 * rng.uniform(0.6, 1.4, (count, m))
    for row in ea:
        row[rng.choice(m, 3, replace=False)] *= rng.uniform(0.3, 0.9, 3)
    dead = np.zeros((count, len(truss.joints)))
    dead[:, truss.loaded[1:-1]] = DEAD_KIP
    return ea, dead


def ms_of(work):
    start = time.process_time()
    work()
    return 1e3 * (time.process_time() - start)


def medians(*works, rounds=5):
    """Return the median time of each, their rounds taken in turns; None stays None."""
    times = [[] for _ in works]
    for work in works:
        if work is not None:
            work()
    for _ in range(rounds):
        for work, mine in zip(works, times, strict=True):
            if work is not None:
                mine.append(ms_of(work))
    return [statistics.median(mine) if mine else None for mine in times]


def exact(truss, count):
    ea, dead = configurations(truss, count)
    ones = np.ones(len(truss.names))
    return lambda: envelope(truss, ea, dead, [HS20], ones, with_places=False)


def critical(truss, count):
    """Return the envelope over axles on joints alone, to set beside the peer's."""
    work = exact(truss, count)

    def without_changes():
        kept = batch._Block._changes
        batch._Block._changes = lambda self, settled, scale, falls: np.zeros(
            len(scale), bool
        )
        try:
            work()
        finally:
            batch._Block._changes = kept

    return without_changes


def rated(truss, count, seed=3):
    """Return envelopes and ratings at two levels, limits as of bars well used."""
    ea, dead = configurations(truss, count)
    ones = np.ones(len(truss.names))
    rng = np.random.default_rng(seed)
    up = np.tile(rng.uniform(40.0, 120.0, (1, 2, len(truss.names))), (count, 1, 1))
    fall = np.where(truss.tension_only, np.inf, up)

    def both():
        for part in slices(count):
            asked = setting(truss, ea[part], dead[part], [HS20])
            envelope_of(asked, ones, with_places=False)
            ratings_of(asked, ones, up[part], fall[part])

    return both


def singly(truss):
    """Return the exact envelope of one configuration, as that of a check file is found."""
    ea, dead = configurations(truss, 1)
    ones = np.ones(len(truss.names))
    return lambda: envelopes(setting(truss, ea, dead, [HS20]), ones, ones, 1.0)


def forgetting(work):
    """Return the work with the geometry factored anew each time."""

    def anew():
        equilibrium._analysed.clear()
        work()

    return anew


def imported_peer():
    try:
        import openseespy.opensees as ops
    except (ImportError, RuntimeError):
        return None
    return ops


def peer(truss, count, positions="steps"):
    """Return the same envelope by OpenSeesPy, or None without it.

    ``positions``: "steps" of 1 ft, or "critical", an axle on a joint.
    """
    ops = imported_peer()
    if ops is None:
        return None
    ea, dead = configurations(truss, count)
    if positions == "steps":
        _, steps = plain_steps(truss, HS20, 1.0)
        steps = steps[:, truss.loaded]
    else:
        steps = vehicle_places(equilibrium.analyse(truss), [HS20]).joint_kip
    names = range(1, len(truss.names) + 1)

    def model():
        ops.wipe()
        ops.model("basic", "-ndm", 2, "-ndf", 2)
        for j, (x, y) in enumerate(truss.xy_ft):
            ops.node(j + 1, float(x), float(y))
        ops.fix(truss.pinned + 1, 1, 1)
        ops.fix(truss.roller + 1, 0, 1)
        for m, (a, b) in enumerate(truss.ends):
            slack = RESIDUAL if truss.tension_only[m] else 1.0
            ops.uniaxialMaterial("Elastic", m + 1, 1.0, 0.0, slack)
            ops.element("truss", m + 1, int(a) + 1, int(b) + 1, 1.0, m + 1)
            ops.parameter(m + 1, "element", m + 1, "A")
        for k, j in enumerate(truss.loaded.tolist()):
            values = [0.0, *(dead[0, j] + steps[:, k])]
            values.append(values[-1])  # at its end the series is zero
            ops.timeSeries("Path", k + 1, "-dt", 1.0, "-values", *map(float, values))
            ops.pattern("Plain", k + 1, k + 1)
            ops.load(j + 1, 0.0, -1.0)
        ops.constraints("Plain")
        ops.numberer("RCM")
        ops.system("BandSPD")
        ops.test("NormUnbalance", 1e-8, 60)
        ops.algorithm("Newton")
        ops.integrator("LoadControl", 1.0)
        ops.analysis("Static")

    def work():
        model()
        found = []
        for row in ea:
            ops.reset()
            for m in names:
                ops.updateParameter(m, float(row[m - 1]))
            high = np.full(len(row), -np.inf)
            low = np.full(len(row), np.inf)
            for _ in range(len(steps)):
                ops.analyze(1)
                force = np.array([ops.basicForce(m)[0] for m in names])
                np.maximum(high, force, out=high)
                np.minimum(low, force, out=low)
            found.append((high, low))
        return found

    return work


def show(what, ms, wanted="", *, beside=None):
    ratio = "" if beside is None else f"{beside / ms:9.1f} x"
    print(f"  {what:<52}{ms:11.4f} ms {ratio:>12}   {wanted}")
    sys.stdout.flush()


def agreement():
    """Print how far the engine's envelope and the peer's are apart at critical places."""
    truss = pratt()
    ea, dead = configurations(truss, 20)
    work = peer(truss, 20, "critical")
    if work is None:
        print("no peer: OpenSeesPy cannot be imported")
        return
    ones = np.ones(len(truss.names))
    kept, batch._Block._changes = (
        batch._Block._changes,
        lambda self, settled, scale, falls: np.zeros(len(scale), bool),
    )
    try:
        ours = envelope(truss, ea, dead, [HS20], ones)
    finally:
        batch._Block._changes = kept
    start = np.array(
        [plain_forces(truss, ea[c], dead[c : c + 1])[0][0] for c in range(20)]
    )
    worst = 0.0
    for c, (high, low) in enumerate(work()):
        size = np.abs(high).max()
        worst = max(
            worst,
            np.abs(np.maximum(high - start[c], 0.0) - ours.live_max_kip[c]).max()
            / size,
            np.abs(np.minimum(low - start[c], 0.0) - ours.live_min_kip[c]).max() / size,
        )
    print(f"agreement with the peer, of the greatest force: {worst:.1e} (1e-6)")


def compared():
    print("\neach configuration, peer's time over the engine's")
    w = pratt()
    mine, theirs = medians(forgetting(singly(w)), peer(w, 4), rounds=9)
    show(
        "W1 exact envelope, geometry factored anew",
        mine,
        "3 x",
        beside=theirs and theirs / 4,
    )
    works = (exact(w, 1000), critical(w, 1000), peer(w, 4), peer(w, 8, "critical"))
    mine, at_joints, theirs, theirs_at_joints = medians(*works)
    if theirs is not None:
        show("W2 peer, 1-ft steps", theirs / 4)
        show("W2 peer, axles on joints", theirs_at_joints / 8)
    show(
        "W2 exact envelope", mine / 1e3, "250 x, aim 400", beside=theirs and theirs / 4
    )
    show(
        "W2 axles on joints, both sides",
        at_joints / 1e3,
        "200 x",
        beside=theirs_at_joints and theirs_at_joints / 8,
    )
    mine, theirs = medians(exact(w, 10_000), peer(w, 4), rounds=3)
    show("W3 exact envelope", mine / 1e4, "220 x", beside=theirs and theirs / 4)
    a = crossed_only(make_half_hip())
    mine, theirs = medians(exact(a, 500), peer(a, 8))
    show(
        "half-hip pony, exact envelope",
        mine / 500,
        "350 x",
        beside=theirs and theirs / 8,
    )
    c = double_intersection()
    mine, theirs = medians(exact(c, 64), peer(c, 3), rounds=3)
    show(
        "double intersection, exact envelope",
        mine / 64,
        "20 x",
        beside=theirs and theirs / 3,
    )


def growth():
    print("\ngrowth, 200 configurations, exact envelope")
    panels = (5, 7, 11, 15, 21, 31)
    times = medians(*(exact(pratt(n), 200) for n in panels))
    for n, ms in zip(panels, times, strict=True):
        show(f"{n} panels, three crossed", ms / 200)
    print(f"    31 panels over 5: {times[-1] / times[0]:.1f} (at most 4)")
    sides = (1, 3, 5, 7, 9)
    for n, ms in zip(
        sides, medians(*(exact(pratt(15, n), 200) for n in sides)), strict=True
    ):
        show(f"15 panels, {n} crossed", ms / 200)
    counts = (1, 10, 100, 1000)
    for n, ms in zip(
        counts, medians(*(exact(pratt(), n) for n in counts)), strict=True
    ):
        show(f"seven panels, {n} configurations together", ms / n)


def fine_steps(count=3, step_ft=0.002):
    """Print by how much the envelope falls short of very fine stepping, if at all."""
    print(f"\nshort of {step_ft}-ft steps, of the greatest force (at most 1e-9)")
    for name, truss in (
        ("half-hip pony", crossed_only(make_half_hip())),
        ("Pratt", pratt()),
    ):
        ea, dead = configurations(truss, count)
        found = envelope(truss, ea, dead, [HS20], np.ones(len(truss.names)))
        _, steps = plain_steps(truss, HS20, step_ft)
        worst = 0.0
        for c in range(count):
            start, _ = plain_forces(truss, ea[c], dead[c : c + 1])
            for part in np.array_split(steps, max(1, len(steps) // 20_000)):
                total, _ = plain_forces(truss, ea[c], dead[c] + part)
                live = total - start
                size = np.abs(total).max()
                short = max(
                    (live - found.live_max_kip[c]).max(),
                    (found.live_min_kip[c] - live).max(),
                )
                worst = max(worst, short / size)
        print(f"  {name:<52}{worst:11.1e}")


#: Sizes of rolled shapes are listed, and axles stand where they stand.
AS_THEY_ARE = ("depth_in", "weight_plf", "behind_front_ft")


def scaled(value, by, key=""):
    """Return a document with every length, size, weight and share scaled."""
    if isinstance(value, dict):
        return {name: scaled(item, by, name) for name, item in value.items()}
    if isinstance(value, list):
        return [scaled(item, by, key) for item in value]
    units = ("_ft", "_in", "_in2", "_plf", "fraction")
    is_size = key.endswith(units) and key not in AS_THEY_ARE
    return value * by if is_size and isinstance(value, int | float) else value


def one_after_the_other(document, count):
    """Return what answers the text of a file of other sizes each time it is called.

    So that nothing is remembered of a file: neither its geometry nor its bars.
    """
    texts = iter(
        [json.dumps(scaled(document, 1.0 + 1e-4 * (n + 1))) for n in range(count)]
    )
    return lambda: json.dumps(answer(json.loads(next(texts))))


def single():
    print("\none check from JSON to JSON, the process warm, every file another")
    w1 = changed(
        THROUGH,
        ["geometry"],
        {
            "form": "pratt",
            "panels": 7,
            "panel_length_ft": 18,
            "depth_ft": 22,
            "crossed_panels": [3, 5],
        },
    )
    w1 = changed(w1, ["live_load", "vehicle"], "HS20")
    by_formula = changed(w1, ["live_load", "impact"], "aashto")
    rounds = 61
    works = [one_after_the_other(d, rounds + 1) for d in (THROUGH, w1, by_formula)]
    names = ("five panels, H15", "W1, HS20", "W1, HS20, impact by loaded length")
    for name, ms in zip(names, medians(*works, rounds=rounds), strict=True):
        show(name, ms, "4 ms")


def many():
    print("\nmany at once")
    a, w = crossed_only(make_half_hip()), pratt()
    one, two, three = medians(rated(a, 1024), rated(w, 1024), rated(w, 2000), rounds=3)
    show("2^10 subsets, envelopes and ratings, half-hip pony", one, "150 ms")
    show("2^10 subsets, envelopes and ratings, W2 truss", two, "150 ms")
    show("2,000 samples with ratings, W2 truss", three, "250 ms")
    base = checkfile.read(THROUGH)
    losses = np.random.default_rng(5).uniform(0.0, 0.4, (1024, len(base.members)))
    checks = [
        dataclasses.replace(
            base,
            members=tuple(
                dataclasses.replace(member, loss_fraction=float(loss))
                for member, loss in zip(base.members, row, strict=True)
            ),
        )
        for row in losses
    ]
    (ms,) = medians(lambda: figures_many(checks), rounds=3)
    show("1,024 different check inputs to figures, five panels", ms)


def chords(count=1000):
    print(
        f"\n{count:,} stabilities of pony chords, all together, and a dense eigen loop"
    )
    for panels in (3, 6, 10, 20):
        rng = np.random.default_rng(panels)
        ei = 29_000.0 * 130.0 * rng.uniform(0.6, 1.4, (count, panels))
        force = 60.0 * rng.uniform(0.5, 1.5, (count, panels))
        length, spring = 180.0, 3.0
        bar = chord_bar([length] * panels, ei, [spring] * (panels + 1))
        some = range(0, count, max(1, count // 40))
        mine, theirs = medians(
            lambda bar=bar, force=force: bar.factor(force),
            lambda ei=ei, force=force, some=some, s=(length, spring): [
                dense_factor(s[0], ei[c], force[c], s[1]) for c in some
            ],
            rounds=3,
        )
        loop = theirs / len(some) * count
        found = bar.factor(force)
        worst = max(
            abs(dense_factor(length, ei[c], force[c], spring) / found[c] - 1.0)
            for c in some
        )
        show(f"{panels} panels (apart {worst:.0e})", mine, "10 x", beside=loop)


def dense_factor(length_in, ei, force, spring, elements=4):
    """Return the buckling factor by beam elements and a dense eigenvalue solver."""
    joints = len(ei) * elements + 1
    k, g = np.zeros((2, 2 * joints, 2 * joints))
    a = length_in / elements
    for panel, (stiff, kip) in enumerate(zip(ei, force, strict=True)):
        own = (
            stiff
            / a**3
            * np.array(
                [
                    [12, 6 * a, -12, 6 * a],
                    [6 * a, 4 * a**2, -6 * a, 2 * a**2],
                    [-12, -6 * a, 12, -6 * a],
                    [6 * a, 2 * a**2, -6 * a, 4 * a**2],
                ]
            )
        )
        bent = (
            kip
            / (30 * a)
            * np.array(
                [
                    [36, 3 * a, -36, 3 * a],
                    [3 * a, 4 * a**2, -3 * a, -(a**2)],
                    [-36, -3 * a, 36, -3 * a],
                    [3 * a, -(a**2), -3 * a, 4 * a**2],
                ]
            )
        )
        for e in range(elements):
            at = slice(2 * (panel * elements + e), 2 * (panel * elements + e) + 4)
            k[at, at] += own
            g[at, at] += bent
        k[2 * panel * elements, 2 * panel * elements] += spring
    k[-2, -2] += spring
    # The geometric part may be singular, the elastic one is not: the reciprocal is asked.
    top = scipy.linalg.eigh(
        g, k, eigvals_only=True, subset_by_index=[2 * joints - 1, 2 * joints - 1]
    )
    return 1.0 / float(top[0])


MEMORY = """
import sys
sys.path.insert(0, {root!r})
import tests.benchmarks.bench_engine as bench
def peak():
    lines = open("/proc/self/status").read().splitlines()
    return next(int(line.split()[1]) for line in lines if "VmHWM" in line) / 1024
before = peak()
bench.{work}()
print(before, peak())
"""


def memory():
    print("\npeak memory above imports, each in a fresh process")
    root = str(Path(__file__).parents[2])
    for what, work in (
        ("10,000 envelopes, W3", "exact(bench.pratt(), 10_000)"),
        ("1,000 envelopes and ratings", "rated(bench.pratt(), 1_000)"),
        ("10,000 envelopes and ratings", "rated(bench.pratt(), 10_000)"),
    ):
        done = subprocess.run(
            [sys.executable, "-c", MEMORY.format(root=root, work=work)],
            capture_output=True,
            text=True,
            check=True,
        )
        before, after = map(float, done.stdout.split()[:2])
        print(f"  {what:<52}{after - before:8.1f} MiB                40 MiB")


def main():
    agreement()
    compared()
    growth()
    single()
    many()
    chords()
    memory()
    fine_steps()


if __name__ == "__main__":
    chosen = sys.argv[1:]
    for name in chosen:
        globals()[name]()
    if not chosen:
        main()
