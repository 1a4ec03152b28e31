"""The one sentence that stands wherever a load figure does."""

CAUTION = (
    "Screening estimate from recorded sizes; not a load rating and not for posting. "
    "A rating or a posting is the owner's licensed engineer's, under the law that "
    "applies."
)
