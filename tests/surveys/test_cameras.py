"""Where photographs were taken, and that this gives no sensitive bridge away."""

import pytest
from django.utils import timezone

from surveys.camera_api import facing
from surveys.models import Photo, Viewpoint
from tests.bridges.inventory import list_bridge
from tests.makers import make_person, make_visit

ALL = "/api/views/map/?bbox=-180,-85,180,85"


def furnished(number=1, **facts):
    bridge = list_bridge(number, **facts)
    place = {"latitude": 39.5, "longitude": -40.5, "bearing_deg": 44.0}
    Viewpoint.objects.create(bridge=bridge, name="North bank", **place)
    return bridge


def kinds(client):
    features = client.get(ALL).json()["features"]
    return sorted(one["properties"]["kind"] for one in features)


@pytest.mark.django_db
def test_viewpoints_and_accepted_photographs_are_told_with_their_bearing(client):
    bridge = furnished()
    reviewer = make_person("rey", "reviewer")
    for name, who in (("taken", reviewer), ("waiting", None)):
        visit = make_visit(bridge, reviewer=who, name=name)
        Photo.objects.create(
            visit=visit,
            latitude=39.5,
            longitude=-40.5,
            bearing_deg=182.0,
            size_bytes=1,
            sha256=name,
            arrived_at=timezone.now(),
            derivatives={"320": "somewhere.jpg"},
        )
    features = client.get(ALL).json()["features"]
    told = {one["properties"]["kind"]: one["properties"] for one in features}
    assert len(features) == 2
    assert told["viewpoint"]["facing"] == "NE"
    assert told["photo"]["facing"] == "S"
    assert features[0]["geometry"]["coordinates"] == [-40.5, 39.5]


@pytest.mark.django_db
@pytest.mark.parametrize(
    "facts", [{"is_position_sensitive": True}, {"is_public": False}]
)
def test_a_camera_beside_a_bridge_that_is_kept_is_kept_too(client, facts):
    furnished(**facts)
    assert kinds(client) == []
    client.force_login(make_person())
    assert kinds(client) == ["viewpoint"]


@pytest.mark.django_db
@pytest.mark.parametrize("bbox", ["", "1,2,3", "nan,0,1,1", "9,0,1,1"])
def test_a_box_that_makes_no_sense_is_refused(client, bbox):
    answer = client.get(f"/api/views/map/?bbox={bbox}")
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] == "bbox"


@pytest.mark.parametrize(
    "bearing, word", [(0, "N"), (22.4, "N"), (22.6, "NE"), (337.6, "N"), (None, "")]
)
def test_a_bearing_is_the_eighth_of_the_compass_it_lies_in(bearing, word):
    assert facing(bearing) == word
