"""Tubes: transmission, reduced flow, bends, annuli, friction, against published values."""

from __future__ import annotations

import math

import fluids
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.errors import OutOfRange
from server.physics.gas import Floats
from server.physics.tube import (
    annulus_transmission,
    bend_added_length,
    friction_factor,
    gauss_points,
    molecular_share,
    molecular_share_of_product,
    reduced_flow,
    tube_transmission,
    turbulence_factor,
)
from tests.accuracy import Quantity, agrees
from tests.physics.reference import numbers, rows


@pytest.mark.parametrize("row", rows("tube_transmission"), ids=lambda r: r["length_over_radius"])
def test_transmission_solves_clausings_equation(row: dict[str, str]) -> None:
    found = tube_transmission(float(row["length_over_radius"]))
    agrees(Quantity.TUBE, found, float(row["transmission"]), source=row["source"])


def test_transmission_has_exact_limits() -> None:
    # Short: 1 − L/2R; long: 8R/3L.
    assert tube_transmission(0.0) == 1.0
    assert tube_transmission(1e-3) == pytest.approx(1 - 0.5e-3, abs=3e-7)
    assert tube_transmission(1e9) == pytest.approx(8 / 3 * 1e-9, rel=1e-4)
    assert tube_transmission(math.inf) == 0.0


def test_transmission_by_an_independent_solution_of_the_integral_equation() -> None:
    # Clausing 1932: w(x) = kernel integral + direct part, on Gauss points; length 3 radii.
    length, points = 3.0, 400
    at, weight = np.polynomial.legendre.leggauss(points)
    at, weight = (at + 1) / 2 * length, weight / 2 * length

    def to_wall(z: Floats) -> Floats:  # derivative of disc to disc view factors
        value: Floats = (z * z + 2) / (2 * np.sqrt(z * z + 4)) - z / 2
        return value

    gap = np.abs(at[:, None] - at[None, :])
    kernel = 0.5 * (1 - gap * (gap * gap + 6) / (gap * gap + 4) ** 1.5)
    smooth = kernel * weight
    # Integrate the kernel's cusp exactly: rows sum to 1 − both openings.
    rest = 1 - to_wall(at) - to_wall(length - at) - smooth.sum(axis=1)
    wall = np.linalg.solve(np.eye(points) - smooth - np.diag(rest), to_wall(at))
    direct = 0.5 * (2 + length**2 - length * math.sqrt(length**2 + 4))
    through = direct + 2 * float((weight * wall * to_wall(length - at)).sum())
    assert tube_transmission(length) == pytest.approx(through, rel=2e-4)


@given(first=st.floats(0, 1e7), second=st.floats(0, 1e7))
def test_a_longer_tube_never_transmits_more(first: float, second: float) -> None:
    short, long = sorted((first, second))
    assert 0 < tube_transmission(long) <= tube_transmission(short) <= 1


@pytest.mark.parametrize("row", rows("reduced_flow"), ids=lambda r: r["rarefaction"])
def test_reduced_flow_solves_the_kinetic_equation(row: dict[str, str]) -> None:
    found = reduced_flow(float(row["rarefaction"]))
    for equation in ("bgk", "s_model"):
        agrees(Quantity.LONG_TUBE, found, float(row[equation]), source=row["source"])


def test_reduced_flow_has_exact_limits_and_knudsens_minimum() -> None:
    assert reduced_flow(0.0) == pytest.approx(8 / (3 * math.sqrt(math.pi)), rel=1e-12)
    assert reduced_flow(1e5) == pytest.approx(1e5 / 4 + 1.018, rel=1e-5)
    delta = np.geomspace(1e-3, 100, 4001)
    flow = reduced_flow(delta)
    lowest = int(np.argmin(flow))
    assert 0.2 < delta[lowest] < 0.45
    assert min(numbers("reduced_flow", "bgk")) < flow[lowest] < 1.394
    assert np.all(np.diff(flow[:lowest]) < 0)
    assert np.all(np.diff(flow[lowest:]) > 0)


@pytest.mark.parametrize("upper", [0.01, 0.1, 1.0, 3.0, 10.0, 100.0])
def test_two_points_give_the_mean_of_the_reduced_flow(upper: float) -> None:
    # Trapezoidal rule on 200,001 points as the reference.
    delta = np.linspace(0, upper, 200_001)
    integral = np.trapezoid(reduced_flow(delta), delta) / upper
    low, high = gauss_points(0.0, upper)
    assert (reduced_flow(low) + reduced_flow(high)) / 2 == pytest.approx(float(integral), rel=4e-3)


@pytest.mark.parametrize("row", rows("elbow_transmission"), ids=lambda r: r["transmission"])
def test_a_bend_transmits_as_monte_carlo(row: dict[str, str]) -> None:
    axis = float(row["leg_one_over_radius"]) + float(row["leg_two_over_radius"])
    found = tube_transmission(axis + bend_added_length(axis))
    agrees(Quantity.BEND, found, float(row["transmission"]), source=row["source"])


@given(first=st.floats(0, 1e4), second=st.floats(0, 1e4))
def test_a_longer_bent_tube_never_transmits_more(first: float, second: float) -> None:
    short, long = sorted((first, second))
    lengths = np.array([short, long])
    total = lengths + bend_added_length(lengths)
    assert 0 <= total[0] <= total[1]


@pytest.mark.parametrize("row", rows("annulus_transmission"), ids=lambda r: r["transmission"])
def test_an_annulus_transmits_as_monte_carlo(row: dict[str, str]) -> None:
    found = annulus_transmission(float(row["inner_over_outer"]), float(row["length_over_outer"]))
    agrees(Quantity.ANNULUS, found, float(row["transmission"]), source=row["source"])


@given(length=st.floats(0, 1000))
def test_an_annulus_without_core_is_a_tube(length: float) -> None:
    assert annulus_transmission(0.0, length) == pytest.approx(float(tube_transmission(length)))


@pytest.mark.parametrize("reynolds", [10.0, 500.0, 1400.0, 1600.0, 2000.0])
def test_laminar_friction(reynolds: float) -> None:
    assert friction_factor(reynolds) == pytest.approx(64 / reynolds, rel=2e-3)
    assert turbulence_factor(reynolds) == pytest.approx(1.0, rel=2e-3)


@pytest.mark.parametrize("reynolds", [1e4, 1e5, 1e6, 1e7])
def test_turbulent_friction_agrees_with_a_library(reynolds: float) -> None:
    # Smooth tube: Prandtl, von Kármán and Nikuradse, and Churchill 1977, in the library fluids.
    smooth = fluids.friction.friction_factor(Re=reynolds, eD=0.0)
    assert friction_factor(reynolds) == pytest.approx(smooth, rel=0.03)
    churchill = fluids.friction.Churchill_1977(reynolds, 0.0)
    assert friction_factor(reynolds) == pytest.approx(churchill, rel=1e-6)
    assert turbulence_factor(reynolds) == pytest.approx(churchill * reynolds / 64, rel=1e-6)


def test_friction_loss_never_falls_with_flow() -> None:
    reynolds = np.geomspace(10, 1e7, 20_001)
    assert np.all(np.diff(friction_factor(reynolds) * reynolds**2) > 0)
    assert np.all(turbulence_factor(reynolds) >= 1)


@pytest.mark.parametrize("bad", [-1.0, math.nan])
def test_impossible_sizes_are_refused(bad: float) -> None:
    with pytest.raises(OutOfRange, match="length"):
        tube_transmission([1.0, bad])
    with pytest.raises(OutOfRange, match="pressure"):
        reduced_flow(bad)
    with pytest.raises(OutOfRange, match="annulus"):
        annulus_transmission(bad, 1.0)


@settings(max_examples=60)
@given(
    scale=st.lists(st.floats(1e-6, 1e6), min_size=1, max_size=4),
    pressure=st.lists(st.floats(0.0, 1e6), min_size=1, max_size=4),
)
def test_the_share_of_a_product_is_that_of_each_pair(
    scale: list[float], pressure: list[float]
) -> None:
    first, second = np.array(scale)[:, np.newaxis], np.array(pressure)
    found = molecular_share_of_product(first, second)
    np.testing.assert_allclose(found, molecular_share(first * second), rtol=1e-12, atol=1e-15)
