"""Print every published value beside the engine's: ``python -m tests.published``."""

import sys
from collections import Counter
from pathlib import Path

import pytest

from tests.published import rows


def main():
    folder = str(Path(__file__).parent)
    status = pytest.main([folder, "-q", "--no-header", "-p", "no:cacheprovider"])
    print()
    print(f"  {'certainty':<10} {'what':<70} {'theirs':>13} {'ours':>13} {'off':>11}")
    for source in dict.fromkeys(row.source for row in rows.ROWS):
        print(source)
        for row in rows.ROWS:
            if row.source == source:
                print(
                    f"  {row.certainty:<10} {row.what[:70]:<70} "
                    f"{row.theirs:>13.5g} {row.ours:>13.5g} {row.ours - row.theirs:>11.2g}"
                )
    print()
    certain = Counter(row.certainty for row in rows.ROWS)
    sources = {row.source for row in rows.ROWS}
    print(f"{len(rows.ROWS)} values from {len(sources)} sources")
    print(", ".join(f"{count} {name}" for name, count in certain.most_common()))
    return int(status)


if __name__ == "__main__":
    sys.exit(main())
