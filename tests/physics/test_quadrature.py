"""The rule of three and seven points against integrals of polynomials and numpy's Gauss points."""

from __future__ import annotations

import numpy as np
import pytest

from server.physics.quadrature import kronrod


@pytest.mark.parametrize("panels", [1, 4])
def test_seven_points_integrate_the_eleventh_power_and_three_the_fifth(panels: int) -> None:
    # Kronrod's rule of 2n + 1 points is exact to degree 3n + 1, to 3n + 2 where n is odd; Gauss's
    # to 2n − 1; the integral of xᵏ from 0 to 1 is 1/(k + 1)
    rule = kronrod(panels)
    for power in range(12):
        assert rule.weights @ rule.places[:, 0] ** power == pytest.approx(
            1 / (power + 1), rel=1e-14
        )
    for power in range(6):
        assert rule.three @ rule.places[:, 0] ** power == pytest.approx(1 / (power + 1), rel=1e-14)
    # and no further, on one panel: more points would be another rule
    assert abs(kronrod(1).weights @ kronrod(1).places[:, 0] ** 12 - 1 / 13) > 1e-10


def test_the_three_points_are_those_of_gauss() -> None:
    places, weights = np.polynomial.legendre.leggauss(3)
    rule = kronrod(1)
    among = np.flatnonzero(rule.three)
    assert rule.places[among, 0] == pytest.approx((places + 1) / 2, rel=1e-14)
    assert rule.three[among] == pytest.approx(weights / 2, rel=1e-14)


@pytest.mark.parametrize("panels", [1, 4])
def test_integrals_from_each_point_on_are_exact_to_the_sixth_power(panels: int) -> None:
    rule = kronrod(panels)
    assert np.all(np.diff(rule.places[:, 0]) > 0.0)
    for power in range(7):
        found = rule.until_one @ rule.places[:, 0] ** power
        expected = (1 - rule.places[:, 0] ** (power + 1)) / (power + 1)
        assert found == pytest.approx(expected, rel=1e-12, abs=1e-14)
