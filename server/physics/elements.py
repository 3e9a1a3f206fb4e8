"""The two elements every line is made of, and the pressure each needs to pass a throughput.

An *aperture* is where gas gathers speed from a wider space; a *duct* is a length of wall behind
it. A tube is an aperture followed by a duct, so that bodies of equal bore add as OATLEY-1957
found, and a tube cut in two is the same tube. Molecular flow is exact by construction; viscous
flow has Sampson's end resistance (DAGAN-1982), slip, inertia, the sonic limit and turbulence.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange
from server.physics.flow_root import Index, rising_root
from server.physics.gas import Floats, GasState
from server.physics.orifice import (
    aperture_throughput_pa_m3_s,
    inertia_weight,
    joined_throughput,
    linear_aperture_m3_s,
)
from server.physics.tube import (
    bend_added_length,
    gauss_points,
    molecular_share,
    molecular_share_of_product,
    tube_transmission,
    turbulence_factor,
    viscous_share,
)

# Velocity heads of one mitre bend of 90° (handbook value, from memory).
BEND_HEADS = 1.1
# Velocity heads lost to the profile that forms along a tube: none in an opening, 2 in a long tube,
# half of that at two radii. With the 1.5 of the sharp opening in front the sum is on the cautious
# side of the 2.8 of a laminar sharp-edged inlet (WHITE-2011, from memory), because the sonic limit
# at the far end of a tube with friction is not modelled by itself.
_PROFILE_HEADS = 2.0
_PROFILE_LENGTH = 2.0


def _picked(values: Floats, index: Index) -> Floats:
    """Return the values at some places; a single value holds everywhere."""
    return values if values.size == 1 else values.ravel()[index]


@dataclass(frozen=True)
class Aperture:
    """An opening by its area; arrays broadcast. An infinite area offers no resistance."""

    area_m2: Floats

    def linear_m3_s(self, state: GasState, pressure_pa: Floats) -> Floats:
        """Conductance for a vanishing pressure difference."""
        return linear_aperture_m3_s(state, self.area_m2, pressure_pa)

    def at(self, index: Index) -> Aperture:
        """Return the openings at some places of raveled arrays."""
        return Aperture(_picked(self.area_m2, index))

    def friction(self, _state: GasState, flow: Floats) -> Floats:
        """No wall, no turbulence on it."""
        return np.ones_like(flow)

    def throughput(self, state: GasState, down_pa: Floats, drop_pa: Floats, _: Floats) -> Floats:
        """Throughput for a pressure drop to the pressure downstream."""
        return aperture_throughput_pa_m3_s(state, self.area_m2, down_pa, drop_pa)

    @property
    def radius_m(self) -> Floats:
        """Radius of a round opening of this area."""
        value: Floats = np.sqrt(self.area_m2 / math.pi)
        return value


@dataclass(frozen=True)
class Duct:
    """A length of wall; arrays broadcast.

    ``molecular_area_m2`` is the molecular conductance divided by v̄/4, without the opening in
    front; ``viscous_length_m`` the length of round tube of ``radius_m`` with the same viscous
    conductance; ``heads`` the velocity heads lost on ``area_m2``.
    """

    area_m2: Floats
    radius_m: Floats
    viscous_length_m: Floats
    molecular_area_m2: Floats
    heads: Floats

    def linear_m3_s(self, state: GasState, pressure_pa: Floats) -> Floats:
        """Conductance for a vanishing pressure difference (SHARIPOV-1998)."""
        delta = state.rarefaction(self.radius_m, pressure_pa)
        return self._of_shares(state, molecular_share(delta), viscous_share(delta))

    def tabulated_m3_s(self, state: GasState, pressure_pa: Floats) -> Floats:
        """Return ``linear_m3_s`` of ducts, shape (n, 1), at each of many pressures, (m,)."""
        at_one_pascal = state.rarefaction(self.radius_m, 1.0)
        molecular = molecular_share_of_product(at_one_pascal, pressure_pa)
        return self._of_shares(state, molecular, viscous_share(at_one_pascal * pressure_pa))

    def _of_shares(self, state: GasState, molecular: Floats, viscous: Floats) -> Floats:
        """Conductance by the shares of molecular and viscous flow."""
        thin = self.molecular_area_m2 * (state.mean_speed_m_s / 4)
        wide = math.pi * self.radius_m**3 * state.most_probable_speed_m_s
        return thin * molecular + wide / (2 * self.viscous_length_m) * viscous

    def at(self, index: Index) -> Duct:
        """Return the ducts at some places of raveled arrays."""
        return Duct(
            _picked(self.area_m2, index),
            _picked(self.radius_m, index),
            _picked(self.viscous_length_m, index),
            _picked(self.molecular_area_m2, index),
            _picked(self.heads, index),
        )

    def friction(self, state: GasState, flow: Floats) -> Floats:
        """How far turbulence raises the friction of a throughput above laminar flow."""
        return turbulence_factor(self.reynolds(state, flow))

    def throughput(self, state: GasState, down_pa: Floats, drop_pa: Floats, rise: Floats) -> Floats:
        """Throughput for a pressure drop, the friction raised by turbulence."""
        up_pa = down_pa + drop_pa
        # both points at once: where there are few flows, each call costs more than its work
        low, high = self.linear_m3_s(state, np.stack(gauss_points(down_pa, up_pa)))
        mean = (low + high) / 2
        linear = mean * drop_pa / rise
        squares = drop_pa * (up_pa + down_pa) * self.area_m2**2 * state.gas_factor_m2_s2
        weight = self.heads * inertia_weight(state.rarefaction(self.radius_m, up_pa))
        return joined_throughput(linear, squares, weight)

    def reynolds(self, state: GasState, flow: Floats) -> Floats:
        """Reynolds number of a throughput on the bore."""
        return flow / (
            (math.pi / 2) * self.radius_m * state.viscosity_pa_s * state.gas_factor_m2_s2
        )


Element = Aperture | Duct


def profile_heads(length_over_radius: ArrayLike) -> Floats:
    """Return the velocity heads lost to the profile that forms behind an opening.

    Parameters
    ----------
    length_over_radius : array
        Length divided by radius. [-]

    Returns
    -------
    array
        Velocity heads, 0 to 2: our own choice, see the constants. [-]
    """
    ratio = np.asarray(length_over_radius, dtype=np.float64)
    return _PROFILE_HEADS * ratio / (ratio + _PROFILE_LENGTH)


def tube_duct(
    radius_m: ArrayLike, length_m: ArrayLike, bends: int = 0, entrance: bool = True
) -> Duct:
    """Return the duct of a round tube, without the opening in front of it.

    Parameters
    ----------
    radius_m : array
        Inner radius. [m]
    length_m : array
        Length along the axis, above zero. [m]
    bends : int
        Number of 90° bends spread over the length. [-]
    entrance : bool
        Whether gas gathers speed in front of it; not so in a run of equal bore. [-]

    Returns
    -------
    Duct
        Molecular conductance from the exact transmission (BERMAN-1965), bends included.
    """
    radius = np.asarray(radius_m, dtype=np.float64)
    length = np.asarray(length_m, dtype=np.float64)
    if not bool(np.all((radius > 0) & (length > 0))):
        raise OutOfRange("A tube needs a bore and a length above zero.")
    area = math.pi * radius**2
    ratio = length / radius
    heads = BEND_HEADS * bends + (profile_heads(ratio) if entrance else np.zeros_like(ratio))
    if bends:
        # a short mitre passes more than a straight tube of its axis, but nobody's line gets better
        # by another bend: the most that this many bends or fewer add
        added = [count * bend_added_length(ratio / count) for count in range(1, bends + 1)]
        ratio = ratio + np.maximum(np.max(added, axis=0), 0.0)
    passed = tube_transmission(ratio)
    return Duct(
        area_m2=area,
        radius_m=radius,
        viscous_length_m=length,
        molecular_area_m2=area * passed / (1 - passed),
        heads=heads,
    )


def linear_chain_m3_s(state: GasState, elements: Sequence[Element], pressure_pa: Floats) -> Floats:
    """Return the conductance of elements in series for a vanishing pressure difference.

    Parameters
    ----------
    state : GasState
        Gas at its temperature. [-]
    elements : sequence of Element
        From the chamber to the pump; none means no resistance. [-]
    pressure_pa : array
        Mean pressure. [Pa]

    Returns
    -------
    array
        Conductance. [m3/s]
    """
    resistance = np.zeros_like(pressure_pa)
    for element in elements:
        resistance = resistance + 1 / element.linear_m3_s(state, pressure_pa)
    return np.divide(1.0, resistance, out=np.full_like(resistance, np.inf), where=resistance > 0)


def chain_drop_pa(
    state: GasState, elements: Sequence[Element], flow_pa_m3_s: Floats, downstream_pa: Floats
) -> Floats:
    """Return the pressure drop that drives a throughput through elements in series.

    Parameters
    ----------
    state : GasState
        Gas at its temperature. [-]
    elements : sequence of Element
        From the chamber to the pump. [-]
    flow_pa_m3_s : array
        Throughput, zero or more. [Pa m3/s]
    downstream_pa : array
        Pressure behind the last element. [Pa]

    Returns
    -------
    array
        Pressure in front of the first element less the one behind the last. [Pa]
    """
    total = np.zeros_like(flow_pa_m3_s + downstream_pa)
    for element in reversed(elements):
        total = total + element_drop_pa(state, element, flow_pa_m3_s, downstream_pa + total)
    return total


def element_drop_pa(
    state: GasState, element: Element, flow_pa_m3_s: Floats, downstream_pa: Floats
) -> Floats:
    """Return the pressure drop that drives a throughput through one element.

    Parameters
    ----------
    state : GasState
        Gas at its temperature, or one for each flow. [-]
    element : Element
        The element. [-]
    flow_pa_m3_s : array
        Throughput, zero or more. [Pa m3/s]
    downstream_pa : array
        Pressure behind it. [Pa]

    Returns
    -------
    array
        Pressure drop; the flow law holds there to 1e-10. [Pa]
    """
    flow, down = np.broadcast_arrays(flow_pa_m3_s, downstream_pa)
    shape = flow.shape
    # Zero flow needs no difference: solved with a stand-in and put right at the end.
    wanted = np.where(flow > 0, flow, 1.0).ravel()
    down = down.ravel()
    rise = element.friction(state, wanted.reshape(shape)).ravel()

    def law(drop_pa: Floats, index: Index) -> Floats:
        part, behind = element.at(index), down[index]
        return part.throughput(state.at(index), behind, drop_pa, rise[index])

    whole = element.at(np.arange(wanted.size))
    first = wanted / whole.linear_m3_s(state, down)
    second = wanted / whole.linear_m3_s(state, down + first / 2)
    drop = rising_root(law, wanted, np.maximum(second, 1e-290)).reshape(shape)
    return np.where(flow > 0, drop, 0.0)


def chain_throughput_pa_m3_s(
    state: GasState, elements: Sequence[Element], upstream_pa: Floats, downstream_pa: Floats
) -> Floats:
    """Return the throughput of elements in series between two pressures.

    Parameters
    ----------
    state : GasState
        Gas at its temperature. [-]
    elements : sequence of Element
        From the chamber to the pump, at least one. [-]
    upstream_pa : array
        Pressure in front. [Pa]
    downstream_pa : array
        Pressure behind, at most the one in front. [Pa]

    Returns
    -------
    array
        Throughput. [Pa m3/s]
    """
    drop = upstream_pa - downstream_pa
    shape = drop.shape
    wanted = np.where(drop > 0, drop, 1.0).ravel()
    down = downstream_pa.ravel()

    def law(flow: Floats, index: Index) -> Floats:
        parts = [element.at(index) for element in elements]
        return chain_drop_pa(state.at(index), parts, flow, down[index])

    guess = linear_chain_m3_s(state, elements, (upstream_pa + downstream_pa) / 2).ravel() * wanted
    flow = rising_root(law, wanted, np.maximum(guess, 1e-290)).reshape(shape)
    return np.where(drop > 0, flow, 0.0)
