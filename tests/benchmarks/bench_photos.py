"""Time and memory of making a photo's copies: 12 megapixels, JPEG and WebP.

Run by hand, from the project's folder:

    DJANGO_SETTINGS_MODULE=shared.settings python -m tests.benchmarks.bench_photos
"""

import io
import resource
import statistics
import time

import django
from PIL import Image

RUNS = 7


def sound(kind):
    """A 4032 by 3024 picture with detail everywhere."""
    image = Image.effect_noise((1008, 756), 60).resize((4032, 3024)).convert("RGB")
    out = io.BytesIO()
    image.save(out, kind, quality=88)
    return out.getvalue()


def main():
    django.setup()
    from surveys import pictures

    for kind in ("JPEG", "WEBP"):
        data = sound(kind)
        times = []
        for _ in range(RUNS):
            start = time.perf_counter()
            picture = pictures.read(io.BytesIO(data))
            times.append((time.perf_counter() - start) * 1000)
        sizes = {
            size: f"{len(copy) / 1000:.0f} kB" for size, copy in picture.copies.items()
        }
        most_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(
            f"{kind} of {len(data) / 1e6:.1f} MB: median {statistics.median(times):.0f} "
            f"ms, most {max(times):.0f} ms; {sizes}; process at most {most_mb:.0f} MB"
        )


if __name__ == "__main__":
    main()
