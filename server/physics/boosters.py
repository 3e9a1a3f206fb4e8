"""Roots boosters in front of backing pumps: speed, compression, pressure difference, cut-in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange
from server.physics.arrays import BoolArray, FloatArray, floats
from server.physics.end_to_end import EndToEnd
from server.physics.gas import gas_state
from server.physics.species import SPECIES, Species
from server.physics.speedtable import LogGrid, SpeedTable, lookup

GAP_M = 2e-4
"""Gap between the rotors and to the casing: 0.1 to 0.3 mm, common practice, no source. [m]"""
GAP_SLIP = 1.018
"""Slip of plane Poiseuille flow with diffuse walls [SHARIPOV-1998]. [-]"""
GAP_K = 293.15
"""Temperature of the gas in the gaps; only the ratio of two gases is taken at it. [K]"""


def gap_leak_ratio(gas: Species, foreline_pa: ArrayLike) -> FloatArray:
    """Return how much more of a gas than of air flows back through the gaps of a booster.

    A gap of height h passes v₀·(1.018 + δ/6) for a width, with δ = h·p/(μ v₀) [SHARIPOV-1998]: at
    low pressure like 1/√M, in dense gas like 1/μ. The logarithm by which an endless gap passes yet
    more at the lowest pressures is left out: a rotor's gap is short, and only a ratio is wanted.

    Parameters
    ----------
    gas : Species
        The gas. [-]
    foreline_pa : array
        Pressure behind the booster, ≥ 0; the mean in the gap is half of it. [Pa]
    """
    mean = floats(foreline_pa) / 2.0
    passed = []
    for one in (gas, SPECIES["air"]):
        state = gas_state(one, GAP_K)
        opened = GAP_SLIP + state.rarefaction(GAP_M, mean) / 6.0
        passed.append(state.most_probable_speed_m_s * opened)
    return floats(passed[0] / passed[1])


def gas_compression(air_compression: ArrayLike, foreline_pa: ArrayLike, gas: Species) -> FloatArray:
    """Return the zero-flow compression of a booster for a gas from that for air.

    At rest S_th·p₁ = C·(p₂ − p₁), so K₀ = 1 + S_th/C [WUTZ-1989, JOUSTEN-2016]: K₀ − 1 falls as the
    conductance C of the gaps rises with ``gap_leak_ratio``. Part of the backflow is carried in the
    rotors' pockets whatever the gas; it is scaled too, which is on the safe side for light gases,
    and a heavy gas is given no better compression than air, for the same reason.

    Parameters
    ----------
    air_compression : array
        Zero-flow compression for air at the foreline pressure, ≥ 1. [-]
    foreline_pa : array
        Foreline pressure, ≥ 0. [Pa]
    gas : Species
        The gas. [-]
    """
    known = floats(air_compression)
    if np.any(~(known >= 1.0)):
        raise OutOfRange("A booster's zero-flow compression is 1 or more.")
    return floats(1.0 + (known - 1.0) / np.maximum(gap_leak_ratio(gas, foreline_pa), 1.0))


def compression_over_rest(
    compression: ArrayLike, air_compression: ArrayLike, rest_pa: ArrayLike, foreline_pa: ArrayLike
) -> FloatArray:
    """Return the compression of a gas over a foreline that holds the backing pump's air as well.

    A backing pump comes to rest at its ultimate pressure because air leaks back through it. That
    air, p_rest, is held back by K₀ for air, the gas above it, p₂ − p_rest, by its own: 1/K is
    ρ/K_air + (1 − ρ)/K_gas with ρ = p_rest/p₂, 1 at and below rest.

    Parameters
    ----------
    compression : array
        Zero-flow compression for the gas, ≥ 1. [-]
    air_compression : array
        Zero-flow compression for air, ≥ 1. [-]
    rest_pa : array
        Pressure at which the backing pump comes to rest, ≥ 0. [Pa]
    foreline_pa : array
        Foreline pressure p₂, > 0. [Pa]
    """
    share = np.minimum(floats(rest_pa) / floats(foreline_pa), 1.0)
    return floats(1.0 / (share / floats(air_compression) + (1.0 - share) / floats(compression)))


def roots_speed_m3_s(
    displacement_m3_s: ArrayLike, compression: ArrayLike, backing_speed_m3_s: ArrayLike
) -> FloatArray:
    """Return the speed of a Roots booster, S_th·K₀/(K₀ + S_th/S_b) [VANATTA-1965, JOUSTEN-2016].

    From p₁·S = p₁·S_th − p₂·S_th/K₀ and p₁·S = p₂·S_b; zero where the backing pump has no speed.

    Parameters
    ----------
    displacement_m3_s : array
        Volume displaced per time, S_th. [m3/s]
    compression : array
        Zero-flow compression K₀ at the foreline pressure, > 0. [-]
    backing_speed_m3_s : array
        Speed of the backing pump at the foreline pressure, ≥ 0. [m3/s]
    """
    backing = floats(backing_speed_m3_s)
    swept = floats(displacement_m3_s) * floats(compression) * backing
    divisor = floats(compression) * backing + floats(displacement_m3_s)
    return floats(swept / divisor)


def cut_in_pressure_pa(
    largest_difference_pa: ArrayLike, displacement_m3_s: ArrayLike, backing_speed_m3_s: ArrayLike
) -> FloatArray:
    """Return the inlet pressure below which a booster without bypass valve may run.

    There p₂ − p₁ = Δp_max; with p₂/p₁ ≈ S_th/S_b it is Δp_max/(S_th/S_b − 1), inf when the
    backing pump is the larger of the two.

    Parameters
    ----------
    largest_difference_pa : array
        Largest pressure difference. [Pa]
    displacement_m3_s : array
        Volume displaced per time. [m3/s]
    backing_speed_m3_s : array
        Speed of the backing pump there, > 0. [m3/s]
    """
    staging = floats(displacement_m3_s) / floats(backing_speed_m3_s) - 1.0
    pressure = floats(largest_difference_pa) / np.where(staging > 0.0, staging, 1.0)
    return np.where(staging > 0.0, pressure, np.inf)


@dataclass(frozen=True)
class Boosters:
    """Limits of a set of booster–backing pairs, each of shape (n,).

    ``bypass`` tells whether an overflow valve (or a drive that slows down) holds the difference at
    its limit; without one the booster stands still above ``cut_in_pa`` and gas passes through it.
    """

    displacement_m3_s: FloatArray
    largest_difference_pa: FloatArray
    cut_in_pa: FloatArray
    bypass: BoolArray


def booster_speed_m3_s(
    boosters: Boosters, compression: ArrayLike, backing: SpeedTable
) -> FloatArray:
    """Return the speed at the booster's inlet on the grid of its backing pump.

    For every foreline pressure p₂ the balance gives p₁ = p₂·(S_b/S_th + 1/K₀); that relation is
    inverted on the grid. Where p₂ − p₁ would exceed Δp_max, a bypass valve holds it there and the
    pair carries S_b(p₂)·p₂ with p₂ = p₁ + Δp_max; without one the booster is off above its cut-in
    pressure and the pair has the backing pump's speed. The foreline pressure never exceeds the
    grid's highest, the atmosphere the backing pump exhausts to.

    Parameters
    ----------
    boosters : Boosters
        n pairs. [-]
    compression : array, shape (n, n_grid) or (n_grid,)
        Zero-flow compression at each foreline pressure of the grid, ≥ 1. [-]
    backing : SpeedTable
        Speed of each pair's backing pump at the booster's outlet, n rows. [m3/s]

    Raises
    ------
    OutOfRange
        Inlet pressure that does not rise with foreline pressure: a backing speed that falls
        faster than 1/p cannot be staged.
    """
    grid, speed_b = backing.grid, backing.speed_m3_s
    displacement = floats(boosters.displacement_m3_s)[:, np.newaxis]
    factor = speed_b / displacement + 1.0 / floats(compression)
    ln_inlet = np.log(grid.pressure_pa * factor)
    if np.any(np.diff(ln_inlet, axis=1) <= 0.0):
        raise OutOfRange("The backing pump's speed falls faster than 1/p: it cannot be staged.")
    wanted = np.log(grid.pressure_pa)
    ln_foreline = invert_rows(ln_inlet, wanted, grid)
    foreline = np.exp(ln_foreline)
    rows = np.arange(speed_b.shape[0])[:, np.newaxis]
    flow = foreline * lookup(backing, rows, foreline)
    staged = flow / grid.pressure_pa
    return _within_limits(boosters, backing, staged, foreline)


def _within_limits(
    boosters: Boosters, backing: SpeedTable, staged_m3_s: FloatArray, foreline_pa: FloatArray
) -> FloatArray:
    """Apply the limit of the pressure difference to freely staged speeds."""
    grid = backing.grid
    inlet = grid.pressure_pa
    rows = np.arange(staged_m3_s.shape[0])[:, np.newaxis]
    difference = floats(boosters.largest_difference_pa)[:, np.newaxis]
    held = inlet + difference
    speed_held = lookup(backing, rows, np.minimum(held, grid.high_pa))
    limited = np.where(foreline_pa - inlet > difference, speed_held * held / inlet, staged_m3_s)
    running = boosters.bypass[:, np.newaxis] | (inlet <= floats(boosters.cut_in_pa)[:, np.newaxis])
    alone = backing.speed_m3_s
    # a booster smaller than its backing pump is passed through, it does not throttle
    return np.where(running, np.maximum(limited, alone), alone)


def invert_rows(ln_inlet: FloatArray, wanted: FloatArray, grid: LogGrid) -> FloatArray:
    """Return the ln p of the grid at which each row's rising values reach the wanted ones.

    Linear between nodes. Wanted values beyond a row's ends get the end of the grid.

    Parameters
    ----------
    ln_inlet : array, shape (n, n_grid)
        Logarithms of pressure, rising along each row, one for each node of the grid. [-]
    wanted : array, shape (n_grid,) or (n, n_grid)
        Logarithms of pressure to be reached. [-]
    grid : LogGrid
        Grid the result is a place on. [-]
    """
    places = np.indices(ln_inlet.shape)
    sought = np.broadcast_to(wanted, ln_inlet.shape)
    found = EndToEnd(ln_inlet).between(places[0], sought, floats(places[1]))
    return floats(grid.ln_low + found * grid.step)
