"""What a later vintage of a list says otherwise, row by row and field by field."""

from __future__ import annotations

from django.db.models import Exists, OuterRef, Q

from bridges.models import Import, ImportRow

from .layouts import Kept

# An older vintage that holds fewer fields has not said that the others were blank.
MOST_EARLIER = 40


class Earlier:
    """The vintages of the same list that were taken before this one."""

    def __init__(self, of: Import):
        self.of = of
        taken = Import.objects.filter(
            list_name=of.list_name, state=Import.State.TAKEN
        ).exclude(pk=of.pk)
        taken = taken.filter(
            Q(vintage__lt=of.vintage) | Q(vintage=of.vintage, pk__lt=of.pk)
        )
        ordered = taken.order_by("-vintage", "-pk")[:MOST_EARLIER]
        self.rank = {one.pk: place for place, one in enumerate(ordered)}
        self.kept = {one.pk: Kept(one) for one in ordered}
        self.now = Kept(of) if self.kept else None

    def changes(self, records):
        """Return {key: (changes, vintage's Import id)} of those seen before."""
        if not self.kept:
            return {}
        keys = [record.key for record in records]
        rows = ImportRow.objects.filter(of__in=self.rank, key__in=keys)
        rows = rows.exclude(outcome=ImportRow.Outcome.FAULTY)
        latest = {}
        for of, key, raw in rows.values_list("of_id", "key", "raw"):
            if key not in latest or self.rank[of] < self.rank[latest[key][0]]:
                latest[key] = of, raw
        return {
            record.key: self._between(*latest[record.key], record)
            for record in records
            if record.key in latest
        }

    def _between(self, of, raw, record):
        before = self.kept[of]
        if raw == record.raw and before.of.header == self.of.header:
            return {}
        was, now = before.fields(raw), self.now.fields(record.raw)
        shared = before.names & self.now.names
        return {
            name: [was.get(name, ""), now.get(name, "")]
            for name in [*was, *(n for n in now if n not in was)]
            if was.get(name, "") != now.get(name, "") and (not shared or name in shared)
        }

    def latest(self, parts):
        """Return the vintage before this one that speaks of any of the same states."""
        for pk in sorted(self.rank, key=self.rank.get):
            other = self.kept[pk].of
            if not parts or not other.parts or set(parts) & set(other.parts):
                return other
        return None


def gone(of: Import):
    """Return the rows of the vintage before whose records this one no longer has."""
    if of.previous_id is None:
        return ImportRow.objects.none()
    still = ImportRow.objects.filter(of=of, key=OuterRef("key"))
    rows = ImportRow.objects.filter(of=of.previous_id).exclude(key="")
    rows = rows.filter(~Exists(still))
    if of.parts:
        within = Q()
        for part in of.parts:
            within |= Q(key__startswith=f"{part}:")
        rows = rows.filter(within)
    return rows.order_by("line")
