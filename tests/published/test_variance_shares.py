"""First-order variance shares against functions whose shares are known exactly.

Source: T. Ishigami and T. Homma, "An importance quantification technique in uncertainty
analysis for computer models", First International Symposium on Uncertainty Modeling
and Analysis, 1990; the product is integrated by hand.
"""

import math

import numpy as np
import pytest

from analysis.engine.sampling import first_order_share, share_of_groups

from .rows import approx

COUNT = 2048
HAND = pytest.mark.published("integrals by hand", "derived")


def places(columns):
    rng = np.random.default_rng(7)
    return np.stack(
        [(rng.permutation(COUNT) + 0.5) / COUNT for _ in range(columns)], axis=1
    )


@pytest.mark.published("Ishigami and Homma, 1990", "reproduced")
def test_ishigami():
    """A = 7, B = 0.1: 0.3139, 0.4424 and 0, the third acting only with the first."""
    place = places(3)
    x = math.pi * (2.0 * place - 1.0)
    value = np.sin(x[:, 0]) + 7.0 * np.sin(x[:, 1]) ** 2
    value += 0.1 * x[:, 2] ** 4 * np.sin(x[:, 0])
    found = [first_order_share(place[:, i], value) for i in range(3)]
    assert found == approx([0.3139, 0.4424, 0.0], abs=0.025)


@HAND
def test_a_sum_is_shared_by_the_squares():
    weights = np.array([3.0, 2.0, 1.0, 0.0])
    place = places(4)
    found = [first_order_share(place[:, i], place @ weights) for i in range(4)]
    assert found == approx(weights**2 / (weights**2).sum(), abs=0.025)


@HAND
def test_a_product_by_hand():
    """Each factor 1 + r(2u - 1) has variance r^2/3 about a mean of 1."""
    reach = np.array([0.3, 0.2, 0.1])
    place = places(3)
    value = np.prod(1.0 + reach * (2.0 * place - 1.0), axis=1)
    own = reach**2 / 3.0
    expected = own / (np.prod(1.0 + own) - 1.0)
    found = [first_order_share(place[:, i], value) for i in range(3)]
    assert found == approx(expected, abs=0.025)


@HAND
def test_two_groups_by_hand():
    """One of two values two apart, beside a uniform of variance 4/12: 1/(1 + 1/3)."""
    place = places(2)
    group = (place[:, 0] > 0.5).astype(np.intp)
    value = 2.0 * group + 2.0 * place[:, 1]
    assert share_of_groups(group, value) == approx(0.75, abs=0.02)
