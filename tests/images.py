"""Small picture files, sound and unsound, made where a test needs them."""

import base64
import io
import struct
import zlib

from PIL import ExifTags, Image
from PIL.TiffImagePlugin import IFDRational

# 64 by 48 pixels of one rust brown, with a time in its EXIF block; made once with
# libheif's encoder, because what reads HEIC here cannot write it.
HEIC = base64.b85decode(
    "0000SW^{RQXk}?*00000ZE0pPXk}?*ZE0a<0005LZDn*}000000000XXk=`10000000000aA{+70000000"
    "0000000000000G-+&aV*mgE07O6l0ssL300001;s5~v00000000^Q0ssI200H~}0RR9100000RsaA1IB98"
    "aW&i*H00062000$fZf0cy000000RRAKc4ILB0000LX>Mj^0ssI300IC2MR;ju000004sdC7Z2$lO000310"
    "08}IaB^?}007--aAR)(004Gqc4I>U18@KU0FVFx0000U@BsY%`1k+-4+CHT0RR|40Sp2E{{wIU00RJ!000"
    "9300RIXx&lC90096hLID8-Z~y=U0FVFx0{{R603M(qfd!W8<fgf}2xu@M00096AOHXZ03l)k0RRR>0l{;?"
    "i2wiq6Ju{|a&BX6cmM$a4FCp!0000KX>)L8000000000$0000$0000eV{Bn?0000$000010000m0000100"
    "00000002|NsB+000020000GaA|mH000000|*ER0000OX>e^}0000000001009Mo0s{qv0000QX>w&|0000"
    "00000EV`Ot<00IC3009610C;U=VRQfh02U|#uNi>vNu|I4+cO{ccdzmK)|mOY00006MR;ju002!*04e|g0"
    "0;mA0TKWM0000100961hiL!=000010000c0000000EE#00IC202BZK05|{u001&DF*!OgHaajeATcyLFf%"
    "$aF#r"
)


def jpeg(width=640, height=480, colour=(154, 69, 32), **options):
    """Return the bytes of a JPEG with a tone that varies, so that it has some weight."""
    image = Image.linear_gradient("L").resize((width, height))
    image = Image.merge(
        "RGB", [image.point(lambda v, c=c: (v + c) // 2) for c in colour]
    )
    if options.pop("plain", False):
        image = Image.new("RGB", (width, height), colour)
    out = io.BytesIO()
    image.save(out, "JPEG", quality=90, **options)
    return out.getvalue()


NORTH = (IFDRational(41), IFDRational(12), IFDRational(13))
WEST = (IFDRational(77), IFDRational(24), IFDRational(18))


def with_place(
    latitude=NORTH,
    longitude=WEST,
    direction_ref="T",
    taken="2019:06:02 14:03:11",
    **options,
):
    """Return a JPEG whose EXIF block says 41°12′13″ N 77°24′18″ W, looking 271.5°."""
    exif = Image.Exif()
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = taken
    exif.get_ifd(ExifTags.IFD.GPSInfo).update(
        {
            ExifTags.GPS.GPSLatitudeRef: "N",
            ExifTags.GPS.GPSLatitude: latitude,
            ExifTags.GPS.GPSLongitudeRef: "W",
            ExifTags.GPS.GPSLongitude: longitude,
            ExifTags.GPS.GPSImgDirectionRef: direction_ref,
            ExifTags.GPS.GPSImgDirection: IFDRational(543, 2),
            ExifTags.GPS.GPSHPositioningError: IFDRational(4),
        }
    )
    return jpeg(320, 240, exif=exif, **options)


def png_claiming(width, height):
    """Return a small PNG that says it is ``width`` by ``height`` pixels."""

    def chunk(kind, body):
        check = struct.pack(">I", zlib.crc32(kind + body))
        return struct.pack(">I", len(body)) + kind + body + check

    header = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(b"\x00" * 10_000, 9))
        + chunk(b"IEND", b"")
    )


def linear_profile():
    """Return an ICC profile with sRGB's primaries and light written as it is.

    The primaries adapted to D50 as IEC 61966-2-1 gives them; the layout is that of a
    three-component matrix-based display profile (ICC.1:2001-04, 6.3.1.2).
    """

    def fixed(number):
        return struct.pack(">i", round(number * 65536))

    def xyz(*numbers):
        return b"XYZ \0\0\0\0" + b"".join(fixed(number) for number in numbers)

    curve = b"curv" + bytes(4) + struct.pack(">I", 0)
    text = b"text\0\0\0\0none\0\0\0\0"
    tags = {
        b"desc": b"desc\0\0\0\0" + struct.pack(">I", 7) + b"linear\0" + bytes(79),
        b"cprt": text,
        b"wtpt": xyz(0.9642, 1.0, 0.8249),
        b"rXYZ": xyz(0.4360, 0.2225, 0.0139),
        b"gXYZ": xyz(0.3851, 0.7169, 0.0971),
        b"bXYZ": xyz(0.1431, 0.0606, 0.7141),
        b"rTRC": curve,
        b"gTRC": curve,
        b"bTRC": curve,
    }
    table, body = struct.pack(">I", len(tags)), b""
    start = 128 + 4 + 12 * len(tags)
    for name, data in tags.items():
        data += bytes(-len(data) % 4)
        table += name + struct.pack(">II", start + len(body), len(data))
        body += data
    size = start + len(body)
    header = struct.pack(
        ">I4s4s4s4s4s", size, b"none", b"\x02\x10\0\0", b"mntr", b"RGB ", b"XYZ "
    )
    header += bytes(12) + b"acsp" + bytes(24) + bytes(4)
    header += fixed(0.9642) + fixed(1.0) + fixed(0.8249)
    return header.ljust(128, b"\0") + table + body
