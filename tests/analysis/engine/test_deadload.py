"""Dead load, item by item, worked with a pencil."""

import numpy as np
import pytest

from analysis.engine.answer import answer
from analysis.engine.deadload import DeadLoad, Floor, Layer, Stringers, joint_loads

X = np.array([0.0, 10.0, 30.0, 40.0])
ENDS = np.array([[0, 1], [1, 2], [2, 3]])
WEIGHTS = np.array([100.0, 200.0, 300.0])


def items(load):
    found = joint_loads(load, ("A", "B", "C", "D"), [0, 1, 2, 3], X, ENDS, WEIGHTS)
    return {item.what: item.joint_kip.tolist() for item in found}


def test_a_load_along_the_deck_goes_to_joints_by_tributary_length():
    assert items(DeadLoad(uniform_plf=100.0)) == {
        "uniform": pytest.approx([0.5, 1.5, 1.5, 0.5])
    }


def test_half_of_each_members_weight_goes_to_each_end():
    found = items(DeadLoad(details_factor=1.2))
    assert found == {"self-weight": pytest.approx([0.06, 0.18, 0.30, 0.18])}


def test_loads_given_at_joints_stay_there():
    found = items(DeadLoad(joints_kip=(("C", 2.5), ("D", -1.0))))
    assert found == {"joint loads": [0.0, 0.0, 2.5, -1.0]}


def test_floor_item_by_item():
    """Half of: 3-in plank 12.5 psf on 16 ft = 200 plf; 5 stringers of 20 = 100 plf;
    railing 30 plf; floor beams of 600 lb at every loaded joint."""
    floor = Floor(16.0, (Layer("timber", 3.0),), Stringers(5, 20.0), 600.0, 30.0)
    found = items(DeadLoad(floor=floor))
    panel = np.array([5.0, 15.0, 15.0, 5.0])
    assert found["floor: timber, 3 in"] == pytest.approx(list(0.1 * panel))
    assert found["floor: stringers"] == pytest.approx(list(0.05 * panel))
    assert found["floor: railing"] == pytest.approx(list(0.015 * panel))
    assert found["floor: floor beams"] == pytest.approx([0.3] * 4)


@pytest.mark.parametrize(
    ("layer", "psf"),
    [
        (Layer("timber", 3.0), 12.5),
        (Layer("timber", 4.0), 16.7),
        (Layer("asphalt", 1.0), 12.5),
        (Layer("concrete", 6.0), 75.0),
        (Layer("gravel", 3.0), 35.0),
        (Layer("steel-grid", 5.0), 20.0),
        (Layer("concrete", psf=62.0), 62.0),
    ],
)
def test_decks_weigh_what_handbooks_say(layer, psf):
    """Plank and concrete derived from 50 and 150 lb/cu ft; the rest recalled."""
    assert layer.weight_psf == pytest.approx(psf, abs=0.05)


def test_concrete_on_pans_for_plank_adds_396_plf_to_each_truss():
    """16 ft of roadway: 16 x (62 - 12.5)/2 (derived)."""

    def weight(layer):
        found = answer(
            {
                "geometry": {
                    "form": "pratt",
                    "panels": 4,
                    "panel_length_ft": 25,
                    "depth_ft": 15,
                },
                "dead_load": {"floor": {"roadway_ft": 16, "layers": [layer]}},
            }
        )
        return found["dead_load"]["total_kip"]

    plank = weight({"material": "timber", "thickness_in": 3})
    pans = weight({"material": "concrete", "psf": 62})
    assert (pans - plank) * 1000 / 100 == pytest.approx(396.0)


def test_the_answer_itemises_what_it_adds_up():
    found = answer(
        {
            "geometry": {
                "form": "king-post",
                "panels": 2,
                "panel_length_ft": 10,
                "depth_ft": 10,
            },
            "material": {"kind": "steel", "year": 1900},
            "members": [{"names": ["L1U1"], "section": {"area_in2": 1.44}}],
            "dead_load": {
                "uniform_plf": 100,
                "joints_kip": {"L1": 3},
                "self_weight": {"details_factor": 1.0},
            },
        }
    )
    assert found["dead_load"] == {
        "total_kip": pytest.approx(2.0 + 3.0 + 0.049),
        "items": [
            {"what": "uniform", "kip": pytest.approx(2.0)},
            {"what": "joint loads", "kip": 3.0},
            {"what": "self-weight", "kip": pytest.approx(0.049)},
        ],
    }
    # Half the weight of the hanger goes to each of its ends, the crown carries down.
    assert found["members"]["L1U1"]["dead_kip"] == pytest.approx(1.0 + 3.0 + 0.0245)
