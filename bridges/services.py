"""Writes of the lowest room that touch several rows."""

from django.db import transaction

from .models import Attribution, MapVersion, Standing, family_of


@transaction.atomic
def refresh_standing(bridge):
    """Write a bridge's identity where lists and the map read it.

    The longest span speaks for the bridge. Safe to repeat; bumps the map's version.
    """
    spans = list(bridge.spans.all())
    facts = {"span_count": len(spans), "builder_names": _builder_names(bridge)}
    if spans:
        main = max(spans, key=lambda span: (span.length_ft or 0, -span.number))
        facts |= {
            "family": family_of(main.form),
            "form": main.form,
            "deck_position": main.deck_position,
            "connection": main.connection,
            "material": main.material,
            "longest_span_ft": main.length_ft,
        }
    Standing.objects.update_or_create(bridge=bridge, defaults=facts)
    MapVersion.bump()


def _builder_names(bridge):
    built = bridge.attributions.filter(role=Attribution.Role.BUILDER)
    names = built.order_by("id").values_list("builder__name", flat=True)
    text = "; ".join(names)
    most = Standing._meta.get_field("builder_names").max_length
    return text if len(text) <= most else text[: most - 1] + "…"
