"""What visits had seen of bridges by a day."""

from . import record, services


def seen_on(bridges, day):
    """Return ``{bridge id: columns of Standing}`` as of a day, in four queries.

    A visit counts from the latest day on which it may have been made.
    """
    return {
        pk: services.what_was_seen(held.until(day))
        for pk, held in record.load_many(bridges).items()
    }
