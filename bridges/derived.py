"""Rows made of other rows, for search, map, feeds and numbers; never typed in.

``bridges.services`` writes them in the transaction of what they follow from. All of
them can be thrown away and made anew with ``manage.py refresh_inventory``.
"""

from django.conf import settings
from django.db import models
from django.db.models import Q


class MapRow(models.Model):
    """What the map's index holds of one bridge, packed (see ``bridges.packing``)."""

    bridge = models.OneToOneField(
        "bridges.Bridge", on_delete=models.CASCADE, primary_key=True, related_name="+"
    )
    packed = models.BinaryField()
    # Builders with how surely, five bytes each.
    hands = models.BinaryField(default=b"")
    # The map's version at which this row was written.
    stamp = models.PositiveBigIntegerField(default=0, db_index=True)

    def __str__(self):
        return f"map row of {self.bridge_id}"


class MapTerm(models.Model):
    """A number for a word that the record itself brings: a county, a kind of deck."""

    kind = models.CharField(max_length=12)
    word = models.CharField(max_length=160)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["kind", "word"], name="map_term_once")
        ]

    def __str__(self):
        return self.word


class SearchText(models.Model):
    """The words by which a bridge is found, folded to plain small letters."""

    bridge = models.OneToOneField(
        "bridges.Bridge", on_delete=models.CASCADE, primary_key=True, related_name="+"
    )
    told = models.TextField("what anybody may search", blank=True)
    kept = models.TextField("what only the society's people may search", blank=True)
    # What visits said, as the survey room hands it over; part of one of the above.
    notes = models.TextField(blank=True)

    def __str__(self):
        return f"words of {self.bridge_id}"


class SearchWord(models.Model):
    """A word of the record, to tell a misspelt one what it may have meant."""

    word = models.CharField(max_length=40, unique=True)
    # Somewhere in what anybody may search.
    is_told = models.BooleanField(default=False)

    def __str__(self):
        return self.word


class StatusSpell(models.Model):
    """A time through which a bridge had one status, as far as its events say.

    ``first`` is the day from which it may have had it, ``last`` the day before the
    next; either may be open (null).
    """

    bridge = models.ForeignKey(
        "bridges.Bridge", on_delete=models.CASCADE, related_name="spells"
    )
    status = models.CharField(max_length=20)
    first = models.DateField(null=True)
    last = models.DateField(null=True)

    class Meta:
        ordering = ["bridge", "first", "id"]
        indexes = [models.Index(fields=["first", "last"])]

    def __str__(self):
        return f"{self.status} {self.first}–{self.last}"


class ChangeSeen(models.Model):
    """One visit at which something was seen to have changed, or a change of status."""

    bridge = models.ForeignKey(
        "bridges.Bridge", on_delete=models.CASCADE, related_name="changes_seen"
    )
    # The visit's own id, or what else tells this change from others of the bridge.
    key = models.CharField(max_length=40)
    day = models.DateField()
    # As in ``Standing.changed_parts``.
    parts = models.CharField(max_length=200)
    text = models.TextField(blank=True)
    # When the record first held it: a visit of 1912 may be news today.
    noted_at = models.DateTimeField(db_index=True)

    class Meta:
        ordering = ["-noted_at", "-day", "-id"]
        constraints = [
            models.UniqueConstraint(fields=["bridge", "key"], name="change_seen_once")
        ]

    def __str__(self):
        return f"{self.bridge_id} {self.day} {self.parts}"

    @property
    def words(self):
        return [word for word in self.parts.split(",") if word]


class Watch(models.Model):
    """What somebody asked to be told of: one bridge, or all that a view shows."""

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+"
    )
    bridge = models.ForeignKey(
        "bridges.Bridge",
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="+",
    )
    # The filters of a view, as its address writes them; blank for one bridge.
    query = models.CharField(max_length=1000, blank=True)
    title = models.CharField(max_length=300, blank=True)
    made_at = models.DateTimeField(auto_now_add=True)
    told_until = models.DateTimeField()

    class Meta:
        ordering = ["title", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["person", "bridge"],
                condition=Q(bridge__isnull=False),
                name="watch_of_a_bridge_once",
            ),
            models.UniqueConstraint(
                fields=["person", "query"],
                condition=Q(bridge__isnull=True),
                name="watch_of_a_view_once",
            ),
        ]

    def __str__(self):
        return self.title
