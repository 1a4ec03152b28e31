"""Time sampled bands: 2,048 configurations with ratings. Run by hand:

    OPENBLAS_NUM_THREADS=1 python tests/benchmarks/bench_sampling.py

Median of process time, one core. W is a seven-panel Pratt with a crossed middle panel and
twelve unknowns; the same with panel length and depth held is one batch; the same with
five crossed panels has five pairs of rods that share. The last line is how far sampled
limits are from those of whole check files.
"""

import statistics
import sys
import time
from copy import deepcopy
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from analysis.engine import checkfile, sampling
from analysis.engine.answer import answer_many
from tests.analysis.engine.test_sampling import (
    DOCUMENT,
    drawn,
    every_kind,
    whole_file,
)


def median_ms(work, rounds=7):
    work()
    times = []
    for _ in range(rounds):
        start = time.process_time()
        work()
        times.append(1e3 * (time.process_time() - start))
    return statistics.median(times)


def main():
    for words, crossed, is_held in (
        ("one pair of rods, 16 geometries", [], False),
        ("one pair of rods, one geometry", [], True),
        ("five pairs of rods, 16 geometries", [2, 3, 5, 6], False),
    ):
        document = deepcopy(DOCUMENT)
        document["geometry"]["crossed_panels"] = crossed
        check = checkfile.read(document)
        unknowns = [
            one
            for one in every_kind(check)
            if not (is_held and isinstance(one, sampling.Stretch))
        ]
        found = median_ms(lambda c=check, u=unknowns: sampling.sample(c, u, 2048))
        print(f"{words:36} 2,048 samples {found:7.0f} ms")
    check = checkfile.read(DOCUMENT)
    unknowns = every_kind(check)
    sampled = sampling.sample(check, unknowns, 2048)
    rows = range(0, 2048, 16)
    answers = answer_many(
        [whole_file(DOCUMENT, drawn(unknowns, sampled.place[row])) for row in rows]
    )
    whole = np.array([one["governing"]["operating"]["limit_tons"] for one in answers])
    off = np.abs(sampled.limit_tons[list(rows)] / whole - 1.0)
    print(f"against {len(off)} whole check files: {100 * off.max():.3f} % at most")


if __name__ == "__main__":
    main()
