"""Time the fold of one bridge: 40 visits, 400 elements. Run by hand."""

import datetime
import statistics
import time

from surveys import fold


def looks(visits=40, elements=400):
    made = []
    for v in range(visits):
        day = datetime.date(1986 + v, 6, 1)
        seen = tuple(
            fold.Seen(f"e{e}", "changed", {"n": v})
            if v == 0 or (e + v) % 37 == 0
            else fold.Seen(f"e{e}", "same")
            for e in range(elements)
        )
        made.append(fold.Look(f"v{v}", day, day, seen))
    return made


def main():
    record = looks()
    for name, work in (
        ("configuration", fold.configuration),
        ("every step", lambda given: list(fold.steps(given))),
    ):
        times = []
        for _ in range(21):
            start = time.perf_counter()
            work(record)
            times.append((time.perf_counter() - start) * 1000)
        print(
            f"{name}: median {statistics.median(times):.1f} ms, most {max(times):.1f}"
        )


if __name__ == "__main__":
    main()
