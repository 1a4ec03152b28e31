"""Drawings that stand in for photographs in the demonstration."""

import io
from dataclasses import dataclass, field

from PIL import Image


@dataclass
class Scene:
    """What a drawing is made from."""

    document: dict
    elements: dict
    spans: list
    state: dict
    date: str
    facts: dict = field(default_factory=dict)


def draw(scene) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (1600, 1067), "#F7F4ED").save(out, "JPEG")
    return out.getvalue()
