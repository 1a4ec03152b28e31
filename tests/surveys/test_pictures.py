"""What is told of, and shown from, a picture file; and files made to do harm."""

import io
import struct
import warnings
import zlib

import pytest
from PIL import ExifTags, Image, ImageFile
from PIL.TiffImagePlugin import IFDRational

from surveys import pictures
from tests.images import HEIC, jpeg, linear_profile, png_claiming, with_place


def opened(copy):
    return Image.open(io.BytesIO(copy))


def read(data):
    return pictures.read(io.BytesIO(data))


def refused(data):
    with pytest.raises(pictures.Unreadable) as caught:
        read(data)
    return caught.value.code


def test_a_jpeg_gives_three_copies_by_their_longest_side():
    picture = read(jpeg(2400, 1800))
    assert (picture.format, picture.width_px, picture.height_px) == ("JPEG", 2400, 1800)
    sizes = {size: opened(copy).size for size, copy in picture.copies.items()}
    assert sizes == {1600: (1600, 1200), 800: (800, 600), 320: (320, 240)}


def test_a_small_picture_is_not_enlarged():
    assert opened(read(jpeg(200, 100)).copies[1600]).size == (200, 100)


def test_copies_are_progressive_jpeg():
    assert opened(read(jpeg(900, 600)).copies[800]).info.get("progressive")


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_png_and_webp_are_read_whatever_their_name(kind):
    out = io.BytesIO()
    Image.new("RGB", (400, 300), (90, 60, 30)).save(out, kind)
    assert read(out.getvalue()).format == kind


def test_a_transparent_picture_is_laid_on_white():
    out = io.BytesIO()
    Image.new("RGBA", (40, 30), (0, 0, 0, 0)).save(out, "PNG")
    assert opened(read(out.getvalue()).copies[320]).getpixel((20, 15)) == (255,) * 3


def test_sixteen_bit_grey_keeps_its_tones():
    out = io.BytesIO()
    Image.new("I;16", (40, 30), 128 * 257).save(out, "PNG")
    red, _, _ = opened(read(out.getvalue()).copies[320]).getpixel((20, 15))
    assert abs(red - 128) <= 2


def test_heic_is_read_with_its_time():
    picture = read(HEIC)
    assert (picture.format, picture.width_px, picture.height_px) == ("HEIC", 64, 48)
    assert picture.facts == {"taken": "2019-06-02"}
    red, green, blue = opened(picture.copies[320]).getpixel((30, 20))
    assert red > green > blue


@pytest.mark.parametrize(
    ("ending", "code"),
    [
        ("os.kill(os.getpid(), signal.SIGSEGV)", "damaged"),
        ("sys.exit(3)", "too_many_pixels"),
        ("time.sleep(60)", "damaged"),
    ],
    ids=["falls", "refuses", "hangs"],
)
def test_a_decoder_that_comes_to_grief_costs_one_picture(
    monkeypatch, tmp_path, ending, code
):
    decoder = tmp_path / "decoder.py"
    decoder.write_text(f"import os, signal, sys, time\n{ending}\n")
    monkeypatch.setattr(pictures, "HEIC_DECODER", decoder)
    if "sleep" in ending:
        monkeypatch.setattr(pictures, "HEIC_SECONDS", 1)
    assert refused(HEIC) == code


def test_a_picture_taken_upright_is_shown_upright():
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 6
    picture = read(jpeg(400, 300, exif=exif))
    assert (picture.width_px, picture.height_px) == (300, 400)
    assert opened(picture.copies[320]).size == (240, 320)


def test_copies_carry_no_metadata_at_all():
    """Only JFIF (APP0) may stand before the picture: no EXIF, XMP, ICC or comment."""
    data = with_place(
        comment=b"made on a phone of somebody",
        xmp=b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>by somebody</x:xmpmeta>",
        icc_profile=linear_profile(),
    )
    assert markers(data) >= {0xE1, 0xE2, 0xFE}
    assert data.count(b"somebody") == 2
    for copy in read(data).copies.values():
        assert markers(copy) & {0xFE, *range(0xE1, 0xF0)} == set()
        assert b"somebody" not in copy


def markers(data):
    """Return the marker bytes of a JPEG's segments before its first scan."""
    found, at = set(), 2
    while data[at + 1] != 0xDA:
        found.add(data[at + 1])
        at += 2 + struct.unpack(">H", data[at + 2 : at + 4])[0]
    return found


def test_a_picture_with_a_profile_is_turned_into_srgb():
    """55/255 of linear light is 128/255 as sRGB encodes it (IEC 61966-2-1)."""
    out = io.BytesIO()
    image = Image.new("RGB", (64, 48), (55, 55, 55))
    image.save(out, "JPEG", quality=95, icc_profile=linear_profile())
    red, green, blue = opened(read(out.getvalue()).copies[320]).getpixel((5, 5))
    assert red == pytest.approx(128, abs=3)
    assert (green, blue) == pytest.approx((red, red), abs=2)


def test_a_broken_profile_costs_only_the_profile():
    data = jpeg(64, 48, (128, 128, 128), plain=True, icc_profile=b"not a profile" * 20)
    assert opened(read(data).copies[320]).getpixel((5, 5))[0] == pytest.approx(
        128, abs=2
    )


def test_place_time_and_true_bearing_are_read():
    facts = read(with_place()).facts
    assert facts["latitude"] == pytest.approx(41.203611, abs=1e-6)
    assert facts["longitude"] == pytest.approx(-77.405, abs=1e-6)
    assert facts["bearing_deg"] == 271.5
    assert facts["position_accuracy_m"] == 4.0
    assert facts["taken"] == "2019-06-02"


def test_a_magnetic_bearing_is_not_taken_for_a_true_one():
    assert "bearing_deg" not in read(with_place(direction_ref="M")).facts


def test_zeros_of_a_receiver_without_a_fix_are_no_place():
    zero = (IFDRational(0), IFDRational(0), IFDRational(0))
    assert "latitude" not in read(with_place(latitude=zero, longitude=zero)).facts


@pytest.mark.parametrize(
    "latitude",
    [
        (IFDRational(1, 0), IFDRational(0, 0), IFDRational(1, 1)),
        (IFDRational(41, 1), IFDRational(12, 1)),
        (IFDRational(410, 1), IFDRational(0, 1), IFDRational(0, 1)),
    ],
    ids=["zero denominators", "two parts", "beyond the pole"],
)
def test_a_senseless_position_costs_only_the_position(latitude):
    facts = read(with_place(latitude=latitude)).facts
    assert "latitude" not in facts
    assert facts["taken"] == "2019-06-02"


def test_a_garbage_exif_block_costs_only_what_it_would_have_told():
    data = jpeg(64, 48, exif=b"Exif\x00\x00" + bytes(range(256)) * 4)
    picture = read(data)
    assert picture.facts == {}
    assert set(picture.copies) == {1600, 800, 320}


@pytest.mark.parametrize("text", ["0000:00:00 00:00:00", "yesterday", "2019:13:45"])
def test_an_unset_clock_gives_no_date(text):
    assert "taken" not in read(with_place(taken=text)).facts


def test_a_file_of_text_is_not_a_picture():
    assert refused(b"<html>this is no picture</html>" * 50) == "not_a_picture"


def test_an_empty_file_is_not_a_picture():
    assert refused(b"") == "not_a_picture"


def test_a_kind_of_picture_that_is_not_allowed_is_refused_by_content():
    out = io.BytesIO()
    Image.new("RGB", (40, 30)).save(out, "TIFF")
    assert refused(out.getvalue()) == "not_a_picture"


def test_a_picture_that_breaks_off_is_damaged():
    data = jpeg(1200, 900)
    assert refused(data[: len(data) // 2]) == "damaged"


def test_half_a_picture_is_damaged_also_where_pdfs_are_drawn(monkeypatch):
    """The PDF renderer tells the whole process to put up with half pictures."""
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", True)
    data = jpeg(1200, 900)
    assert refused(data[: len(data) // 2]) == "damaged"


def test_a_small_file_of_a_thousand_million_pixels_is_refused(settings):
    bomb = png_claiming(40_000, 25_000)
    assert len(bomb) < 5_000
    assert refused(bomb) == "too_many_pixels"


def test_a_file_just_over_the_limit_is_refused_too(settings):
    """Between one and two times the limit the library only warns by itself."""
    side = int(settings.PHOTO_MAX_PIXELS**0.5)
    with warnings.catch_warnings():
        # As outside tests, where a warning is a line in a log and no more.
        warnings.simplefilter("ignore")
        pictures.set_up()
        assert refused(png_claiming(side + 10, side + 10)) == "too_many_pixels"


def test_a_compressed_text_chunk_cannot_fill_the_memory():
    out = io.BytesIO()
    Image.new("RGB", (4, 4)).save(out, "PNG")
    whole = out.getvalue()
    body = b"Comment\x00\x00" + zlib.compress(b"a" * 200_000_000, 9)
    chunk = struct.pack(">I", len(body)) + b"zTXt" + body
    chunk += struct.pack(">I", zlib.crc32(b"zTXt" + body))
    with_text = whole[:33] + chunk + whole[33:]
    assert refused(with_text) in ("not_a_picture", "damaged")
