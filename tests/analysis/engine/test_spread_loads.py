"""Uniform loads on trusses of crossed rods, all members together, against plainer ways."""

import numpy as np
import pytest

from analysis.engine import general, liveload, mixed, spreads
from analysis.engine.answer import _assemble, answer
from analysis.engine.checkfile import read
from analysis.engine.influence import one_length
from analysis.engine.moving import envelope_of
from analysis.engine.rating import ratings_of
from analysis.engine.setting import Setting, setting
from tests.analysis.engine.checkfiles import THROUGH

ROD = {"shape": "round-rod", "diameter_in": 0.875, "ends": "upset"}
PANELS = 7


def document(form, model="elastic", kinds=("diagonal", "counter"), **geometry):
    members = [
        {
            "kinds": ["upper-chord", "lower-chord", "end-post", "vertical"],
            "section": THROUGH["members"][0]["section"],
        },
        {"kinds": list(kinds), "components": [ROD]},
    ]
    shape = {"form": form, "panels": PANELS, "panel_length_ft": 15, "depth_ft": 18}
    return THROUGH | {
        "geometry": shape | geometry,
        "members": members,
        "dead_load": {"uniform_plf": 90, "joints_kip": {"L2": 1.5, "U3": 0.75}},
        "live_load": {"uniform_plf": 800},
        "tension_only_model": model,
    }


def asked_of(document):
    check = read(document)
    batch = _assemble([check])
    loading = liveload.loading(check, batch.truss)
    truss, dead = batch.truss, batch.dead_kip
    return setting(truss, batch.ea_kip, dead, loading.loads, batch.model, loading.web)


def every_set_of_panels(asked):
    """Return (2^panels, n) joint loads: the load on every set of whole panels."""
    x = asked.system.truss.xy_ft[asked.system.truss.loaded, 0]
    half = asked.loads[0].klf * np.diff(x) / 2.0
    on = np.array([[b >> i & 1 for i in range(PANELS)] for b in range(2**PANELS)])
    joints = np.zeros((len(on), len(x)))
    joints[:, :-1] += on * half
    joints[:, 1:] += on * half
    return general.on_all_joints(asked.system, joints)


@pytest.mark.parametrize(
    ("form", "model"),
    [
        ("bowstring", "elastic"),
        ("bowstring", "classical"),
        ("lenticular", "elastic"),
        ("pratt", "elastic"),
    ],
)
def test_no_set_of_loaded_panels_moves_a_member_further(form, model):
    crossed = {"crossed_panels": [2, 3, 5]} if form == "pratt" else {}
    asked = asked_of(document(form, model, **crossed))
    found = envelope_of(asked, 1.0)
    dead = asked.settled.dead[0]
    live = []
    for load, piece in zip(
        every_set_of_panels(asked),
        asked.sets(0).solve_many(dead + every_set_of_panels(asked)),
        strict=True,
    ):
        live.append(piece.force @ (dead + load) - asked.state.forces_kip[0])
    assert (np.max(live, axis=0) <= found.live_max_kip[0] + 1e-7).all()
    assert (np.min(live, axis=0) >= found.live_min_kip[0] - 1e-7).all()


@pytest.mark.parametrize("one_by_one", [False, True])
@pytest.mark.parametrize("model", ["elastic", "classical"])
def test_nor_far_less_far_whatever_the_dead_load(model, one_by_one, monkeypatch):
    """Where a bar's going slack keeps a force from growing, the worst load is one that
    stays nowhere; any one length being looked at, all but little is found.
    """
    if one_by_one:
        monkeypatch.setattr(Setting, "spread_over", lambda self, c: None)
    rng = np.random.default_rng(4)
    short, several = [], 0
    for _ in range(12):
        form = ("bowstring", "lenticular", "pratt")[int(rng.integers(3))]
        crossed = {"crossed_panels": [2, 3, 4, 5, 6]} if form == "pratt" else {}
        given = document(form, model, **crossed)
        names = [f"{row}{k}" for row in "LU" for k in rng.choice(range(1, 7), 2, False)]
        joints = {name: float(rng.uniform(0.0, 2.0)) for name in names}
        plf = float(rng.choice([30.0, 90.0, 300.0]))
        asked = asked_of(
            given | {"dead_load": {"uniform_plf": plf, "joints_kip": joints}}
        )
        found = envelope_of(asked, 1.0)
        dead = asked.settled.dead[0]
        total = dead + every_set_of_panels(asked)
        live = [
            piece.force @ load - asked.state.forces_kip[0]
            for load, piece in zip(total, asked.sets(0).solve_many(total), strict=True)
        ]
        most = np.abs(live).max()
        short.append(np.max(live, axis=0) - found.live_max_kip[0])
        short.append(found.live_min_kip[0] - np.min(live, axis=0))
        short[-2:] = short[-2] / most, short[-1] / most
        several += (np.concatenate(short[-2:]) > 1e-7).sum()
    assert np.concatenate(short).max() < 0.003
    assert several < 10


def test_a_rod_is_relieved_as_far_as_by_any_set_of_panels():
    """The panel at the end alone relieves L2U1, which loading more of them does not."""
    given = document("pratt", crossed_panels=[2, 3, 4, 5, 6])
    joints = {"L1": 0.6, "L5": 0.7, "U5": 1.1, "U1": 1.2}
    given["dead_load"] = {"uniform_plf": 90, "joints_kip": joints}
    asked = asked_of(given)
    rod = asked.system.truss.names.index("L2U1")
    found = envelope_of(asked, 1.0).live_min_kip[0, rod]
    total = asked.settled.dead[0] + every_set_of_panels(asked)
    least = min(
        piece.force[rod] @ load
        for load, piece in zip(total, asked.sets(0).solve_many(total), strict=True)
    )
    assert found <= least - asked.state.forces_kip[0, rod] + 1e-9


@pytest.mark.parametrize("model", ["elastic", "classical"])
def test_the_general_way_finds_nothing_worse(model, monkeypatch):
    asked = asked_of(document("bowstring", model))
    kip = np.full((1, 1, len(asked.system.truss.names)), 6.0)
    ways = []
    for _ in range(2):
        ways.append((envelope_of(asked, 1.0), ratings_of(asked, 1.0, kip, kip)))
        monkeypatch.setattr(type(asked), "spread_over", lambda self, c: None)
    (mine, rated), (theirs, theirs_rated) = ways
    assert (theirs.live_max_kip <= mine.live_max_kip + 1e-8).all()
    assert (theirs.live_min_kip >= mine.live_min_kip - 1e-8).all()
    assert (theirs_rated.rating >= rated.rating * (1.0 - 1e-9)).all()
    # Most are the same: what differs is where another way of being taut is worse.
    same = np.isclose(mine.live_max_kip, theirs.live_max_kip, atol=1e-8)
    assert same.mean() > 0.7
    assert np.isclose(rated.rating, theirs_rated.rating).mean() > 0.7


def falling(form, model="elastic", live=None, **geometry):
    """Return a truss that part of the load brings down: rods where nothing crosses them."""
    given = document(form, model, **geometry)
    return asked_of(given | {"live_load": live or {"uniform_plf": 800}})


@pytest.mark.parametrize("crossed", [[3, 11], [2, 4, 9, 11], [*range(2, 13)]])
def test_where_it_falls_members_rate_on_the_way_there(monkeypatch, crossed):
    shape = {"panels": 13, "crossed_panels": crossed}
    asked = falling("pratt", **shape)
    kip = np.geomspace(0.5, 300.0, 12)[None, :, None]
    kip = np.tile(kip, (1, 1, len(asked.system.truss.names)))
    one_by_one = general.multiples

    def never(*_):
        raise AssertionError("asked one by one")

    monkeypatch.setattr(general, "multiples", never)
    rated = ratings_of(asked, 1.0, kip, kip).rating
    assert (asked.fall(1.0).fraction[0] < 1.0) == (len(crossed) < 11)
    monkeypatch.setattr(general, "multiples", one_by_one)
    monkeypatch.setattr(general, "MOST_LENGTHS", spreads.MOST_LENGTHS)
    monkeypatch.setattr(type(asked), "spread_over", lambda self, c: None)
    theirs = ratings_of(falling("pratt", **shape), 1.0, kip, kip).rating
    touched = asked.system.touched
    mine, theirs = rated[0][:, touched], theirs[0][:, touched]
    np.testing.assert_allclose(mine, theirs, rtol=1e-8)
    assert np.isfinite(mine).sum() > len(touched)
    if len(crossed) < 11:
        assert np.isinf(mine).any()


@pytest.mark.parametrize("model", ["elastic", "classical"])
@pytest.mark.parametrize("with_places", [False, True])
@pytest.mark.parametrize(
    ("form", "geometry"),
    [
        ("pratt", {"crossed_panels": [3, 5]}),
        ("double-intersection-pratt", {"panels": 8}),
        ("post", {"panels": 8}),
        ("bowstring", {}),
    ],
)
def test_several_loads_are_the_worse_of_each(form, geometry, with_places, model):
    """Whichever brings the truss down, and by whatever way each load is answered."""
    truck = {"vehicle": "HS20", "fraction": 0.6, "impact": 0.3}
    many = falling(form, model, truck | {"uniform_plf": 1500}, **geometry)
    kip = np.full((1, 1, len(many.system.truss.names)), 9.0)
    rises = np.where(many.system.truss.tension_only, 0.8, 0.6)
    mine = envelope_of(many, rises, with_places=with_places)
    mine_rated = ratings_of(many, rises, kip, kip).rating
    each = [
        falling(form, model, live, **geometry)
        for live in (truck, {"uniform_plf": 1500, "fraction": 0.6, "impact": 0.3})
    ]
    ways = [envelope_of(one, rises, with_places=with_places) for one in each]
    up = np.maximum(*(one.live_max_kip for one in ways))
    down = np.minimum(*(one.live_min_kip for one in ways))
    np.testing.assert_allclose(mine.live_max_kip, up, rtol=1e-9, atol=1e-8)
    np.testing.assert_allclose(mine.live_min_kip, down, rtol=1e-9, atol=1e-8)
    for one in ways:
        assert max((up - one.live_max_kip).max(), (one.live_min_kip - down).max()) > 0.5
    least = np.minimum(*(ratings_of(one, rises, kip, kip).rating for one in each))
    np.testing.assert_allclose(mine_rated, least, rtol=1e-9)
    assert many.state.stands[0]
    assert (form == "bowstring") == (mine.unstable_at[0] is None)


@pytest.mark.parametrize("form", ["bowstring", "pratt"])
def test_a_lanes_own_load_stands_where_it_adds_most_on_each_length(form):
    """Against every length with that load on every joint: hardly any member has a worse."""
    crossed = {"crossed_panels": [3, 5]} if form == "pratt" else {}
    lane = {"lane": "HS20", "fraction": 0.2}
    asked = falling(form, live=lane, **crossed)
    (load,), members, sets = asked.loads, asked.system.touched, asked.sets(0)
    over, dead = asked.spread_over(0), asked.settled.dead[0]
    share = np.full(len(asked.web), 0.2)
    kip = np.full((1, len(share)), 4.0)
    high, low = over._extremes_of_lengths(load, members, share)
    multiple = over._multiples_of_lengths(load, members, (kip, -kip))[0]
    lengths = load.klf * one_length(over.places_ft, 99)
    most, least, first = np.full((3, len(share)), [[-np.inf], [np.inf], [np.inf]])
    start = sets.solve(dead)
    for web in (False, True):
        mine = asked.web == web
        own = load.concentrated_web_kip if web else load.concentrated_chord_kip
        every = (lengths[:, None] + own * np.eye(lengths.shape[1])).reshape(
            -1, lengths.shape[1]
        )
        live = general.on_all_joints(asked.system, every)
        total = dead + 0.2 * live
        pieces = sets.solve_many(total)
        force = [p.force @ one for one, p in zip(total, pieces, strict=True) if p]
        most[mine] = np.max(force, axis=0)[mine]
        least[mine] = np.min(force, axis=0)[mine]
        rays = [
            general._along_ray(
                sets, dead, one, start, sets.solve(one), general.Limits(kip, -kip)
            )[0]
            for one in live
        ]
        first[mine] = np.min(rays, axis=0)[mine]
    most, least, first = most[members], least[members], first[members]
    assert (high <= most + 1e-8).all()
    assert (low >= least - 1e-8).all()
    assert (multiple >= first * (1.0 - 1e-9)).all()
    assert np.isclose(high, most, atol=1e-8).mean() > 0.7
    assert np.isclose(low, least, atol=1e-8).mean() > 0.7
    assert np.isclose(multiple, first).mean() > 0.7
    # With what else is looked at, none that matters is left.
    found = envelope_of(asked, 0.2)
    still = asked.state.forces_kip[0, members]
    scale = np.abs(most).max()
    assert (still + found.live_max_kip[0, members] >= most - 0.002 * scale).all()
    assert (still + found.live_min_kip[0, members] <= least + 0.002 * scale).all()


def test_the_force_that_is_found_is_reached_at_a_multiple_of_one():
    asked = asked_of(document("lenticular"))
    found = envelope_of(asked, 1.0)
    up, down = found.live_max_kip[:, None], -found.live_min_kip[:, None]
    far = np.where(up > 1e-6, up, np.inf), np.where(down > 1e-6, down, np.inf)
    moved = np.minimum(*far) < np.inf
    reached = ratings_of(asked, 1.0, *far).rating
    assert (reached[moved] <= 1.0 + 1e-9).all()
    assert np.median(reached[moved]) > 1.0 - 1e-9


def test_members_near_a_post_that_may_go_slack_are_left_to_the_general_way(monkeypatch):
    """Rods for verticals: some would be pressed under part of the load."""
    asked = asked_of(document("bowstring", kinds=("diagonal", "counter", "vertical")))
    assert asked.state.stands[0]
    left = asked.spread_over(0).extremes(
        asked.loads[0], asked.system.touched, np.ones(len(asked.web))
    )[2]
    assert len(left)
    as_it_is = envelope_of(asked, 1.0)
    monkeypatch.setattr(type(asked), "spread_over", lambda self, c: None)
    one_by_one = envelope_of(asked, 1.0)
    assert (one_by_one.live_max_kip <= as_it_is.live_max_kip + 1e-8).all()


def test_a_truss_that_falls_by_itself_is_not_loaded_at_all(monkeypatch):
    def never(*_):
        raise AssertionError("moved a load over a truss that does not stand")

    monkeypatch.setattr(mixed, "vehicle_shares", never)
    monkeypatch.setattr("analysis.engine.moving.vehicle_peaks", never)
    monkeypatch.setattr(spreads, "Spreads", never)
    kinds = ("diagonal", "counter", "vertical", "hip-vertical")
    hung = document("pratt", kinds=kinds, crossed_panels=[2, 3, 5])
    hung["live_load"] = {"vehicle": "HS20", "lane": "HS20"}
    assert not answer(hung)["stands"]
