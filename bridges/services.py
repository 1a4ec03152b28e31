"""Writes of the lowest room that touch several rows."""

from django.db import transaction
from django.utils import timezone

from . import search
from .models import (
    Attribution,
    Bridge,
    ChangeSeen,
    MapVersion,
    Standing,
    StatusSpell,
    family_of,
)
from .spells import spells_of


@transaction.atomic
def refresh_standing(bridge, *, notes=None, **seen):
    """Write what is said of a bridge where lists, the map and the search read it.

    The longest span speaks for the bridge. ``seen`` are columns of ``Standing`` that
    the survey room knows, ``notes`` the words of its visits. Safe to repeat; bumps the
    map's version.
    """
    spans = list(bridge.spans.all())
    facts = {"span_count": len(spans), "builder_names": _builder_names(bridge), **seen}
    if spans:
        main = max(spans, key=lambda span: (span.length_ft or 0, -span.number))
        lengths = [span.length_ft for span in spans]
        facts |= {
            "family": family_of(main.form),
            "form": main.form,
            "deck_position": main.deck_position,
            "connection": main.connection,
            "material": main.material,
            "longest_span_ft": main.length_ft,
            "panels": main.panels,
            # A sum of some of the spans would be a length that nothing has.
            "total_length_ft": sum(lengths) if all(lengths) else None,
        }
    if "plates" not in facts and not bridge.plates.exists():
        facts["plates"] = ",none,"
    Standing.objects.update_or_create(bridge=bridge, defaults=facts)
    refresh_spells(bridge)
    if notes is not None:
        search.write_notes(bridge.pk, notes)
    MapVersion.bump([bridge.pk])


def refresh_spells(bridge, events=None):
    """Write anew which status a bridge had when. Safe to repeat."""
    events = bridge.events.all() if events is None else events
    spells = spells_of(bridge, events, timezone.localdate())
    StatusSpell.objects.filter(bridge=bridge).delete()
    StatusSpell.objects.bulk_create(
        StatusSpell(bridge=bridge, status=one.status, first=one.first, last=one.last)
        for one in spells
    )


@transaction.atomic
def note_changes(bridge, changes):
    """Keep what was seen to have changed, for feeds and digests.

    ``changes`` are (key, day, parts, text), all that the record now holds of the
    bridge: what it no longer holds goes, what it held before keeps the time when it
    was first noted. Safe to repeat.
    """
    known = {one.key: one for one in ChangeSeen.objects.filter(bridge=bridge)}
    now = timezone.now()
    wanted = {key for key, *_ in changes}
    gone = [one.pk for key, one in known.items() if key not in wanted]
    ChangeSeen.objects.filter(pk__in=gone).delete()
    rows = [
        ChangeSeen(
            bridge=bridge,
            key=key,
            day=day,
            parts=parts,
            text=text,
            noted_at=known[key].noted_at if key in known else now,
        )
        for key, day, parts, text in changes
    ]
    ChangeSeen.objects.bulk_create(
        rows,
        update_conflicts=True,
        unique_fields=["bridge", "key"],
        update_fields=["day", "parts", "text"],
    )


def refresh_all(progress=None):
    """Make anew all that follows of bridges alone: spells, words, the map's rows."""
    for bridge in Bridge.objects.prefetch_related("events").iterator(chunk_size=500):
        with transaction.atomic():
            refresh_spells(bridge)
        if progress is not None:
            progress()
    with transaction.atomic():
        MapVersion.bump()


def _builder_names(bridge):
    built = bridge.attributions.filter(role=Attribution.Role.BUILDER)
    names = built.order_by("id").values_list("builder__name", flat=True)
    text = "; ".join(names)
    most = Standing._meta.get_field("builder_names").max_length
    return text if len(text) <= most else text[: most - 1] + "…"
