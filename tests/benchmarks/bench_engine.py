"""Time the engine's envelopes and ratings. Run by hand, one BLAS thread:

    OPENBLAS_NUM_THREADS=1 python tests/benchmarks/bench_engine.py

Figures are the median of process time over several rounds. On a shared machine only
ratios within one run mean anything, so a peer is timed beside the engine where one can
be imported: OpenSeesPy, one model per geometry, its own tension-only material, 1-ft
steps, areas as parameters. W1 is one configuration of a seven-panel Pratt with counters
in three panels under HS20 both ways; W2 is 1,000 of them and W3 10,000, every area
+-40 %, 10 to 70 % lost on three members each.
"""

import statistics
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from analysis.engine import equilibrium
from analysis.engine.moving import Train, envelope
from analysis.engine.rating import ratings
from tests.analysis.engine.trusses import make_half_hip, make_pratt, make_whipple

HS20 = Train(np.array([8.0, 32.0, 32.0]), np.array([0.0, 14.0, 28.0]))
DEAD_KIP = 6.0
#: The slack of a rod that must not be quite slack in the peer's stiffness.
RESIDUAL = 1e-9


def configurations(truss, count, seed=1908):
    rng = np.random.default_rng(seed)
    m = len(truss.names)
    ea = 29_000.0 * 4.0 * rng.uniform(0.6, 1.4, (count, m))
    for row in ea:
        row[rng.choice(m, 3, replace=False)] *= rng.uniform(0.3, 0.9, 3)
    dead = np.zeros((count, len(truss.joints)))
    dead[:, truss.loaded[1:-1]] = DEAD_KIP
    return ea, dead


def median_ms(work, rounds=7):
    work()
    times = []
    for _ in range(rounds):
        start = time.process_time()
        work()
        times.append(1e3 * (time.process_time() - start))
    return statistics.median(times)


def exact(truss, count):
    ea, dead = configurations(truss, count)
    ones = np.ones(len(truss.names))
    return lambda: envelope(truss, ea, dead, [HS20], ones)


def rated(truss, count):
    ea, dead = configurations(truss, count)
    m = len(truss.names)
    rng = np.random.default_rng(3)
    up = np.tile(rng.uniform(40.0, 120.0, (1, 2, m)), (count, 1, 1))
    fall = np.where(truss.tension_only, np.inf, up)
    ones = np.ones(m)
    return lambda: ratings(truss, ea, dead, [HS20], ones, up, fall)


def forgetting(work):
    """Return the work with the geometry factored anew each time."""

    def anew():
        equilibrium._analysed.clear()
        work()

    return anew


def peer(truss, count):
    """Return the same envelope by OpenSeesPy at 1-ft steps, or None without it."""
    try:
        from openseespylinux import opensees as ops
    except ImportError:
        try:
            import openseespy.opensees as ops
        except (ImportError, RuntimeError):
            return None
    from tests.analysis.engine.trusses import plain_steps

    ea, dead = configurations(truss, count)
    _, steps = plain_steps(truss, HS20, 1.0)
    joints = truss.loaded[1:-1]
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
    for k, j in enumerate(joints):
        values = [0.0, *(dead[0, j] + steps[:, j])]
        ops.timeSeries("Path", k + 1, "-dt", 1.0, "-values", *map(float, values))
        ops.pattern("Plain", k + 1, k + 1)
        ops.load(int(j) + 1, 0.0, -1.0)
    ops.constraints("Plain")
    ops.numberer("RCM")
    ops.system("BandSPD")
    ops.test("NormUnbalance", 1e-8, 60)
    ops.algorithm("Newton")
    ops.integrator("LoadControl", 1.0)
    ops.analysis("Static")
    names = range(1, len(truss.names) + 1)

    def work():
        for row in ea:
            ops.reset()
            for m in names:
                ops.updateParameter(m, float(row[m - 1]))
            high = np.full(len(row), -np.inf)
            for _ in steps:
                ops.analyze(1)
                force = np.array([ops.basicForce(m)[0] for m in names])
                np.maximum(high, force, out=high)

    return work


def show(what, ms, count, beside=None):
    ratio = "" if beside is None else f"  {beside / (ms / count):8.0f} x faster"
    print(f"{what:44s} {ms / count:9.4f} ms each {ms:9.1f} ms{ratio}")


def main():
    pratt = make_pratt(7, 18.0, 22.0, counters=(3, 5))
    slow = peer(pratt, 4)
    beside = None
    if slow is not None:
        beside = median_ms(slow, 3) / 4
        print(f"{'OpenSeesPy, 1-ft steps, one model':44s} {beside:9.4f} ms each")
    show(
        "W1 envelope, geometry factored anew",
        median_ms(forgetting(exact(pratt, 1)), 21),
        1,
        beside,
    )
    show("W1 envelope, geometry known", median_ms(exact(pratt, 1), 21), 1, beside)
    show("W1 ratings, two levels", median_ms(rated(pratt, 1), 21), 1)
    show("W2 envelope, 1,000", median_ms(exact(pratt, 1000)), 1000, beside)
    show("W3 envelope, 10,000", median_ms(exact(pratt, 10_000), 3), 10_000, beside)
    for name, truss in (("half-hip pony", make_half_hip()), ("pratt", pratt)):
        show(
            f"256 subsets of changes, envelope, {name}",
            median_ms(exact(truss, 256)),
            256,
        )
        show(
            f"256 subsets of changes, ratings, {name}",
            median_ms(rated(truss, 256)),
            256,
        )
    whipple = make_whipple(("L5U3", "L3U5"))
    show("Whipple with counters, envelope", median_ms(exact(whipple, 20), 3), 20)
    show("Whipple with counters, ratings", median_ms(rated(whipple, 4), 1), 4)
    print("growth, 200 configurations, three crossed panels")
    for panels in (5, 7, 11, 15, 21, 31):
        middle = (panels + 1) // 2
        truss = make_pratt(panels, 18.0, 22.0, counters=(middle - 1, middle + 1))
        show(f"  {panels} panels", median_ms(exact(truss, 200)), 200)
    print("growth, 200 configurations of 15 panels")
    for crossed in (1, 3, 5, 7, 9):
        half = crossed // 2
        sides = [8 + k for k in range(-half, half + 1) if k]
        truss = make_pratt(15, 18.0, 22.0, counters=sides)
        show(f"  {crossed} crossed panels", median_ms(exact(truss, 200)), 200)


if __name__ == "__main__":
    main()
