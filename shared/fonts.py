"""The typefaces for the web: Latin letters and figures out of the packaged files.

The packages hold the whole families, 0.4 to 1.2 MB each, and the dossier uses them as
they are. A phone gets what the site writes with, compressed. It is made once, by
``manage.py make_fonts`` or else beside the first request, and kept under the data
folder; until it is there the whole file is answered, and nobody waits.

The addresses in ``shared/css/base.css`` and ``templates/base.html`` carry ``RECIPE``,
so a changed subset has a new address and an old one may be kept for ever.
"""

import logging
import os
import tempfile
import threading
from pathlib import Path

import fontpkg_source_sans_3
import fontpkg_source_serif_4
from django.conf import settings
from django.http import FileResponse, Http404
from django.views.decorators.http import require_safe

RECIPE = 1
# Basic and extended Latin, general punctuation, primes, fractions, arrows, the
# mathematical signs the pages write, and the blank shapes of forms.
UNICODES = [
    *range(0x20, 0x7F),
    *range(0xA0, 0x180),
    *range(0x2010, 0x2028),
    *(0x2030, 0x2032, 0x2033, 0x2039, 0x203A, 0x2044),
    *range(0x2070, 0x208F),
    *range(0x2150, 0x215F),
    *(0x2190, 0x2191, 0x2192, 0x2193, 0x2212, 0x2215, 0x221E, 0x2248),
    *(0x2260, 0x2264, 0x2265, 0x25CA),
]
FEATURES = ["kern", "liga", "lnum", "tnum", "pnum", "onum", "frac", "numr", "dnom"]
FEATURES += ["mark", "mkmk", "ccmp", "locl", "calt", "smcp", "case"]
FACES = {
    "source-serif-4": (fontpkg_source_serif_4, "SourceSerif4[opsz,wght].ttf"),
    "source-serif-4-italic": (
        fontpkg_source_serif_4,
        "SourceSerif4-Italic[opsz,wght].ttf",
    ),
    "source-sans-3": (fontpkg_source_sans_3, "SourceSans3[wght].ttf"),
}
# What the pages use of each axis; the rest is left out. One optical size, between
# text and heading, halves the file.
LIMITS = {"wght": (400, 700), "opsz": 18}


YEAR_S = 60 * 60 * 24 * 365


logger = logging.getLogger(__name__)
_making = threading.Lock()


@require_safe
def serve(request, recipe, name):
    """Answer a face of this recipe, to be kept by the browser for good."""
    if recipe != RECIPE or name not in FACES:
        raise Http404("No such typeface.")
    kept = kept_path(name)
    if not kept.exists():
        make_soon()
        # Browsers go by what a font file begins with, not by what it is called.
        answer = FileResponse(source(name).open("rb"), content_type="font/ttf")
        answer.headers["Cache-Control"] = "no-store"
        return answer
    answer = FileResponse(kept.open("rb"), content_type="font/woff2")
    answer.headers["Cache-Control"] = f"public, max-age={YEAR_S}, immutable"
    return answer


def make_soon():
    """Make the faces in a thread of their own, unless one is at it already."""
    if _making.acquire(blocking=False):
        threading.Thread(target=_make_all, daemon=True, name="typefaces").start()


def _make_all():
    try:
        for name in FACES:
            subset_path(name)
    except OSError:
        # Pages go on with the whole files; the keeper reads why.
        logger.exception("The typefaces for the web could not be made.")
    finally:
        _making.release()


def kept_path(name):
    """Return where the web file of a face is kept, made or not."""
    return settings.DATA_DIR / "fonts" / str(RECIPE) / f"{name}.woff2"


def source(name):
    """Return the path of the packaged file. Raises ``KeyError`` for another name."""
    package, file = FACES[name]
    return Path(package.ROOT) / "files" / file


def subset_path(name):
    """Return the path of the web file of a face, making it when it is not there yet.

    Safe to call from several processes: a file appears whole or not at all.
    """
    kept = kept_path(name)
    if not kept.exists():
        kept.parent.mkdir(parents=True, exist_ok=True)
        handle, scratch = tempfile.mkstemp(dir=kept.parent, suffix=".part")
        os.close(handle)
        try:
            make_subset(source(name), Path(scratch))
            Path(scratch).replace(kept)
        finally:
            Path(scratch).unlink(missing_ok=True)
    return kept


def make_subset(original, target):
    """Write the web subset of a font file to ``target`` as WOFF2."""
    # Slow to import, and wanted once in the life of a site.
    from fontTools import subset, ttLib
    from fontTools.varLib import instancer

    font = ttLib.TTFont(original)
    axes = {axis.axisTag for axis in font["fvar"].axes}
    limits = {tag: reach for tag, reach in LIMITS.items() if tag in axes}
    options = subset.Options()
    options.layout_features = FEATURES
    options.flavor = "woff2"
    options.name_IDs = [0, 1, 2, 3, 4, 5, 6, 13, 14]
    options.notdef_outline = True
    cutter = subset.Subsetter(options)
    cutter.populate(unicodes=UNICODES)
    cutter.subset(font)
    font = instancer.instantiateVariableFont(font, limits)
    font.flavor = "woff2"
    font.save(target)
