"""A bridge with something of everything that a dossier prints."""

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage

from analysis import dossier, services
from analysis.layout import lay_out_bridge
from bridges.models import Attribution, Builder, Claim, LifeEvent, Link, Plate, Source
from surveys.models import Element, Photo, Repair, Viewpoint
from tests.images import jpeg
from tests.makers import make_id, make_person
from tests.structures import GRID, ROD, make_described_bridge, make_visit_saying

MOMENT = "2024-05-06T07:08:09Z"
COUNTERS = {
    f"span-1/{line}/{name}": {
        "components": [{**ROD, "diameter_in": 1.5, "origin": "replacement"}]
    }
    for line in ("upstream", "downstream")
    for name in ("L2U3", "L3U2")
}
PLATED = {
    "span-1/upstream/L2L3": {
        "components": [
            {"shape": "eyebar", "count": 2, "width_in": 3.0, "thickness_in": 0.75},
            {
                "shape": "flat-bar",
                "count": 2,
                "width_in": 3.0,
                "thickness_in": 0.5,
                "origin": "addition",
            },
        ]
    }
}
WRITTEN = {
    "preparer": "Odile Farrow",
    "organisation": "Alder Valley Bridge Society",
    "description": "A pin-connected truss of five panels.\n\nIt stands on stone.",
    "criteria": ["C-type"],
    "period": "1889",
    "significance": "One of three of its kind left on the Alder.",
    "integrity": "It keeps its location, design and materials. ≤ ½ ″ ′ → ☐ é ł",
    "boundary": "A strip 40 ft wide and 130 ft long about the centre line.",
}


def make_recorded_bridge(**facts):
    """Return a bridge with two visits, changes, repairs, claims, plates and pictures."""
    bridge = make_described_bridge(
        **{
            "owner": "Alder County",
            "owner_contact": "Clerk, 555 0100",
            "access_notes": "Ask at the white house for the gate.",
            "position_accuracy_m": 8,
            "summary": "Five panels of wrought iron on stone.",
            **facts,
        }
    )
    drawing = Source.objects.create(
        kind="drawing", title="General drawing", date="1888", held_by="County attic"
    )
    memoir = Source.objects.create(kind="book", title="A road man remembers")
    _facets(bridge, drawing)
    _people_and_papers(bridge, drawing, memoir)
    lay_out_bridge(bridge)
    before = bridge_visits(bridge)[0]
    after = make_visit_saying(
        bridge, 2019, changed={"span-1/deck": GRID} | COUNTERS | PLATED
    )
    services.recheck(bridge=bridge)
    repair = Repair.objects.create(
        bridge=bridge,
        title="Grid deck laid",
        text="Plank taken up, grid laid on new stringers.",
        when="1996/2001",
        after_visit=before,
        seen_at_visit=after,
        by_whom="the county’s own men",
    )
    repair.elements.set(Element.objects.filter(bridge=bridge, path="span-1/deck"))
    repair.sources.set([memoir])
    _pictures(bridge, after)
    return bridge


def bridge_visits(bridge):
    from surveys.models import Visit

    return list(Visit.objects.filter(bridge=bridge).in_time_order())


def _facets(bridge, source):
    span = bridge.spans.get()
    span.form_source = span.material_source = source
    span.form_confidence = "certain"
    span.measured_how = "taped"
    span.save()


def _people_and_papers(bridge, drawing, memoir):
    works = Builder.objects.create(
        name="Harrow & Linton", slug="harrow-linton", place="Brackwater"
    )
    Attribution.objects.create(
        bridge=bridge, builder=works, confidence="certain", source=drawing
    )
    LifeEvent.objects.create(
        bridge=bridge, kind="built", when="1889-11", text="Opened.", source=drawing
    )
    Claim.objects.create(
        bridge=bridge, about="built", value="1889", source=drawing, is_chosen=True
    )
    Claim.objects.create(
        bridge=bridge,
        about="built",
        value="1887",
        source=memoir,
        confidence="possible",
        reason="Written from memory.",
    )
    Plate.objects.create(
        bridge=bridge,
        key="portal",
        location="north portal",
        transcription="HARROW & LINTON\nBRACKWATER\n1889",
        builder=works,
        whereabouts="Locked press, society room",
    )
    Link.objects.create(bridge=bridge, title="A walk", url="https://example.org/walk")


def _pictures(bridge, visit):
    view = Viewpoint.objects.create(bridge=bridge, name="Portal", is_mandatory=True)
    for number, is_drawing in enumerate((False, True), start=1):
        data = jpeg(400, 300, colour=(40 * number, 90, 120))
        name = default_storage.save(f"photos/{number}-1600.jpg", ContentFile(data))
        Photo.objects.create(
            client_id=make_id(f"picture {number}"),
            visit=visit,
            viewpoint=view if number == 1 else None,
            caption=f"Picture {number} of the portal",
            credit="Ada Quill",
            rights="CC BY 4.0",
            taken="2019-06-02",
            bearing_deg=44.0 if number == 1 else None,
            latitude=41.111111,
            longitude=-77.222222,
            is_drawing=is_drawing,
            size_bytes=len(data),
            received_bytes=len(data),
            sha256=f"{number:064x}",
            arrived_at=visit.submitted_at,
            derivatives={"1600": name},
        )


def write_narrative(bridge, person=None, revision=0, **texts):
    """Save a narrative as an officer would; returns what ``save_narrative`` does."""
    person = person or make_person("odile", "officer")
    return dossier.save_narrative(
        bridge=bridge, person=person, revision=revision, written={**WRITTEN, **texts}
    )


FOUND_ON = "2023-11-02"
ANSWERS = {
    "other_names": "none-known",
    "numbers": "County road office: 114",
    "state_code": "PA",
    "county_code": "42035",
    "vicinity": "in",
    "not_for_publication": "no",
    "owner_class": "local",
    "owner_checked": "2023-10-01",
    "owner_notified": "2023-10-01",
    "owner_reply": "Agreed, 2023-11-01.",
    "contributing": "1",
    "noncontributing": "0",
    "resources": "The bridge",
    "historic_function": "road",
    "current_function": "road",
    "classification": "Other: Pratt through truss",
    "materials": ["iron"],
    "opening_description": (
        "A single span of wrought iron carries Mill Road over the Alder River. It is a "
        "pin-connected Pratt through truss of five panels, 90 ft long and 20 ft deep, "
        "opened in November 1889. It stands on two abutments of dressed stone at the "
        "edge of the town. The floor was relaid with steel grid about 2000, and plates "
        "were added to two lower chord bars. All else is as it was first put up, with "
        "its lattice railings along both sides of the roadway."
    ),
    "alterations_searched": "N/A",
    "criteria": ["C-type"],
    **{f"consideration_{letter}": "no" for letter in "abcdefg"},
    "areas": ["engineering"],
    "level": "local",
    "period_why": "The year it was built.",
    "significant_dates": "1889",
    "person": "N/A",
    "affiliation": "N/A",
    "builder_search": "N/A",
    "opening_significance": (
        "The bridge meets criterion C in the area of engineering at the local level as "
        "an early pin-connected truss; its period is 1889."
    ),
    "context": "It is the only known five-panel truss left in the county.",
    "prior_recording": "None",
    "prior_register": "None",
    "prior_survey": "114",
    "repositories": "County attic",
    "search_log": "N/A",
    "acreage": "less than one acre",
    "end_a": "39.674110, -39.845960",
    "end_b": "39.674300, -39.845700",
    "position_how": "Phone on each abutment",
    "boundary_why": "It takes in both abutments and the approach to each.",
    "preparer_title": "Secretary",
    "preparer_contact": "The society's room, Tanner's Ford",
    "prepared_on": "2023-11-05",
    "questions_read": "yes",
}
for _aspect in (
    "location",
    "design",
    "setting",
    "materials",
    "workmanship",
    "feeling",
    "association",
):
    ANSWERS |= {
        f"integrity_{_aspect}": "retained",
        f"integrity_{_aspect}_why": "As first built.",
        f"integrity_{_aspect}_by": "Odile Farrow",
        f"integrity_{_aspect}_on": FOUND_ON,
    }


def make_complete_case(**facts):
    """Return a bridge whose nomination case lacks nothing."""
    bridge = make_recorded_bridge(
        **{
            "latitude": "39.674200",
            "longitude": "-39.845800",
            "county": "Alder County",
            "status": "in-service",
            **facts,
        }
    )
    drawing = Source.objects.get(title="General drawing")
    Source.objects.update(held_by="County attic")
    span = bridge.spans.get()
    for name in ("form", "deck_position", "connection", "material"):
        setattr(span, f"{name}_source", drawing)
        setattr(span, f"{name}_confidence", "certain")
    span.save()
    railings = Element.objects.filter(bridge=bridge).exclude(kind="member")
    seen = make_visit_saying(bridge, 2020, same=[one.path for one in railings])
    services.recheck(bridge=bridge)
    members = Element.objects.filter(bridge=bridge, kind="member")
    changed = Repair.objects.create(
        bridge=bridge, title="Chord plated, counters changed", when="2000", text="Both."
    )
    changed.elements.set(members)
    changed.sources.set([drawing])
    _photographs(bridge, seen)
    person = make_person("ordway", "officer", credit_name="Odile Farrow")
    significance = f"One of three of its kind left on the Alder [S{drawing.pk}]."
    dossier.save_narrative(
        bridge=bridge,
        person=person,
        revision=0,
        written={
            **WRITTEN,
            **ANSWERS,
            "significance": f"{significance}\n\nEngineering of its day [S{drawing.pk}].",
            "photos": [
                str(one.client_id)
                for one in Photo.objects.filter(visit=seen).order_by("id")
            ],
        },
    )
    return bridge


def _photographs(bridge, visit):
    view = Viewpoint.objects.get(bridge=bridge, name="Portal")
    for number in (11, 12, 13):
        data = jpeg(1600, 1200, colour=(12 * number, 90, 120))
        name = default_storage.save(f"photos/{number}-1600.jpg", ContentFile(data))
        Photo.objects.create(
            client_id=make_id(f"picture {number}"),
            visit=visit,
            viewpoint=view if number == 11 else None,
            caption=f"View {number}",
            credit="Ada Quill",
            rights="CC BY 4.0",
            taken="2020-06-02",
            bearing_deg=30.0 * (number - 10),
            latitude=f"39.674{number}0",
            longitude="-39.846100",
            size_bytes=len(data),
            received_bytes=len(data),
            sha256=f"{number:064x}",
            arrived_at=visit.submitted_at,
            width_px=1600,
            height_px=1200,
            format="JPEG",
            derivatives={"1600": name, "800": name, "320": name},
        )


def facts_of(bridge, include=()):
    """Return the facts of a bridge, as if its record had last changed at ``MOMENT``."""
    return dossier.facts(bridge, include) | {"recorded_at": MOMENT}
