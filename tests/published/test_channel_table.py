"""American Standard channels, every figure of the table as printed in the AISC Manual.

Seen as data of an open library; the profiles are those of the standard of 1896.
"""

import math

import pytest

from analysis.engine import sections

from .rows import approx

# Depth x weight: A, flange width, web, flange, I strong, r strong, I weak, r weak, x bar.
PRINTED = """
15x33.9 10.0 3.40 0.400 0.650 315 5.61 8.07 0.901 0.788
15x40 11.8 3.52 0.520 0.650 348 5.43 9.17 0.883 0.778
15x50 14.7 3.72 0.716 0.650 404 5.24 11.0 0.865 0.799
12x20.7 6.08 2.94 0.282 0.501 129 4.61 3.86 0.797 0.698
12x25 7.34 3.05 0.387 0.501 144 4.43 4.45 0.779 0.674
12x30 8.81 3.17 0.510 0.501 162 4.29 5.12 0.762 0.674
10x15.3 4.48 2.60 0.240 0.436 67.3 3.88 2.27 0.711 0.634
10x20 5.87 2.74 0.379 0.436 78.9 3.67 2.80 0.690 0.606
10x25 7.35 2.89 0.526 0.436 91.1 3.52 3.34 0.675 0.617
10x30 8.81 3.03 0.673 0.436 103 3.43 3.93 0.668 0.649
9x13.4 3.94 2.43 0.233 0.413 47.8 3.48 1.75 0.666 0.601
9x15 4.40 2.49 0.285 0.413 51.0 3.40 1.91 0.659 0.586
9x20 5.87 2.65 0.448 0.413 60.9 3.22 2.41 0.640 0.583
8x11.5 3.37 2.26 0.220 0.390 32.5 3.11 1.31 0.623 0.572
8x13.75 4.03 2.34 0.303 0.390 36.1 2.99 1.52 0.613 0.554
8x18.75 5.51 2.53 0.487 0.390 43.9 2.82 1.97 0.598 0.565
7x9.8 2.87 2.09 0.210 0.366 21.2 2.72 0.957 0.578 0.541
7x12.25 3.59 2.19 0.314 0.366 24.2 2.59 1.16 0.568 0.525
7x14.75 4.33 2.30 0.419 0.366 27.2 2.51 1.37 0.561 0.532
6x8.2 2.39 1.92 0.200 0.343 13.1 2.34 0.687 0.536 0.512
6x10.5 3.07 2.03 0.314 0.343 15.1 2.22 0.860 0.529 0.500
6x13 3.82 2.16 0.437 0.343 17.3 2.13 1.05 0.524 0.514
5x6.7 1.97 1.75 0.190 0.320 7.48 1.95 0.470 0.489 0.484
5x9 2.64 1.89 0.325 0.320 8.89 1.84 0.624 0.486 0.478
4x5.4 1.58 1.58 0.184 0.296 3.85 1.56 0.312 0.444 0.457
4x7.25 2.13 1.72 0.321 0.296 4.58 1.47 0.425 0.447 0.459
3x4.1 1.20 1.41 0.170 0.273 1.65 1.18 0.191 0.398 0.437
3x5 1.47 1.50 0.258 0.273 1.85 1.12 0.241 0.405 0.439
3x6 1.76 1.60 0.356 0.273 2.07 1.09 0.300 0.413 0.455
"""
ROWS = dict(line.split(maxsplit=1) for line in PRINTED.strip().splitlines())


@pytest.mark.published("American Standard channels, AISC Manual", "seen")
@pytest.mark.parametrize("size", ROWS)
def test_channel(size):
    area, flange, web, thick, strong, r_strong, weak, r_weak, x_bar = map(
        float, ROWS[size].split()
    )
    row = sections.rolled_shape("channel", *map(float, size.split("x")))
    ours = [row.area_in2, row.flange_width_in, row.web_thickness_in]
    ours += [row.flange_thickness_in, row.i_strong_in4, row.i_weak_in4, row.x_bar_in]
    assert ours == approx([area, flange, web, thick, strong, weak, x_bar])
    # Radii are printed from more digits than the table's own I and A.
    assert math.sqrt(row.i_strong_in4 / row.area_in2) == approx(r_strong, rel=7e-3)
    assert math.sqrt(row.i_weak_in4 / row.area_in2) == approx(r_weak, abs=4e-3)


@pytest.mark.published("American Standard channels, AISC Manual", "seen")
def test_no_channel_is_listed_beside_the_printed_ones():
    assert len(sections.CHANNELS) == len(ROWS)
