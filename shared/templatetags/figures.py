"""Numbers, lengths and dates set as the trade sets them. Loaded in every template."""

from django import template

from shared import dates, units

register = template.Library()
MINUS = "−"


@register.filter
def edtf(text):
    """``1887~`` as “about 1887”."""
    return dates.display(text or "")


@register.filter
def feet(value):
    """14.5 as 14′-6″; nothing for None."""
    return "" if value is None else units.feet_text(float(value))


@register.filter
def inches(value):
    """3.5 as 3 1/2; nothing for None."""
    return "" if value is None else units.fraction_text(float(value))


@register.filter
def figure(value, places=1):
    """A number with so many decimals and a true minus; a dash for None."""
    if value is None or value == "":
        return "–"
    text = f"{float(value):,.{int(places)}f}"
    if float(text.replace(",", "")) == 0:
        text = text.lstrip("-")
    return text.replace("-", MINUS)


@register.filter
def signed(value, places=1):
    """As ``figure`` with a plus in front of what is above zero."""
    if value is None or value == "":
        return "–"
    text = figure(value, places)
    return f"+{text}" if float(value) > 0 and text.strip("0.,") else text


@register.simple_tag(takes_context=True)
def with_query(context, **changes):
    """The page's own query string with some values changed or (None) dropped."""
    query = context["request"].GET.copy()
    for name, value in changes.items():
        query.pop(name, None)
        if value not in (None, ""):
            query[name] = value
    text = query.urlencode()
    return f"?{text}" if text else "?"


@register.filter
def percent(share):
    """0.62 as “62%”; a dash for None."""
    return "–" if share is None else f"{100 * float(share):.0f}%"
