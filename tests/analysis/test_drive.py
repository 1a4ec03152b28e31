"""Forces computed in the browser's way, by Node, against the engine's, to 1e-6."""

import json
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from analysis.engine import checkfile
from analysis.engine.drive import drive
from analysis.engine.vehicles import VEHICLES
from analysis.truss_page import drive_data

MODULE = Path("analysis/static/analysis/js/statics.js").resolve()
ROD = [{"shape": "round-rod", "diameter_in": 1.0, "ends": "upset"}]
POST = {"area_in2": 8.0, "r_in_plane_in": 3.0, "r_out_of_plane_in": 3.0}
CASES = {
    "pratt": {"form": "pratt", "panels": 6, "panel_length_ft": 15, "depth_ft": 20},
    "one pair": {"form": "pratt", "panels": 7, "panel_length_ft": 16, "depth_ft": 20},
    "all crossed": {
        "form": "pratt",
        "panels": 8,
        "panel_length_ft": 14,
        "depth_ft": 18,
        "crossed_panels": [2, 3, 4, 5, 6, 7],
    },
    "bowstring": {
        "form": "bowstring",
        "panels": 6,
        "panel_length_ft": 12,
        "depth_ft": 14,
    },
    "two intersections": {
        "form": "double-intersection-pratt",
        "panels": 9,
        "panel_length_ft": 12,
        "depth_ft": 22,
    },
    "queen post": {
        "form": "queen-post",
        "panels": 3,
        "panel_length_ft": 14,
        "depth_ft": 10,
        "crossed_panels": [2],
    },
}
SCRIPT = """
import { forcesUnder } from %s;
import { readFileSync } from "node:fs";
const { truss, cases } = JSON.parse(readFileSync(0, "utf8"));
const found = cases.map(({ vehicle, front, heading }) => {
  const answer = forcesUnder(truss, vehicle, front, heading);
  return answer && answer.force;
});
process.stdout.write(JSON.stringify(found));
"""


def document(geometry, plf):
    return {
        "geometry": geometry,
        "connection": "pin",
        "material": {"kind": "steel", "year": 1908},
        "members": [
            {
                "kinds": ["upper-chord", "end-post", "vertical", "lower-chord",
                          "hip-vertical"],
                "section": POST,
            },
            {"kinds": ["diagonal", "counter"], "components": ROD},
        ],
        "dead_load": {"uniform_plf": plf},
        "live_load": {"vehicle": "H15", "fraction": 0.6},
    }  # fmt: skip


def by_node(payload):
    node = shutil.which("node")
    if node is None:
        pytest.skip("Node is not installed")
    run = subprocess.run(
        [node, "--input-type=module", "-e", SCRIPT % json.dumps(MODULE.as_uri())],
        input=json.dumps(payload),
        capture_output=True,
        text=True,
        check=False,
        timeout=600,
    )
    assert run.returncode == 0, run.stderr
    return json.loads(run.stdout)


@pytest.mark.parametrize("plf", [40, 300])
@pytest.mark.parametrize("name", CASES)
def test_forces_in_the_browser_are_the_engines(name, plf):
    check = checkfile.read(document(CASES[name], plf))
    made = drive(check)
    assert made is not None
    truss = json.loads(json.dumps(drive_data(made)))
    rng = np.random.default_rng(3)
    length = made.x_ft[-1] - made.x_ft[0]
    cases, expected, falls = [], [], 0
    for key in ("H15", "type-3S2", "EV3"):
        vehicle = VEHICLES[key]
        behind = np.array(vehicle.behind_front_ft)
        kip = np.array(vehicle.axle_kip)
        fronts = np.concatenate([rng.uniform(-5, length + 40, 40), made.x_ft])
        for heading in (1, -1):
            axles = fronts[:, None] - heading * behind[None, :]
            forces = made.standing(axles, kip)
            for front, row in zip(fronts, forces, strict=True):
                cases.append(
                    {
                        "vehicle": {"kip": kip.tolist(), "behind": behind.tolist()},
                        "front": float(front),
                        "heading": heading,
                    }
                )
                expected.append(row)
    found = by_node({"truss": truss, "cases": cases})
    for one, row in zip(found, expected, strict=True):
        if one is None:
            falls += 1
            assert not row.any()
            continue
        assert one == pytest.approx(row.tolist(), abs=1e-6)
    assert falls < len(cases)


def test_influence_lines_of_the_reference_truss():
    """U2L3 and U2U3 of six panels of 15 ft, 20 ft deep, by the method of sections."""
    check = checkfile.read(document(CASES["pratt"], 300))
    made = drive(check)
    rows = dict(zip(made.truss.names, made.line[:, 1:-1].tolist(), strict=True))
    assert rows["U2U3"] == pytest.approx([-0.375, -0.75, -1.125, -0.75, -0.375])
    assert rows["L3U2"] == pytest.approx(
        [-0.2083, -0.4167, 0.625, 0.4167, 0.2083], abs=1e-4
    )
