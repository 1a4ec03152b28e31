"""The band of an estimate drawn on an axis of tons. Pure."""

from __future__ import annotations

from django.utils.html import escape
from django.utils.safestring import mark_safe

from shared.templatetags.figures import figure

WIDTH, HEIGHT, LEFT, RIGHT = 560.0, 92.0, 24.0, 24.0
AXIS = 58.0
STEPS = (0.5, 1, 2, 5, 10, 20, 50, 100)


def draw(band, estimate, posted=None):
    """Draw from the least to the most, with the estimate and any posted limit marked.

    ``band`` as ``measure.band`` returns it; tons. "" where there is no band.
    """
    if band.get("high") is None:
        return ""
    most = max(band["high"], estimate or 0.0, posted or 0.0, 0.1) * 1.12

    def x(tons):
        return LEFT + (WIDTH - LEFT - RIGHT) * tons / most

    step = next((one for one in STEPS if most / one <= 8), STEPS[-1])
    ticks = [step * i for i in range(int(most / step) + 1)]
    parts = [f'<path class="axis" d="M{LEFT} {AXIS}H{WIDTH - RIGHT}" fill="none"/>']
    parts += [
        f'<path class="axis" d="M{x(one):.1f} {AXIS}v5" fill="none"/>'
        f'<text x="{x(one):.1f}" y="{AXIS + 22}" font-size="14" text-anchor="middle">'
        f"{one:g}</text>"
        for one in ticks
    ]
    low, mid, high = (x(band[key]) for key in ("low", "mid", "high"))
    parts.append(
        f'<rect class="reach" x="{low:.1f}" y="{AXIS - 22}" '
        f'width="{max(high - low, 2):.1f}" height="16"/>'
        f'<path class="middle" d="M{mid:.1f} {AXIS - 24}v20" stroke-width="2"/>'
    )
    marks = [(estimate, "estimate", 12)]
    if posted is not None:
        marks.append((posted, "posted", 12))
    if len(marks) == 2 and estimate is not None and abs(x(posted) - x(estimate)) < 70:
        marks[1] = (posted, "posted", 28)
    for tons, word, y in marks:
        if tons is not None:
            end = "end" if x(tons) > WIDTH - 60 else "middle"
            parts.append(
                f'<path class="mark" d="M{x(tons):.1f} {y + 4}V{AXIS}" '
                'stroke-width="1.6"/>'
                f'<text x="{x(tons):.1f}" y="{y}" font-size="14" text-anchor="{end}">'
                f"{word}</text>"
            )
    said = (
        f"From {figure(band['low'])} to {figure(band['high'])} tons, middle "
        f"{figure(band['mid'])}"
    )
    if estimate is not None:
        said += f"; the estimate is {figure(estimate)}"
    if posted is not None:
        said += f"; posted at {figure(posted, 0)}"
    return mark_safe(
        f'<svg xmlns="http://www.w3.org/2000/svg" class="band" role="img" '
        f'aria-label="{escape(said)} tons." viewBox="0 0 {WIDTH:g} {HEIGHT:g}">'
        f"{''.join(parts)}</svg>"
    )
