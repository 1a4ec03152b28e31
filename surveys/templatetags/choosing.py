"""Menus of the visit form: hundreds on one page, so drawn without a loop of template."""

from functools import lru_cache

from django import template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import mark_safe

from bridges import words

register = template.Library()
#: What the pieces of a member are written with.
PIECES = (
    "eyebar, loop rod, upset end, channel, angle, cover plate, lacing, batten, pin, rivet, "
    "turnbuckle, gusset, section loss"
)


@register.simple_tag
def options(choices, chosen, blank=None):
    """The ``<option>`` elements of a menu, one of them chosen; ``blank`` leads."""
    rows = tuple((str(value), str(label)) for value, label in choices)
    if blank is not None:
        rows = (("", blank), *rows)
    return _drawn(rows, str(chosen or ""))


@lru_cache(maxsize=512)
def _drawn(rows, chosen):
    return format_html_join(
        "",
        '<option value="{}"{}>{}</option>',
        (
            (value, mark_safe(" selected") if value == chosen else "", label)
            for value, label in rows
        ),
    )


@register.simple_tag
def ticks(name, rows):
    """Tick boxes of one name: ``rows`` are ``(value, label, is ticked)``."""
    return format_html_join(
        "",
        '<label class="check-row"><input type="checkbox" name="{}" value="{}"{}> '
        "<span>{}</span></label>",
        (
            (name, value, mark_safe(" checked") if is_ticked else "", label)
            for value, label, is_ticked in rows
        ),
    )


@register.simple_tag
def answers(row):
    """The four answers of a row, always in the same places."""
    cells = [
        format_html(
            '<label class="log-answer log-answer-{}"><input type="radio" name="{}" '
            'value="{}"{}><span>{}</span></label>',
            value,
            row.name,
            value,
            mark_safe(" checked") if row.answer == value else "",
            label,
        )
        if label
        else mark_safe('<span class="log-answer"></span>')
        for value, label in row.answers
    ]
    return format_html_join("", "{}", ((cell,) for cell in cells))


@register.simple_tag
def words_of(group):
    """Links to plain words for what a group of the form names."""
    titles = [title for title, _ in group.parts]
    titles += [row.title for row in group.rows if not row.is_member]
    if any(row.is_member for row in group.rows):
        titles.append(PIECES)
    return words.asked("; ".join(titles))
