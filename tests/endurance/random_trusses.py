"""Random sound trusses by the thousand against two other solvers.

    python -m tests.endurance.random_trusses 10000 [first seed]

Each grows from a triangle, joint by joint, two bars to each new joint (Henneberg's first
step), which makes it determinate; then some more bars are put in, and some of all bars
are rods. So it is sound by construction, though rods may leave it unable to stand.
Against it stand: a solver of another method (stiffness, every set of taut rods tried,
``trusses.plain_forces``), and a general-purpose library (anastruct) given the bars that
the engine says are taut. The envelope of a vehicle is held against steps of the first.
Prints what it counted and the greatest difference, of the greatest force.
"""

import random
import sys
from collections import Counter

import numpy as np

from analysis.engine.moving import Train, envelope
from analysis.engine.statics import dead_forces
from tests.analysis.engine.trusses import make_truss, plain_forces, plain_steps

AGREE = 1e-9
#: The library's truss bars are beams of almost no bending stiffness: not quite pins.
LIBRARY_AGREES = 1e-5
MOST_RODS = 6


def grow(rng):
    """Return a truss, (m,) EA and (n,) dead load."""
    joints = {"A0": (0.0, 0.0), "A1": (10.0, 0.0), "A2": (5.0, rng.uniform(4.0, 9.0))}
    bars = ["A0A1", "A0A2", "A1A2"]
    for number in range(3, rng.randint(4, 9)):
        for _ in range(50):
            x, y = rng.uniform(-2.0, 40.0), rng.choice([0.0, rng.uniform(-3.0, 12.0)])
            near = sorted(
                joints, key=lambda k: (joints[k][0] - x) ** 2 + (joints[k][1] - y) ** 2
            )
            one, two = rng.sample(near[:3], 2)
            if stands_off((x, y), joints[one], joints[two]):
                break
        else:
            continue
        name = f"A{number}"
        joints[name] = (x, y)
        bars += [one + name, two + name]
    names = list(joints)
    for _ in range(rng.randint(0, 3)):
        one, two = sorted(rng.sample(names, 2))
        if one + two not in bars and distance(joints[one], joints[two]) > 1.0:
            bars.append(one + two)
    by_x = sorted(names, key=lambda k: joints[k][0])
    loaded = [by_x[0]]
    for name in by_x[1:]:
        if joints[name][0] - joints[loaded[-1]][0] > 0.5:
            loaded.append(name)
    slack = rng.sample(bars, rng.randint(0, min(MOST_RODS, len(bars) // 2)))
    truss = make_truss(
        joints, bars, supports=(by_x[0], loaded[-1]), loaded=loaded, slack=slack
    )
    ea = np.array([10.0 ** rng.uniform(4.5, 5.5) for _ in bars])
    dead = np.array([rng.choice([0.0, rng.uniform(0.0, 10.0)]) for _ in names])
    return truss, ea, dead


def distance(a, b):
    return float(np.hypot(a[0] - b[0], a[1] - b[1]))


def stands_off(new, one, two):
    """Return whether the new joint is well away from the line of the two old ones."""
    if min(distance(new, one), distance(new, two)) < 1.0:
        return False
    u, v = np.subtract(one, new), np.subtract(two, new)
    sine = abs(u[0] * v[1] - u[1] * v[0]) / (np.hypot(*u) * np.hypot(*v))
    return sine > 0.2


def by_library(truss, ea, load, taut):
    """Return (m,) forces by anastruct of the truss of the taut bars alone."""
    from anastruct import SystemElements

    system = SystemElements()
    elements = {}
    for m in np.flatnonzero(taut):
        a, b = truss.ends[m]
        elements[m] = system.add_truss_element(
            location=[truss.xy_ft[a].tolist(), truss.xy_ft[b].tolist()],
            EA=float(ea[m]),
        )

    def node(j):
        return system.find_node_id(truss.xy_ft[j].tolist())

    system.add_support_hinged(node(truss.pinned))
    system.add_support_roll(node(truss.roller), direction=2)
    some = [j for j in range(len(load)) if load[j] and node(j)]
    for j in some:
        system.point_load(node(j), Fy=-float(load[j]))
    if some:
        system.solve()
    force = np.zeros(len(ea))
    for m, element in elements.items():
        if some:
            # Both ends' axial forces are alike in a bar loaded at its ends only.
            force[m] = float(system.element_map[element].N_1)
    return force


def try_one(seed, library=True):
    """Return what came of one truss and the greatest difference, of the greatest force."""
    rng = random.Random(seed)
    truss, ea, dead = grow(rng)
    state = dead_forces(truss, ea[None], dead[None])
    plain, solved = plain_forces(truss, ea, dead[None])
    if not solved[0]:
        assert not state.stands[0], seed
        return "cannot stand", 0.0
    assert state.stands[0], seed
    size = np.abs(plain).max() + 1e-9
    worst = np.abs(state.forces_kip[0] - plain[0]).max() / size
    assert worst <= AGREE, (seed, worst)
    if library:
        theirs = by_library(truss, ea, dead, state.taut[0])
        worst = np.abs(state.forces_kip[0] - theirs).max() / size
        assert worst <= LIBRARY_AGREES, (seed, worst)
    train = Train(np.array([8.0, 32.0]), np.array([0.0, rng.uniform(6.0, 16.0)]))
    found = envelope(truss, ea[None], dead[None], [train], np.ones(len(ea)))
    _, steps = plain_steps(truss, train, 2.0)
    total, solved = plain_forces(truss, ea, dead + steps)
    falls = found.unstable_at[0] is not None
    assert falls or solved.all(), seed
    live = (total - plain)[solved]
    size = max(size, np.abs(total).max())
    short = max(
        (live - found.live_max_kip[0]).max(initial=0.0),
        (found.live_min_kip[0] - live).max(initial=0.0),
    )
    assert short / size <= AGREE, (seed, short / size)
    return "falls under some load" if falls else "carries all loads", max(worst, 0.0)


def run(count, first=0, library=True, report_every=0):
    counted, worst = Counter(), 0.0
    for seed in range(first, first + count):
        came, difference = try_one(seed, library)
        counted[came] += 1
        worst = max(worst, difference)
        if report_every and (seed + 1 - first) % report_every == 0:
            print(f"{seed + 1 - first:,}: {dict(counted)}, at most {worst:.1e} apart")
            sys.stdout.flush()
    return counted, worst


if __name__ == "__main__":
    size = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    run(size, int(sys.argv[2]) if len(sys.argv) > 2 else 0, report_every=500)
