"""Sobol points against the library's, and what a shift keeps."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtri
from scipy.stats import qmc

from server.errors import OutOfRange
from server.physics.sobol import MOST_DIMENSIONS, normal_points, sobol_points


def test_points_are_those_of_the_library() -> None:
    # scipy.stats.qmc.Sobol takes its numbers from the same publication
    published = qmc.Sobol(MOST_DIMENSIONS, scramble=False, bits=30).random(1024)
    assert np.array_equal(sobol_points(MOST_DIMENSIONS, 1024), published)


def test_shifted_points_are_as_even_and_the_same_each_time() -> None:
    points = sobol_points(6, 512, seed=3)
    assert np.array_equal(points, sobol_points(6, 512, seed=3))
    assert not np.array_equal(points, sobol_points(6, 512, seed=4))
    assert points.min() > 0.0
    assert points.max() < 1.0
    for column in points.T:  # one point in each of 512 equal parts of every axis
        assert sorted(np.floor(column * 512)) == list(range(512))


def test_normal_deviates_are_the_quantiles_of_the_points() -> None:
    points = normal_points(5, 256, seed=1)
    assert points == pytest.approx(ndtri(sobol_points(5, 256, seed=1)), rel=1e-12)
    assert points.mean(axis=0) == pytest.approx(np.zeros(5), abs=0.02)
    assert points.std(axis=0) == pytest.approx(np.ones(5), abs=0.03)


@pytest.mark.parametrize(("dimensions", "count"), [(0, 8), (MOST_DIMENSIONS + 1, 8), (2, 0)])
def test_what_the_sequence_does_not_reach_is_refused(dimensions: int, count: int) -> None:
    with pytest.raises(OutOfRange):
        sobol_points(dimensions, count)
