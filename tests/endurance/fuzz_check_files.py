"""Check files by the hundred thousand: answered or refused, never anything else.

    python -m tests.endurance.fuzz_check_files 200000 [first seed]
    python -m tests.endurance.fuzz_check_files 20000 hypothesis

Four kinds. Most are a right file of some form with a few things changed: sizes scaled,
keys taken, added or moved, values swapped for others of every type. Some are drawn from
the JSON Schema itself, some are texts with a stretch spoilt, and some are long trusses of
thin rods in every panel, where most is slack or about to be (``of_rods``). Whatever
comes of it: the reader and the schema agree, a refusal names a path and what was expected, an accepted
file keeps its hash when it is written another way, and is answered with JSON, finite
numbers and ratings not below zero, within two seconds. Every accepted file is answered.
Hypothesis makes files of both sorts by its own choices, which tend to what is odd, and
makes what it finds small.
Prints what it counted, the slowest file and the memory.
"""

import contextlib
import json
import math
import random
import resource
import sys
import time
import traceback
from collections import Counter
from copy import deepcopy

import jsonschema
from hypothesis import HealthCheck, given, settings, strategies

from analysis.engine import checkfile
from analysis.engine.answer import answer
from analysis.engine.errors import CheckFileError
from analysis.engine.forms import FORMS, MOST_CROSSED_PANELS
from analysis.engine.tables import (
    MOST_AXLES,
    MOST_AXLES_BY_PANELS,
    MOST_AXLES_BY_SURPLUS,
    MOST_AXLES_ON_RODS,
    MOST_COUNTERED,
)
from tests.analysis.engine.checkfiles import ALL, THROUGH, outright
from tests.analysis.engine.test_forms import EVERY

MOST_SECONDS = 2.0
SCHEMA_TEXT = checkfile.schema()
SCHEMA = jsonschema.Draft202012Validator(SCHEMA_TEXT)


def of_form(form):
    """Return a file of the form with rods in it, and a lane beside the vehicle."""
    document = deepcopy(THROUGH)
    document["geometry"] = {"form": form, "panel_length_ft": 15} | EVERY[form]
    document["members"][2] = {
        "kinds": ["counter"],
        "components": THROUGH["members"][2]["components"],
    }
    document["live_load"] = {"vehicle": "HS20", "fraction": 0.6, "impact": "aashto"}
    return document


def of_parts():
    """Return a file of floor, pin and packing, ties, wear, holes, tight and long bars."""
    document = deepcopy(THROUGH)
    beam = {"shape": "i-beam", "depth_in": 8, "weight_plf": 18.4}
    document["floor_system"] = {
        "roadway_ft": 14,
        "trusses_apart_ft": 16,
        "stringers": {"count": 7, "components": [beam]},
        "floor_beams": {
            "girder": {
                "depth_in": 24,
                "web_thickness_in": 0.375,
                "leg_in": 3,
                "other_leg_in": 3,
                "angle_thickness_in": 0.375,
            }
        },
    }
    document["pins"] = [
        {
            "joint": "L2",
            "diameter_in": 3,
            "packing": [
                {"member": "L1L2", "thickness_in": 1},
                {"member": "L2L3", "thickness_in": 1, "gap_in": 0.1},
                {"thickness_in": 0.5},
            ],
        }
    ]
    bar = {"shape": "eyebar", "width_in": 3, "thickness_in": 0.75}
    angle = {"shape": "angle", "leg_in": 3, "other_leg_in": 2.5, "thickness_in": 0.25}
    document["members"] += [
        {
            "names": ["L1L2", "L2L3"],
            "components": [bar, bar | {"longer_in": 0.03, "remaining_in": 0.6}],
        },
        {
            "names": ["L2U2"],
            "components": [angle | {"count": 4}],
            "built_up": {
                "webs_apart_in": 8,
                "box_depth_in": 10,
                "lacing": {"width_in": 2, "thickness_in": 0.25},
                "untied_ft": 3,
                "pin_height_in": 5,
            },
        },
        {
            "names": ["L2U3"],
            "components": [{"shape": "round-rod", "diameter_in": 1.25}],
            "tightened_in": 0.05,
        },
        {
            "names": ["L1U1"],
            "components": [angle | {"count": 2, "holes": 1, "rivet_in": 0.625}],
        },
    ]
    return document


EVERY_KIND = [
    "upper-chord",
    "lower-chord",
    "end-post",
    "hip-vertical",
    "vertical",
    "diagonal",
    "counter",
]
WEBS = [
    ["diagonal", "counter"],
    ["counter"],
    ["diagonal", "counter", "vertical", "hip-vertical"],
    ["diagonal", "counter", "lower-chord"],
]
ROD_FORMS = ["bowstring", "lenticular", "bowstring", "lenticular", "parker", "pratt"]
ROD_FORMS += ["howe", "post", "double-intersection-pratt", "warren-with-verticals"]


def of_rods(rng):
    """Return a file of six panels to the most, all crossed where they can be, with a web
    of rods.

    Now and then joint by joint. Chords as strong as a uniform load wants them, rods from far too thin to stout, dead
    load from hardly any to far more than the vehicle.
    """
    form = rng.choice(ROD_FORMS)
    panels = 2 * rng.randint(3, FORMS[form].most_panels // 2)
    depth = panels * 15 / 10
    geometry = {"form": form, "panels": panels, "panel_length_ft": 15}
    if form == "parker":
        middle = (panels - 2) / 2
        geometry["upper_heights_ft"] = [
            depth * (1.0 - 0.4 * ((i - middle) / middle) ** 2)
            for i in range(panels - 1)
        ]
    else:
        geometry["depth_ft"] = depth
    if form in ("pratt", "parker", "howe", "warren-with-verticals"):
        crossed = range(2, panels)
        if len(crossed) > MOST_COUNTERED:
            crossed = sorted(rng.sample(crossed, MOST_COUNTERED))
        geometry["crossed_panels"] = list(crossed)
    dead_klf = math.exp(rng.uniform(math.log(0.02), math.log(4.0)))
    klf = dead_klf + 0.6
    chord = klf * panels * 15 * 10 / 8 / 14 * math.exp(rng.uniform(-0.3, 1.5))
    web = klf * panels * 15 / 2 * 1.4 / 14 * math.exp(rng.uniform(-2.5, 1.0))
    section = {"area_in2": max(round(chord, 2), 2), "r_in_plane_in": 8}
    section["r_out_of_plane_in"] = 8
    rod = {"shape": "round-rod", "diameter_in": round(max(web, 0.05) ** 0.5, 3)}
    made_of = rng.choice(WEBS)
    live = {"vehicle": rng.choice(["HS20", "type-3-3", "H15"]), "fraction": 0.6}
    live["impact"] = rng.choice(["aashto", 0.3])
    if rng.random() < 0.2:
        live |= {"uniform_plf": 700}
    if rng.random() < 0.1:
        live |= {"lane": "HS20"}
    if rng.random() < 0.2:
        axles, at = [], 0.0
        most = MOST_AXLES
        if made_of != ["counter"]:
            most = min(most, MOST_AXLES_ON_RODS // panels)
        if FORMS[form].most_panels == MOST_CROSSED_PANELS:
            most = min(most, MOST_AXLES_BY_PANELS // panels)
        for _ in range(rng.randint(5, most)):
            axles.append({"kip": rng.uniform(4, 30), "behind_front_ft": at})
            at += rng.uniform(3, 17)
        live["axles"] = axles
    made = {
        "geometry": geometry,
        "material": {"kind": "steel", "year": 1908},
        "connection": "pin",
        "deck_position": "through",
        "members": [
            {"kinds": EVERY_KIND, "section": section},
            {"kinds": made_of, "components": [rod], "tension_only": True},
        ],
        "dead_load": {"uniform_plf": 1000 * dead_klf},
        "live_load": live,
        "tension_only_model": rng.choice(["elastic", "elastic", "classical"]),
        "method": rng.choice(["allowable-stress", "load-factor"]),
    }
    if rng.random() < 0.1:
        made["members"][1]["tightened_in"] = rng.choice([0.01, 0.05])
    if rng.random() < 0.2:
        # What is refused by its form stays as it is.
        with contextlib.suppress(CheckFileError):
            made = outright(made)
        if "axles" in live:
            del live["axles"][MOST_AXLES_BY_SURPLUS // max(1, panels - 2) :]
    return made


RIGHT = [*ALL.values(), *map(of_form, EVERY), *[of_parts()] * 8]
WORDS = sorted(
    {
        word.strip("{}[],:")
        for document in RIGHT
        for word in json.dumps(document).replace('"', " ").split()
        if word.strip("{}[],:").isidentifier() or "-" in word
    }
)
NUMBERS = [
    0,
    -1,
    1,
    2,
    3,
    0.5,
    0.0001,
    0.01,
    1000,
    1e-9,
    1e9,
    -1e9,
    1e300,
    10**40,
    5.0,
    18,
    1e-300,
    60,
]
OTHERS = [None, True, False, "", [], {}, "\ud800", "L0L1", "aashto", [0, 0], [[]]]
NEAR = [0.5, 0.8, 0.9, 0.97, 1.03, 1.1, 1.25, 1.5, 2]
FAR = [3, 10, 1e3, 1e-3, 1e-6, -1, 0]


def places(value, at=()):
    """Yield the path of everything inside a document."""
    items = ()
    if isinstance(value, dict):
        items = value.items()
    elif isinstance(value, list):
        items = enumerate(value)
    for key, item in items:
        yield (*at, key)
        yield from places(item, (*at, key))


def inside(value, path):
    for step in path:
        value = value[step]
    return value


def junk(rng):
    kind = rng.randrange(5)
    if kind == 0:
        return rng.choice(NUMBERS)
    if kind == 1:
        return deepcopy(rng.choice(OTHERS))
    if kind == 2:
        return rng.choice(WORDS)
    if kind == 3:
        return rng.randint(-5, 70)
    return "".join(chr(rng.randrange(32, 0x2FF)) for _ in range(rng.randrange(6)))


def is_number(value):
    return type(value) in (int, float)


def mutate(rng):
    """Return a right document with one to six things changed, most of them sizes."""
    document = deepcopy(rng.choice(RIGHT))
    for _ in range(rng.randint(1, 6)):
        every = list(places(document))
        if not every:
            break
        roll = rng.random()
        if roll < 0.8:
            sizes = [path for path in every if is_number(inside(document, path))]
            if not sizes:
                continue
            path = rng.choice(sizes)
            holder, key = inside(document, path[:-1]), path[-1]
            factor = rng.choice(NEAR if rng.random() < 0.95 else FAR)
            holder[key] = type(holder[key])(holder[key] * factor)
            continue
        path = rng.choice(every)
        holder, key = inside(document, path[:-1]), path[-1]
        if roll < 0.86:
            del holder[key]
        elif roll < 0.90:
            other = rng.choice(RIGHT)
            holder[key] = deepcopy(inside(other, rng.choice(list(places(other)))))
        elif roll < 0.94 and isinstance(holder, list):
            holder.insert(key, deepcopy(holder[key]))
        elif roll < 0.96 and isinstance(holder, dict):
            holder[rng.choice(WORDS)] = junk(rng)
        elif roll < 0.985:
            holder[key] = junk(rng)
    return document


def drawn(rng, schema=SCHEMA_TEXT, depth=0):
    """Return something that the schema mostly allows."""
    for word in ("anyOf", "oneOf"):
        if word in schema:
            rest = {key: value for key, value in schema.items() if key != word}
            return drawn(rng, rest | rng.choice(schema[word]), depth)
    if "const" in schema:
        return schema["const"]
    if "enum" in schema:
        return rng.choice(schema["enum"])
    kind = schema.get("type")
    kind = rng.choice(kind) if isinstance(kind, list) else kind
    if kind == "object" or "properties" in schema:
        needed = schema.get("required", ())
        found = {
            key: drawn(rng, value, depth + 1)
            for key, value in schema.get("properties", {}).items()
            if key in needed or rng.random() < 0.35
        }
        rest = schema.get("additionalProperties")
        if isinstance(rest, dict):
            names = ["L0", "L1", "U1", "L2", "L1U1", "L1L2"]
            found |= {
                name: drawn(rng, rest, depth + 1) for name in rng.sample(names, 2)
            }
        return found
    if kind == "array":
        low, high = schema.get("minItems", 0), schema.get("maxItems", 4)
        count = rng.randint(low, max(low, min(high, low + 3)))
        return [drawn(rng, schema.get("items", {}), depth + 1) for _ in range(count)]
    if kind in ("number", "integer"):
        low = schema.get("minimum", 0.0)
        high = schema.get("maximum", schema.get("exclusiveMaximum", low + 100.0))
        value = low + (high - low) * rng.random() ** 4
        return round(value) if kind == "integer" else value
    if kind == "boolean":
        return rng.random() < 0.5
    if kind == "null":
        return None
    return rng.choice(WORDS)


def spoil(rng):
    """Return the text of a right document with a stretch of it spoilt."""
    text = json.dumps(rng.choice(RIGHT)).encode()
    start = rng.randrange(len(text))
    stop = min(len(text), start + rng.randint(0, 8))
    return text[:start] + rng.randbytes(rng.randint(0, 8)) + text[stop:]


def reversed_keys(value):
    if isinstance(value, dict):
        return {key: reversed_keys(value[key]) for key in reversed(list(value))}
    return [reversed_keys(v) for v in value] if isinstance(value, list) else value


def check_refusal(error):
    assert error.faults
    for fault in error.faults:
        assert fault.path
        assert fault.code
        assert "expect" in fault.message or fault.code == "too-many", fault
        assert "\n" not in str(fault)


def check_document(document, *, validated=True):
    """Hold one document against all that is promised; return what came of it."""
    structure = checkfile.structure_faults(document)
    if validated:
        assert bool(structure) == (not SCHEMA.is_valid(document)), structure
    try:
        check = checkfile.read(document)
    except CheckFileError as error:
        check_refusal(error)
        return "refused by the schema" if structure else "refused by its meaning"
    sha = checkfile.sha256_of(check)
    again = json.loads(json.dumps(reversed_keys(document)))
    assert checkfile.input_sha256(again) == sha
    found = answer(document)
    check_answer(found)
    if not found["stands"]:
        return "answered: cannot stand"
    if found["unstable_at"]:
        return "answered: falls under the vehicle"
    return "answered"


def check_answer(found):
    json.dumps(found, allow_nan=False)
    if not found["stands"]:
        assert found["governing"] == {"operating": None, "inventory": None}
        assert found["unstable_joints"]
        return
    for level, governing in found["governing"].items():
        ratings = [
            member["rating"][level]
            for member in found["members"].values()
            if member["rating"][level] is not None
        ]
        assert all(rating >= 0.0 for rating in ratings)
        if governing is not None and ratings:
            # Equal but for rounding: the first in order governs.
            assert 0.0 <= governing["rating"] <= min(ratings) * (1.0 + 2e-9)
    for member in found["members"].values():
        assert member["live_max_kip"] >= 0.0 >= member["live_min_kip"]


def check_text(text):
    """Hold one text against what is promised of any bytes at all."""
    try:
        document = checkfile.parse(text)
        checkfile.read(document)
    except CheckFileError as error:
        check_refusal(error)
        return "text refused"
    return "text accepted"


def run(count, first=0, validate_every=1, report_every=0):
    """Try ``count`` files from the seeds after ``first``; return what was counted."""
    counted, slowest, broken = Counter(), [0.0, None], []
    for seed in range(first, first + count):
        rng = random.Random(seed)
        roll = seed % 10
        make = (spoil, drawn, of_rods)[roll] if roll < 3 else mutate
        made = make(rng)
        kind = ("text", "schema", "rods")[roll] if roll < 3 else "mutated"
        start = time.process_time()
        try:
            if roll == 0:
                came = check_text(made)
            else:
                came = check_document(made, validated=seed % validate_every == 0)
        except Exception:
            broken.append((seed, traceback.format_exc()))
            came = "BROKEN"
        took = time.process_time() - start
        counted[f"{kind}: {came}"] += 1
        if came != "BROKEN" and took > MOST_SECONDS:
            counted["slower than 2 s of processor time"] += 1
            broken.append((seed, f"{took:.1f} s"))
        if took > slowest[0]:
            slowest[:] = [took, seed]
        if report_every and (seed + 1 - first) % report_every == 0:
            report(seed + 1 - first, counted, slowest, broken)
    return counted, slowest, broken


def by_hypothesis(count, fixed=False):
    """Try ``count`` files that hypothesis chooses, always the same if ``fixed``."""
    counted = Counter()

    @settings(
        max_examples=count,
        derandomize=fixed,
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(strategies.randoms(use_true_random=False), strategies.booleans())
    def try_one(rng, is_drawn):
        came = check_document(drawn(rng) if is_drawn else mutate(rng))
        counted[f"{'schema' if is_drawn else 'mutated'}: {came}"] += 1

    try_one()
    return counted


def report(done, counted, slowest, broken):
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{done:,} files, greatest memory {memory:.0f} MiB")
    for what, many in sorted(counted.items()):
        print(f"  {what:<48}{many:>9,}")
    print(f"  slowest: {slowest[0]:.2f} s, seed {slowest[1]}")
    for seed, trace in broken[:20]:
        print(f"  seed {seed}: {trace.strip().splitlines()[-1][:200]}")
    sys.stdout.flush()


if __name__ == "__main__":
    size = int(sys.argv[1]) if len(sys.argv) > 1 else 200_000
    if sys.argv[2:] == ["hypothesis"]:
        report(size, by_hypothesis(size), [0.0, None], [])
        sys.exit()
    seeds_from = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    totals = run(size, seeds_from, validate_every=5, report_every=2_000)
    report(size, *totals)
    sys.exit(1 if totals[2] else 0)
