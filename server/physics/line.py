"""Lines from chamber to pump: tubes, valves and traps in series, in every regime."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from server.errors import OutOfRange
from server.physics.elements import (
    Aperture,
    Duct,
    Element,
    chain_drop_pa,
    chain_throughput_pa_m3_s,
    element_drop_pa,
    linear_chain_m3_s,
)
from server.physics.gas import (
    Floats,
    GasState,
    Mixture,
    Species,
    gas_state,
    knudsen_number,
)
from server.physics.orifice import check_forward, check_pressure
from server.physics.parts import Line, Part, Restriction, Tube, line_elements

__all__ = [
    "Line",
    "Part",
    "PartState",
    "Passing",
    "Regime",
    "Restriction",
    "Tube",
    "line_conductance_m3_s",
    "line_states",
    "line_throughput_pa_m3_s",
    "molecular_conductance_m3_s",
    "regime_of",
    "states_of_flows",
    "upstream_pressure_pa",
]

# Borders of the regimes by Knudsen number λ/D (DUSHMAN-1962; common practice).
MOLECULAR_KNUDSEN = 0.5
VISCOUS_KNUDSEN = 0.01
TURBULENT_REYNOLDS = 2300.0
# Backing pumps blow off and lines are open to air: no line is run above this.
DEFAULT_CEILING_PA = 2e5


class Regime(StrEnum):
    """How the gas flows in one part."""

    MOLECULAR = "molecular"
    TRANSITIONAL = "transitional"
    VISCOUS = "viscous"
    TURBULENT = "turbulent"


@dataclass(frozen=True)
class PartState:
    """How one part of a line stands at one throughput, for the workings."""

    name: str
    upstream_pa: float
    downstream_pa: float
    conductance_m3_s: float
    share_of_drop: float
    rarefaction: float
    knudsen: float
    reynolds: float
    regime: Regime


def line_conductance_m3_s(
    line: Line, pressure_pa: ArrayLike, temperature_k: float, gas: Species | Mixture
) -> Floats:
    """Return the conductance of a line for small pressure differences.

    Parameters
    ----------
    line : Line
        The line; without parts it offers no resistance. [-]
    pressure_pa : array, shape (n,)
        Mean pressure. [Pa]
    temperature_k : float
        Gas temperature. [K]
    gas : Species or Mixture
        The gas. [-]

    Returns
    -------
    array, shape (n,)
        Conductance; infinite for a line without resistance. [m3/s]
    """
    pressure = np.asarray(pressure_pa, dtype=np.float64)
    check_pressure(pressure)
    return linear_chain_m3_s(gas_state(gas, temperature_k), _bare(line), pressure)


def molecular_conductance_m3_s(line: Line, temperature_k: float, gas: Species | Mixture) -> float:
    """Return the conductance of a line in molecular flow: its limit at low pressure.

    Parameters
    ----------
    line : Line
        The line. [-]
    temperature_k : float
        Gas temperature. [K]
    gas : Species or Mixture
        The gas. [-]

    Returns
    -------
    float
        Conductance. [m3/s]
    """
    return float(line_conductance_m3_s(line, 0.0, temperature_k, gas))


def upstream_pressure_pa(
    line: Line,
    throughput_pa_m3_s: ArrayLike,
    downstream_pressure_pa: ArrayLike,
    temperature_k: float,
    gas: Species | Mixture,
    ceiling_pa: float = DEFAULT_CEILING_PA,
) -> Floats:
    """Return the chamber pressure that drives a throughput through a line.

    Every part is solved from the pump upwards, in a bracket, with inertia, the sonic limit and
    turbulence. Where even the ceiling does not drive the throughput, the answer is infinite.

    Parameters
    ----------
    line : Line
        The line. [-]
    throughput_pa_m3_s : array
        Throughput at the gas temperature, zero or more. [Pa m3/s]
    downstream_pressure_pa : array
        Pressure at the pump, zero or more. [Pa]
    temperature_k : float
        Gas temperature. [K]
    gas : Species or Mixture
        The gas. [-]
    ceiling_pa : float
        Highest chamber pressure that counts as a solution. [Pa]

    Returns
    -------
    array
        Chamber pressure, or infinity: the line cannot carry the throughput. [Pa]

    Raises
    ------
    OutOfRange
        If a throughput or pressure is negative or not finite.
    """
    flow, down = np.broadcast_arrays(
        np.asarray(throughput_pa_m3_s, dtype=np.float64),
        np.asarray(downstream_pressure_pa, dtype=np.float64),
    )
    check_pressure(down)
    if not bool(np.all((flow >= 0) & np.isfinite(flow))):
        raise OutOfRange("The gas flow through a line must be zero or more.")
    pressure = down + chain_drop_pa(gas_state(gas, temperature_k), _bare(line), flow, down)
    return np.where(pressure <= ceiling_pa, pressure, np.inf)


def line_throughput_pa_m3_s(
    line: Line,
    upstream_pa: ArrayLike,
    downstream_pa: ArrayLike,
    temperature_k: float,
    gas: Species | Mixture,
) -> Floats:
    """Return the throughput of a line between two pressures.

    Parameters
    ----------
    line : Line
        The line, with at least one part. [-]
    upstream_pa : array
        Pressure in the chamber. [Pa]
    downstream_pa : array
        Pressure at the pump, at most the one in the chamber. [Pa]
    temperature_k : float
        Gas temperature. [K]
    gas : Species or Mixture
        The gas. [-]

    Returns
    -------
    array
        Throughput at the gas temperature. [Pa m3/s]

    Raises
    ------
    OutOfRange
        If the pressures do not drive gas forward, or the line has no resistance.
    """
    if not line.parts:
        raise OutOfRange("A line without parts has no throughput of its own.")
    up, down = np.broadcast_arrays(
        np.asarray(upstream_pa, dtype=np.float64), np.asarray(downstream_pa, dtype=np.float64)
    )
    check_forward(up, down)
    return chain_throughput_pa_m3_s(gas_state(gas, temperature_k), _bare(line), up, down)


def line_states(
    line: Line,
    throughput_pa_m3_s: float,
    downstream_pressure_pa: float,
    temperature_k: float,
    gas: Species | Mixture,
) -> tuple[PartState, ...]:
    """Return how every part of a line stands at one throughput, from the chamber to the pump.

    Parameters
    ----------
    line : Line
        The line. [-]
    throughput_pa_m3_s : float
        Throughput at the gas temperature, above zero. [Pa m3/s]
    downstream_pressure_pa : float
        Pressure at the pump. [Pa]
    temperature_k : float
        Gas temperature. [K]
    gas : Species or Mixture
        The gas. [-]

    Returns
    -------
    tuple of PartState
        Pressures, conductance, δ, Knudsen and Reynolds number, regime, share of the drop.
    """
    flow = Passing(line, throughput_pa_m3_s, downstream_pressure_pa, gas)
    return states_of_flows([flow], temperature_k)[0]


@dataclass(frozen=True)
class Passing:
    """One flow through a line: throughput above zero, pressure at the pump, and the gas."""

    line: Line
    throughput_pa_m3_s: float
    downstream_pa: float
    gas: Species | Mixture


def states_of_flows(
    flows: Sequence[Passing], temperature_k: float
) -> tuple[tuple[PartState, ...], ...]:
    """Return how every part of each flow's line stands, flows and lines solved at once.

    Parameters
    ----------
    flows : sequence of Passing, length n
        The flows, at least one. [-]
    temperature_k : float
        Gas temperature, at which the throughputs are stated. [K]

    Returns
    -------
    tuple of tuple of PartState
        For each flow the parts from the chamber to the pump, as of ``line_states``.

    Raises
    ------
    OutOfRange
        If a throughput is not above zero, or a pressure negative or not finite.
    """
    flow = np.array([one.throughput_pa_m3_s for one in flows], dtype=np.float64)
    if not bool(np.all(np.isfinite(flow) & (flow > 0))):
        raise OutOfRange("The parts of a line can be shown for a gas flow above zero only.")
    at_pump = np.array([one.downstream_pa for one in flows], dtype=np.float64)
    check_pressure(at_pump)
    state = GasState.together([gas_state(one.gas, temperature_k) for one in flows])
    total = np.zeros(len(flows))
    upwards: list[_Row] = []
    for places, names, element in _rows_upwards([one.line for one in flows]):
        here, down = state.at(places), at_pump[places] + total[places]
        drop = element_drop_pa(here, element, flow[places], down)
        total[places] += drop
        upwards.append(_Row(places, names, element, here, down, drop))
    parts: list[list[PartState]] = [[] for _ in flows]
    for row in reversed(upwards):
        found = _part_states(row, flow[row.places], total[row.places])
        for place, part in zip(row.places.tolist(), found, strict=True):
            parts[place].append(part)
    return tuple(map(tuple, parts))


@dataclass(frozen=True)
class _Row:
    """Elements of one kind, each of another flow's line, with their flows."""

    places: NDArray[np.intp]
    names: tuple[str, ...]
    element: Element
    state: GasState
    down_pa: Floats
    drop_pa: Floats


def _rows_upwards(
    lines: Sequence[Line],
) -> Iterator[tuple[NDArray[np.intp], tuple[str, ...], Element]]:
    """Yield the elements of lines from the pump upwards, of each as many at once as may be."""
    chains = [line_elements(line)[::-1] for line in lines]
    for level in range(max(map(len, chains))):
        for kind in (Aperture, Duct):
            places = [
                place
                for place, chain in enumerate(chains)
                if level < len(chain) and isinstance(chain[level][1], kind)
            ]
            if places:
                names, elements = zip(*(chains[place][level] for place in places), strict=True)
                fields = np.array([tuple(vars(one).values()) for one in elements], dtype=np.float64)
                yield np.array(places), names, kind(*fields.T)


def _part_states(row: _Row, flow: Floats, total_pa: Floats) -> list[PartState]:
    state, element, down, drop = row.state, row.element, row.down_pa, row.drop_pa
    mean = down + drop / 2
    # an opening has no wall to give a Reynolds number
    reynolds = element.reynolds(state, flow) if isinstance(element, Duct) else np.zeros_like(flow)
    numbers = {
        "upstream_pa": down + drop,
        "downstream_pa": down,
        "conductance_m3_s": flow / drop,
        "share_of_drop": drop / total_pa,
        "rarefaction": state.rarefaction(element.radius_m, mean),
        "knudsen": knudsen_number(state, 2 * element.radius_m, mean),
        "reynolds": reynolds,
    }
    rows = zip(*(values.tolist() for values in numbers.values()), strict=True)
    found = [dict(zip(numbers, values, strict=True)) for values in rows]
    return [
        PartState(name, regime=regime_of(one["knudsen"], one["reynolds"]), **one)
        for name, one in zip(row.names, found, strict=True)
    ]


def regime_of(knudsen: float, reynolds: float) -> Regime:
    """Name the regime of a flow.

    Parameters
    ----------
    knudsen : float
        Mean free path over bore. [-]
    reynolds : float
        Reynolds number on the bore. [-]

    Returns
    -------
    Regime
        Molecular above Kn 0.5, viscous below 0.01, turbulent beyond Re 2300.
    """
    if reynolds > TURBULENT_REYNOLDS:
        return Regime.TURBULENT
    if knudsen > MOLECULAR_KNUDSEN:
        return Regime.MOLECULAR
    return Regime.VISCOUS if knudsen < VISCOUS_KNUDSEN else Regime.TRANSITIONAL


def _bare(line: Line) -> tuple[Element, ...]:
    return tuple(element for _, element in line_elements(line))
