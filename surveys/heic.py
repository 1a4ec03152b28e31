"""Decode one HEIC picture in a process of its own; run as a program, never imported.

The decoder is C++ and a damaged file can fell the process it runs in: of 400 files
damaged at random one did. Here that costs one picture instead of a web worker.

    python heic.py MOST_PIXELS LONGEST_SIDE < picture.heic > answer

The answer is one line with width and height in pixels, then a PNG no larger than asked
with the picture's EXIF block and colour profile. Exit status 2: no HEIC picture. 3: too
many pixels. Anything else but 0: damaged.
"""

import resource
import sys
import warnings
from io import BytesIO

import pi_heif
from PIL import Image

MOST_MEMORY_BYTES = 3 * 1024**3
MOST_SECONDS = 60
NOT_A_PICTURE, TOO_LARGE = 2, 3
TOO_LARGE_ERRORS = (Image.DecompressionBombError, Image.DecompressionBombWarning)


def main(most_pixels, longest):
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY_BYTES, MOST_MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_SECONDS, MOST_SECONDS))
    Image.MAX_IMAGE_PIXELS = most_pixels
    warnings.simplefilter("error", Image.DecompressionBombWarning)
    # Only the picture itself is wanted, none of the depth maps and previews.
    pi_heif.register_heif_opener(thumbnails=False, depth_images=False, aux_images=False)
    try:
        image = Image.open(BytesIO(sys.stdin.buffer.read()), formats=["HEIF"])
    except TOO_LARGE_ERRORS:
        return TOO_LARGE
    except (OSError, ValueError, SyntaxError, RuntimeError, EOFError):
        return NOT_A_PICTURE
    width, height = image.size
    kept = {
        name: image.info[name]
        for name in ("exif", "icc_profile")
        if image.info.get(name)
    }
    image.thumbnail((longest, longest), Image.Resampling.LANCZOS)
    sys.stdout.buffer.write(f"{width} {height}\n".encode())
    image.save(sys.stdout.buffer, "PNG", compress_level=1, **kept)
    return 0


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))
