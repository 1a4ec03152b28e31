"""Made-up files in the federal inventory's layouts, with faults planted and counted.

Every bridge, number and name in them is invented; only the layout is the real one. A
planted row has exactly the one fault it was given, so that what a reader finds can be
held against what was planted, kind by kind.
"""

import random
from collections import Counter

from bridges.intake.items import BY_NUMBER, ITEMS, TRAILING

NAMES = ["ALDER", "BIRCH", "CEDAR", "DUNLIN", "ELDER", "FERN", "HAZEL", "JUNIPER"]
WATERS = ["RIVER", "CREEK", "RUN", "BR"]
TRAILERS = TRAILING["2019 and later"]


def dms(value, width):
    degrees = int(value)
    minutes = int((value - degrees) * 60)
    seconds = (value - degrees - minutes / 60) * 3600
    hundredths = min(round(seconds * 100), 5999)
    return f"{degrees}{minutes:02d}{hundredths:04d}".zfill(width)


def row(chance, number, **more):
    """Return {item: value}, numbers in the unit of their item, of one sound record."""
    year = chance.randrange(1880, 2015)
    span = chance.randrange(80, 900) / 10
    width = chance.randrange(45, 140) / 10
    return {
        "1": "42",
        "8": f"{number:015d}",
        "5A": "1",
        "3": f"{chance.randrange(1, 134):03d}",
        "6A": f"{chance.choice(NAMES)} {chance.choice(WATERS)}",
        "7": f"TR {chance.randrange(100, 999)}",
        "9": f"{chance.randrange(1, 9)} MI N OF {chance.choice(NAMES)}",
        "16": dms(chance.uniform(39.8, 41.9), 8),
        "17": dms(chance.uniform(75.2, 80.4), 9),
        "22": chance.choice(["01", "02", "03", "04"]),
        "27": str(year),
        "29": chance.randrange(0, 9000),
        "34": chance.choice([0, 0, 15, 30, 99]),
        "37": chance.choice("12345"),
        "41": chance.choice("AAAPBK"),
        "43A": chance.choice("1355934"),
        "43B": chance.choice(["02", "02", "10", "09", "11", "19", "05"]),
        "45": chance.randrange(1, 4),
        "46": 0,
        "48": span,
        "49": round(span * 1.4, 1),
        "51": round(width - 0.9, 1),
        "52": width,
        "53": chance.choice([99.99, 4.57]),
        "58": chance.choice("56789N"),
        "59": chance.choice("456789"),
        "60": chance.choice("45678"),
        "90": f"{chance.randrange(1, 13):02d}{chance.randrange(18, 23)}",
        "106": chance.choice(["0000", "0000", str(min(year + 5, 2020))]),
        "107": chance.choice("1268N"),
        **more,
    }


def _swap(one):
    one["16"], one["17"] = one["17"].lstrip("0"), one["16"].zfill(9)


# What is planted: the fault's code, what it does to a sound row, and in which layouts.
BOTH, ONLY_DELIMITED, ONLY_FIXED = ("delimited", "fixed"), ("delimited",), ("fixed",)
PLANTS = {
    "state-blank": (lambda r: r.update({"1": ""}), BOTH),
    "state-unknown": (lambda r: r.update({"1": "03"}), BOTH),
    "structure-blank": (lambda r: r.update({"8": ""}), BOTH),
    "structure-mangled": (lambda r: r.update({"8": "4.20171E+14"}), BOTH),
    "structure-long": (lambda r: r.update({"8": "4" * 16}), ONLY_DELIMITED),
    "record-type": (lambda r: r.update({"5A": "7"}), BOTH),
    "position-blank": (lambda r: r.update({"17": ""}), BOTH),
    "position-zero": (lambda r: r.update({"16": "00000000", "17": "000000000"}), BOTH),
    "latitude-digits": (lambda r: r.update({"16": "40N30000"}), BOTH),
    "longitude-digits": (lambda r: r.update({"17": "0773O1200"}), BOTH),
    "latitude-minutes": (lambda r: r.update({"16": "40751200"}), BOTH),
    "longitude-minutes": (lambda r: r.update({"17": "077601200"}), BOTH),
    "latitude-seconds": (lambda r: r.update({"16": "40306200"}), BOTH),
    "longitude-seconds": (lambda r: r.update({"17": "077306000"}), BOTH),
    "position-swapped": (_swap, ONLY_DELIMITED),
    "position-outside": (lambda r: r.update({"16": "30300000"}), BOTH),
    "longitude-east": (lambda r: r.update({"16": "40.75", "17": "77.25"}), BOTH),
    "county-unknown": (lambda r: r.update({"3": "4A"}), BOTH),
    "year-digits": (lambda r: r.update({"27": "19O4"}), BOTH),
    "year-future": (lambda r: r.update({"27": "2091"}), BOTH),
    "year-early": (lambda r: r.update({"27": "1066"}), BOTH),
    "rebuilt-before": (lambda r: r.update({"27": "1950", "106": "1911"}), BOTH),
    "month-unknown": (lambda r: r.update({"90": "1319"}), BOTH),
    "number-digits": (lambda r: r.update({"29": "SOME"}), BOTH),
    "number-negative": (lambda r: r.update({"52": "-7.2", "51": ""}), ONLY_DELIMITED),
    "number-implausible": (lambda r: r.update({"48": 1801.0, "49": 9000.0}), BOTH),
    "decimals-implied": (lambda r: r.update({"48": "00274"}), ONLY_DELIMITED),
    "span-beyond-length": (lambda r: r.update({"48": 80.0, "49": 40.0}), BOTH),
    "roadway-beyond-deck": (lambda r: r.update({"51": 9.0, "52": 6.0}), BOTH),
    "spans-none": (lambda r: r.update({"45": 0}), BOTH),
    "code-unknown": (lambda r: r.update({"41": "Z"}), BOTH),
    "not-rated": (lambda r: r.update({"60": "*"}), BOTH),
    "cells-missing": (None, ONLY_DELIMITED),
    "cells-extra": (None, ONLY_DELIMITED),
    "quote-open": (None, ONLY_DELIMITED),
    "control-character": (lambda r: r.update({"9": "NEAR \x07 TOWN"}), BOTH),
    "line-ending": (lambda r: r.update({"9": "NEAR\rTOWN"}), BOTH),
    "line-short": (None, ONLY_FIXED),
    "key-twice": (None, BOTH),
}


def header():
    return ",".join([*(item.header for item in ITEMS), *TRAILERS])


def delimited(values, planted=""):
    cells = []
    for item in ITEMS:
        value = values.get(item.number, "")
        if item.kind == "text":
            # Apostrophes quote, and are doubled inside, as the files have it.
            text = str(value).replace("'", "''")
            value = f"'{text}'"
        elif isinstance(value, float | int):
            value = f"{value:.{item.decimals or 0}f}"
        elif item.kind in ("code", "dms", "month") and item.number != "5A":
            # Leading zeros are dropped, as the real files do.
            value = value.lstrip("0") or value[-1:]
        cells.append(value)
    if planted == "cells-missing":
        del cells[40:43]
    elif planted == "cells-extra":
        cells[10] = "ALDER RIVER, NORTH BRANCH"
    elif planted == "quote-open":
        cells[13] = "'NEAR THE MILL"
    return ",".join([*cells, "0", "42", "G", "7", "120.5"])


def fixed(values, planted=""):
    parts = []
    for item in ITEMS:
        value = values.get(item.number, "")
        if item.number == "1" and value:
            value = f"{value}3"
        if isinstance(value, float | int):
            value = f"{round(value * 10 ** (item.decimals or 0)):0{item.width}d}"
        parts.append(f"{value:<{item.width}}"[: item.width])
    text = "".join(parts)
    return text[:300] if planted == "line-short" else text


def lines(layout, count, *, each=0, seed=11, planted=None, first=1, closed=0, **more):
    """Yield the lines of a file of ``count`` records, ``each`` of every fault among them.

    ``planted`` (a Counter) is told how many of each kind there are. Every so manieth row
    (``closed``) is otherwise than in the same file without it.
    """
    chance = random.Random(seed)
    planted = Counter() if planted is None else planted
    write = delimited if layout == "delimited" else fixed
    codes = [code for code, (_, where) in PLANTS.items() if layout in where] * each
    if len(codes) >= count:
        raise ValueError("More faults than rows.")
    step = count // len(codes) if codes else 0
    if layout == "delimited":
        yield header()
    for n in range(count):
        values = row(chance, first + n, **more)
        if closed and n % closed == 0:
            values |= {"41": "G", "27": "1879"}
        code = ""
        if codes and n and n % step == 0 and n // step <= len(codes):
            code = codes[n // step - 1]
            planted[code] += 1
        if code == "key-twice":
            values["8"] = f"{first:015d}"
        elif code and PLANTS[code][0]:
            PLANTS[code][0](values)
        elif not code and n % 7 == 3:
            # Traps that are no faults: text in quotes, other letters, roads under.
            values |= {"6A": "ALDER R, O'NEIL'S RUN", "7": "RUE ST. RÉMI"}
        elif not code and n % 11 == 5:
            values |= {"5A": "2"}
        yield write(values, code)


def write(path, layout, count, *, encoding="latin-1", **more):
    """Write such a file; return {code: planted}."""
    planted = Counter()
    with path.open("w", encoding=encoding, newline="") as file:
        for text in lines(layout, count, planted=planted, **more):
            file.write(text + "\r\n")
    return planted


__all__ = ["BY_NUMBER", "PLANTS", "lines", "write"]
