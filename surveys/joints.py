"""Joints as things that can be observed.

A truss has some twenty of them and most are never spoken of, so a joint becomes an
element of the record when a visit first says something of it.
"""

from __future__ import annotations

from bridges.models import TrussLine

from .models import Element


def joint_lines(bridge):
    """Return ``{path of a truss line: TrussLine}`` of the lines that are drawn."""
    lines = TrussLine.objects.filter(span__bridge=bridge).select_related("span")
    return {
        f"span-{line.span.number}/{line.key}": line
        for line in lines
        if line.span.skeleton
    }


def element_at(path, lines, elements):
    """Return the unsaved element of a joint at this path, or None where there is none.

    ``lines`` as ``joint_lines`` returns them, ``elements`` those of the bridge by path.
    """
    prefix, _, name = path.rpartition("/")
    line = lines.get(prefix)
    if line is None or name not in line.span.skeleton["joints"]:
        return None
    # Behind the members of its own truss.
    behind = max(
        (
            one.position
            for one in elements.values()
            if one.truss_line_id == line.pk and one.kind == Element.Kind.MEMBER
        ),
        default=0,
    )
    order = list(line.span.skeleton["joints"]).index(name)
    return Element(
        bridge_id=line.span.bridge_id,
        span=line.span,
        truss_line=line,
        kind=Element.Kind.JOINT,
        path=path,
        name=name_of(name, line),
        position=behind + 1 + order,
    )


def name_of(joint, line):
    return f"joint {joint}, {line.name.lower()} truss"


def keep(elements):
    """Store new joints; one that another visit has brought meanwhile is that one."""
    for element in elements:
        there = Element.objects.filter(
            bridge_id=element.bridge_id, path=element.path
        ).first()
        if there is None:
            element.save()
        else:
            element.pk = there.pk
