"""Small drawings of forms for the key, and their elevations with the forces in them."""

from __future__ import annotations

from django.utils.safestring import SafeString, mark_safe

from bridges import drawing

WIDTH_PX, MARGIN_PX, LEAST_PX, MOST_PX = 240.0, 14.0, 34.0, 96.0
LIGHT_PX, HEAVY_PX = 1.3, 3.4
SAME_KIP = 1e-6


def skeleton(geometry) -> dict:
    """Return a geometry as ``bridges.drawing`` takes it."""
    return {
        "joints": {name: list(place) for name, place in geometry.joints.items()},
        "members": [[a + b, a, b, geometry.kinds[a + b]] for a, b in geometry.members],
        "panels": len(geometry.loaded_joints) - 1,
    }


def sketch(geometry, heavy=(), *, ringed=()) -> SafeString:
    """Draw the lines of a truss alone, bars of the kinds in ``heavy`` in heavy line.

    ``ringed`` are joints to be marked. It is hidden from who cannot see: the words
    stand beside it.
    """
    xs = [x for x, _ in geometry.joints.values()]
    ys = [y for _, y in geometry.joints.values()]
    left, low = min(xs), min(ys)
    scale = (WIDTH_PX - 2 * MARGIN_PX) / (max(xs) - left)
    tall = min(max((max(ys) - low) * scale, LEAST_PX), MOST_PX)
    rise = tall / (max(ys) - low)
    height = tall + 2 * MARGIN_PX

    def at(joint):
        x, y = geometry.joints[joint]
        return MARGIN_PX + (x - left) * scale, height - MARGIN_PX - (y - low) * rise

    def run(is_heavy):
        return "".join(
            "M{:.1f} {:.1f}L{:.1f} {:.1f}".format(*at(a), *at(b))
            for a, b in geometry.members
            if (geometry.kinds[a + b] in heavy) == is_heavy
        )

    light = "line-pencil" if heavy else "line-ink"
    parts = [f'<path d="{run(False)}" class="{light}" stroke-width="{LIGHT_PX}"/>']
    if heavy:
        parts.append(
            f'<path d="{run(True)}" class="line-ink" stroke-width="{HEAVY_PX}"/>'
        )
    for joint in (geometry.pinned, geometry.roller):
        x, y = at(joint)
        parts.append(
            f'<path d="M{x:.1f} {y + 1:.1f}l-5 7h10z" class="line-rule" '
            'stroke-width="1.2"/>'
        )
    for joint in ringed:
        x, y = at(joint)
        parts.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="7" class="line-rust" '
            'stroke-width="2"/>'
        )
    return mark_safe(
        f'<svg xmlns="http://www.w3.org/2000/svg" class="sketch" viewBox="0 0 '
        f'{WIDTH_PX:.0f} {height:.0f}" aria-hidden="true" focusable="false">'
        f'<g fill="none" stroke-linecap="round">{"".join(parts)}</g></svg>'
    )


def action_of(force_kip, *, is_rod=False):
    """Return the drawing's word for a force."""
    if abs(force_kip) < SAME_KIP:
        return drawing.SLACK if is_rod else drawing.ZERO
    return drawing.TENSION if force_kip > 0 else drawing.COMPRESSION


def bars(forces_kip, *, rods=(), kinds=None, unit="kip", label=None):
    """Return ``{member: BarStyle}``; ``label(force)`` is what is written on a bar."""
    styles = {}
    for name, force in forces_kip.items():
        action = action_of(force, is_rod=name in rods)
        has_force = action in (drawing.TENSION, drawing.COMPRESSION)
        words = [
            (kinds or {}).get(name, "").replace("-", " "),
            f"{abs(force):.2f} {unit}" if has_force else "",
            drawing.ACTION_WORDS[action],
        ]
        told = ", ".join(word for word in words if word)
        styles[name] = drawing.BarStyle(
            force_kip=force if has_force else None,
            action=action,
            label=label(force) if label and has_force else "",
            title=f"{name}: {told}",
        )
    return styles


def elevation(geometry, styles, *, title, name):
    return drawing.elevation(skeleton(geometry), styles, title=title, name=name)
