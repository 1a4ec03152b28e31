"""Reading a picture file that a stranger sent: what it is, where and when, copies.

Pure: bytes in, facts and JPEG bytes out. The file's content decides what it is, never
its name. Every way of failing ends in ``Unreadable`` with a sentence for people.
"""

from __future__ import annotations

import datetime
import io
import math
import struct
import subprocess
import sys
import warnings
from dataclasses import dataclass, field
from pathlib import Path

from django.conf import settings
from PIL import ExifTags, Image, ImageCms, ImageFile, ImageOps

# JPEG files with a second picture inside announce themselves as MPO.
NAMES = {"JPEG": "JPEG", "MPO": "JPEG", "PNG": "PNG", "WEBP": "WEBP"}
OPENED = ("JPEG", "PNG", "WEBP")
HEIC_DECODER = Path(__file__).with_name("heic.py")
HEIC_SECONDS = 90
SUFFIXES = {"JPEG": "jpg", "PNG": "png", "WEBP": "webp", "HEIC": "heic"}
SIZES = (1600, 800, 320)
QUALITY = 82
PAPER = (255, 255, 255)
# What Pillow and its decoders raise over broken files; fuzzed in tests/endurance.
BROKEN = (
    OSError,
    SyntaxError,
    ValueError,
    EOFError,
    RuntimeError,
    struct.error,
    IndexError,
    KeyError,
    TypeError,
    OverflowError,
    ZeroDivisionError,
)
TOO_LARGE = (Image.DecompressionBombError, Image.DecompressionBombWarning)


class Unreadable(ValueError):
    """A file that cannot be shown; ``code`` and a sentence for people."""

    def __init__(self, code, message):
        self.code = code
        super().__init__(message)


@dataclass
class Picture:
    """A file that could be read: its kind, its size as shown, and what it tells."""

    format: str
    width_px: int
    height_px: int
    facts: dict = field(default_factory=dict)
    # {1600: JPEG bytes, 800: …, 320: …}, longest side in pixels, never enlarged.
    copies: dict[int, bytes] = field(default_factory=dict)
    # How it looks, to be compared by ``unlike``.
    looks: str = ""


def set_up():
    """Once a process: the largest picture, and bombs as errors."""
    Image.MAX_IMAGE_PIXELS = settings.PHOTO_MAX_PIXELS
    warnings.simplefilter("error", Image.DecompressionBombWarning)


def read(file) -> Picture:
    """Read a picture and make its copies; raises ``Unreadable``.

    Copies are progressive sRGB JPEG without any metadata: what the public sees of a
    photograph says nothing of where it was taken or with what.
    """
    image, kind, (width, height) = _open(file)
    facts, is_turned = _told_by(image)
    try:
        copies, looks = _copies(image)
    except TOO_LARGE as error:
        raise _too_large() from error
    except BROKEN as error:
        raise _damaged() from error
    if is_turned:
        width, height = height, width
    return Picture(kind, width, height, facts, copies, looks)


def looks_of(image) -> str:
    """Return 64 bits, in hexadecimal, of where a picture grows darker to the right.

    The difference hash: grey, eight rows of nine, each compared with its neighbour.
    It outlives another size, another compression and a little more light.
    """
    small = image.convert("L").resize((9, 8), Image.Resampling.BOX)
    grey = small.tobytes()
    bits = 0
    for row in range(8):
        for column in range(8):
            at = row * 9 + column
            bits = bits << 1 | (grey[at] > grey[at + 1])
    return f"{bits:016x}"


def unlike(one: str, other: str) -> int:
    """Return in how many of 64 bits two pictures' looks differ."""
    return (int(one, 16) ^ int(other, 16)).bit_count()


def glance(file) -> str:
    """Return what kind of picture a file is, from its head; raises ``Unreadable``.

    Costs milliseconds and finds what is no picture or far too large; what breaks off
    further on only ``read`` can find.
    """
    head = file.read(12)
    file.seek(0)
    if head[4:8] == b"ftyp":
        return "HEIC"
    kind = _open(file)[1]
    file.seek(0)
    return kind


def facts_of(file) -> dict:
    """Return only what the file tells of place and time; raises ``Unreadable``."""
    return _told_by(_open(file)[0])[0]


def _open(file):
    """Return ``(image, kind, (width, height))`` by what the file holds."""
    # Said each time: the PDF renderer turns this on for the whole process when it is
    # first imported, and half a picture would then be taken for a whole one.
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    head = file.read(12)
    file.seek(0)
    if head[4:8] == b"ftyp":
        return _open_heic(file)
    try:
        image = Image.open(file, formats=OPENED)
    except TOO_LARGE as error:
        raise _too_large() from error
    except BROKEN as error:
        raise _not_a_picture() from error
    return image, NAMES[image.format], image.size


def _open_heic(file):
    """Let ``heic.py`` decode it: what fells the decoder must not fell the site."""
    command = [sys.executable, "-P", str(HEIC_DECODER)]
    command += [str(settings.PHOTO_MAX_PIXELS), str(SIZES[0])]
    try:
        done = subprocess.run(
            command, input=file.read(), capture_output=True, timeout=HEIC_SECONDS
        )
    except subprocess.TimeoutExpired as error:
        raise _damaged() from error
    if done.returncode == 2:
        raise _not_a_picture()
    if done.returncode == 3:
        raise _too_large()
    if done.returncode:
        raise _damaged()
    size, _, png = done.stdout.partition(b"\n")
    image = Image.open(io.BytesIO(png), formats=["PNG"])
    return image, "HEIC", tuple(map(int, size.split()))


def _not_a_picture():
    return Unreadable(
        "not_a_picture",
        "This is not a picture that can be read here. Send a JPEG, PNG, WebP or HEIC "
        "file.",
    )


def _damaged():
    return Unreadable(
        "damaged",
        "The picture file breaks off or is damaged. Send it once more from the phone "
        "or camera that holds it.",
    )


def _too_large():
    most = settings.PHOTO_MAX_PIXELS // 1_000_000
    return Unreadable(
        "too_many_pixels",
        f"The picture has more than {most} million pixels. Send a smaller copy.",
    )


def _copies(image):
    longest = max(image.size)
    if longest > SIZES[0]:
        # Only the aspect-correct size lets the decoder work at half or quarter scale.
        share = SIZES[0] / longest
        image.draft("RGB", tuple(math.ceil(side * share) for side in image.size))
    shown = _in_srgb(ImageOps.exif_transpose(image))
    copies, looks = {}, looks_of(shown)
    for size in SIZES:
        shown.thumbnail((size, size), Image.Resampling.LANCZOS)
        out = io.BytesIO()
        # Nothing is written that is not given here, but the comment, which would be.
        shown.save(
            out, "JPEG", quality=QUALITY, progressive=True, optimize=True, comment=b""
        )
        copies[size] = out.getvalue()
    return copies, looks


def _in_srgb(image):
    profile = image.info.get("icc_profile")
    if image.mode.startswith("I;16"):
        # Sixteen bits to eight: converting alone would clip all but the darkest.
        image = image.convert("I").point(lambda level: level / 257).convert("L")
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        image = image.convert("RGBA")
        ground = Image.new("RGBA", image.size, (*PAPER, 255))
        image = Image.alpha_composite(ground, image).convert("RGB")
    if profile and image.mode in ("RGB", "CMYK", "L"):
        try:
            image = ImageCms.profileToProfile(
                image,
                ImageCms.ImageCmsProfile(io.BytesIO(profile)),
                ImageCms.createProfile("sRGB"),
                outputMode="RGB",
            )
        except (ImageCms.PyCMSError, OSError, ValueError):
            # A broken profile must not cost the picture; its colours are kept as is.
            profile = None
    return image if image.mode == "RGB" else image.convert("RGB")


# -- what the camera wrote


def _told_by(image):
    """Return ``(facts, is the picture turned on its side)`` from the EXIF block.

    Tags by name and meaning: CIPA DC-008 (Exif 2.32), GPS tags 1 to 4, 16, 17, 31.
    A block that makes no sense costs nothing but what it would have told.
    """
    try:
        exif = image.getexif()
        turned = exif.get(ExifTags.Base.Orientation) in (5, 6, 7, 8)
        camera = exif.get_ifd(ExifTags.IFD.Exif)
        place = exif.get_ifd(ExifTags.IFD.GPSInfo)
    # The library warns of a block that breaks off, and some processes make that an error.
    except (*BROKEN, UserWarning):
        return {}, False
    facts = {"taken": _taken(camera.get(ExifTags.Base.DateTimeOriginal))}
    facts |= _position(place)
    facts["bearing_deg"] = _bearing(place)
    return {name: value for name, value in facts.items() if value is not None}, turned


def _taken(text):
    """“2019:06:02 14:03:11” as 2019-06-02; nothing for the zeros of an unset clock."""
    if not isinstance(text, str):
        return None
    try:
        moment = datetime.datetime.strptime(text[:10], "%Y:%m:%d")
    except ValueError:
        return None
    return moment.date().isoformat()


def _position(place):
    latitude = _degrees(place, ExifTags.GPS.GPSLatitude, ExifTags.GPS.GPSLatitudeRef)
    longitude = _degrees(place, ExifTags.GPS.GPSLongitude, ExifTags.GPS.GPSLongitudeRef)
    in_range = latitude is not None and longitude is not None
    # A receiver without a fix writes zeros: the sea off Africa, where no bridge is.
    if not in_range or abs(latitude) > 90 or abs(longitude) > 180:
        return {}
    if latitude == 0 and longitude == 0:
        return {}
    return {
        "latitude": round(latitude, 6),
        "longitude": round(longitude, 6),
        "position_accuracy_m": _number(place.get(ExifTags.GPS.GPSHPositioningError)),
    }


def _degrees(place, tag, reference):
    parts, side = place.get(tag), place.get(reference)
    if not isinstance(parts, tuple) or len(parts) != 3 or not isinstance(side, str):
        return None
    numbers = [_number(part) for part in parts]
    if None in numbers or side.strip("\x00 ").upper() not in ("N", "S", "E", "W"):
        return None
    degrees = numbers[0] + numbers[1] / 60 + numbers[2] / 3600
    return -degrees if side.strip("\x00 ").upper() in ("S", "W") else degrees


def _bearing(place):
    """True bearings only: a magnetic one is off by the place's declination."""
    if str(place.get(ExifTags.GPS.GPSImgDirectionRef, "")).strip("\x00 ") != "T":
        return None
    bearing = _number(place.get(ExifTags.GPS.GPSImgDirection))
    return bearing % 360 if bearing is not None and bearing <= 360 else None


def _number(value):
    """A rational as a float; nothing for zero denominators, text and the like."""
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return None
    return number if math.isfinite(number) and number >= 0 else None
