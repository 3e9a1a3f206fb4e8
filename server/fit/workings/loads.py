"""Workings: effective volume and gas loads."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

from server.fit.loads import AIR, OUTSIDE_PA, PUMP_K, SurfaceSource, seal_throughput_pa_m3_s
from server.fit.requirements import GasFlow, Seal, VapourLoad
from server.fit.results import Working
from server.fit.workings.bench import (
    INQUIRY,
    Bench,
    Law,
    Settled,
    cite,
    gas_name,
    in_full,
    line,
)
from server.physics.constants import ATMOSPHERE_PA, GAS_CONSTANT_J_MOL_K, ZERO_CELSIUS_K
from server.physics.gas import throughput_from_mass_rate_pa_m3_s, throughput_pa_m3_s
from server.physics.gasload import PERMEATION_M2_S
from server.physics.outgassing import HOUR_S, LAW_START_S, outgassing_rate_pa_m_s
from server.physics.species import SPECIES

SECTION = "Chamber and gas loads"

_IDEAL = "ideal gas law"
_VOLUME = Law("V", "V = V_chamber·293.15 K/T_chamber", "m³", f"{_IDEAL}; {INQUIRY}")
_LEAK = Law("Q_leak", "Q_leak as stated, pumped as air", "Pa·m³/s", INQUIRY)
_GAS = Law(
    "Q_gas",
    "Q = ṅ·R·293.15 K;  1 sccm = 101 325 Pa·1 cm³/(R·273.15 K) per minute",
    "Pa·m³/s",
    cite("SEMI-E12", "CODATA"),
)
_VAPOUR = Law("Q_vapour", "Q = (ṁ/M)·R·293.15 K", "Pa·m³/s", f"{_IDEAL}; {cite('CODATA')}")
_SUM = Law(
    "Q_i", "Q_i = Σ of the sources of this gas at that time", "Pa·m³/s", "gas loads add, gas by gas"
)
_PERMEATION = Law("Q_K", "Q_K = K·A·Δp/d", "Pa·m³/s", cite("PEACOCK-1980"))
_TOTAL = Law("Q", "Q = Σ Q_i", "Pa·m³/s", "gas loads add")

_ACRONYMS = frozenset({"fkm", "nbr", "ptfe", "pmma"})

SCCM_MOL_S = ATMOSPHERE_PA * 1e-6 / (GAS_CONSTANT_J_MOL_K * ZERO_CELSIUS_K) / 60.0


def load_lines(bench: Bench) -> Iterator[Working]:
    """Yield the effective volume and every load down to the inquiry's figures."""
    # every stack of a field has the same
    yield from bench.spot.judged.memory.once("loads", lambda: tuple(_load_lines(bench)))


def _load_lines(bench: Bench) -> Iterator[Working]:
    chamber = bench.requirements.chamber
    yield line(
        SECTION, "volume", "Effective volume: the chamber's gas at pump temperature", _VOLUME,
        {"V_chamber [m³]": chamber.volume_m3, "T_chamber [K]": chamber.temperature_k},
        bench.loads.volume_m3,
    )  # fmt: skip
    for number, surface in enumerate(bench.loads.surfaces, start=1):
        yield from _surface_lines(bench, number, surface)
    yield line(SECTION, "leak", "Leak", _LEAK, {}, bench.loads.leak_pa_m3_s)
    for number, seal in enumerate(chamber.seals, start=1):
        yield from _seal_lines(number, seal)
    for number, gas in enumerate(bench.requirements.process.gas, start=1):
        yield _gas_line(number, gas)
    for number, vapour in enumerate(bench.requirements.process.vapour, start=1):
        yield _vapour_line(number, vapour)
    for state in bench.settled:
        yield from _sum_lines(bench, state)


def _surface_name(surface: SurfaceSource) -> str:
    row = surface.row
    material = row.material.upper() if row.material in _ACRONYMS else row.material.replace("_", " ")
    return f"{material}, {row.condition.replace('_', ' ')}"


def _surface_lines(bench: Bench, number: int, surface: SurfaceSource) -> Iterator[Working]:
    row, key = surface.row, f"surface-{number}"
    note = f" ({row.note})" if row.note else ""
    at_hour = Law("Q_1h", "Q_1h = A·q₁", "Pa·m³/s", in_full(row.source) + note)
    yield line(
        SECTION, f"{key}-1h", f"{_surface_name(surface)}: {gas_name(row.species)} after one hour",
        at_hour,
        {
            "A [m²]": surface.area_m2,
            "q₁ [Pa·m/s]": row.q1_pa_m_s,
            "spread of published rates, one standard deviation [×]": row.geometric_sd,
        },
        surface.amplitude_pa_m3_s,
    )  # fmt: skip
    decay = Law(
        "Q_s",
        f"Q_s = Q_1h·(t/1 h)^−α, held before {LAW_START_S:g} s",
        "Pa·m³/s",
        cite("ELSEY-1975", "DAYTON-1959"),
    )
    for state in bench.settled:
        yield line(
            SECTION, f"{key}-{state.key}", f"{_surface_name(surface)}: {state.words}", decay,
            {
                "Q_1h [Pa·m³/s]": surface.amplitude_pa_m3_s,
                "t [h]": state.time_s / HOUR_S,
                "α": row.alpha,
            },
            _given_off(surface, state.time_s),
        )  # fmt: skip


@lru_cache(maxsize=256)
def _given_off(surface: SurfaceSource, time_s: float) -> float:
    return float(outgassing_rate_pa_m_s(surface.row, time_s)) * surface.area_m2


def _seal_lines(number: int, seal: Seal) -> Iterator[Working]:
    for gas, outside_pa in OUTSIDE_PA.items():
        yield line(
            SECTION, f"seal-{number}-{gas}",
            f"Seal, {seal.material.upper()}: {gas_name(gas)} that comes through", _PERMEATION,
            {
                "K [m²/s]": PERMEATION_M2_S[seal.material, gas],
                "A [m²]": seal.area_m2,
                "d [m]": seal.path_m,
                "Δp [Pa]": outside_pa,
            },
            seal_throughput_pa_m3_s(seal, gas),
        )  # fmt: skip


def _gas_line(number: int, gas: GasFlow) -> Working:
    return line(
        SECTION, f"gas-{number}", f"Process gas: {gas_name(gas.species)}", _GAS,
        {
            "flow [sccm]": gas.flow_mol_s / SCCM_MOL_S,
            "ṅ [mol/s]": gas.flow_mol_s,
            "R [J/(mol·K)]": GAS_CONSTANT_J_MOL_K,
        },
        float(throughput_pa_m3_s(gas.flow_mol_s, PUMP_K)),
    )  # fmt: skip


def _vapour_line(number: int, vapour: VapourLoad) -> Working:
    molar_mass = SPECIES[vapour.substance].molar_mass_kg_mol
    return line(
        SECTION, f"vapour-{number}", f"Vapour of the work: {gas_name(vapour.substance)}", _VAPOUR,
        {
            "rate [g/h]": vapour.rate_kg_s * 1e3 * HOUR_S,
            "ṁ [kg/s]": vapour.rate_kg_s,
            "M [kg/mol]": molar_mass,
            "R [J/(mol·K)]": GAS_CONSTANT_J_MOL_K,
        },
        float(throughput_from_mass_rate_pa_m3_s(vapour.rate_kg_s, molar_mass, PUMP_K)),
    )  # fmt: skip


def _sum_lines(bench: Bench, state: Settled) -> Iterator[Working]:
    for gas in state.gases:
        parts: dict[str, float | str] = {}
        if gas == AIR and bench.loads.leak_pa_m3_s > 0.0:
            parts["leak [Pa·m³/s]"] = bench.loads.leak_pa_m3_s
        if through := bench.loads.permeation_pa_m3_s.get(gas):
            parts["permeation [Pa·m³/s]"] = through
        for number, surface in enumerate(bench.loads.surfaces, start=1):
            if surface.row.species == gas:
                label = f"surface {number}, {_surface_name(surface)} [Pa·m³/s]"
                parts[label] = _given_off(surface, state.time_s)
        if state.working and gas in bench.loads.process_pa_m3_s:
            parts["process [Pa·m³/s]"] = bench.loads.process_pa_m3_s[gas]
        yield line(
            SECTION, f"load-{state.key}-{gas}", f"Load of {gas_name(gas)} {state.words}", _SUM,
            parts, state.load_pa_m3_s[gas],
        )  # fmt: skip
    yield line(
        SECTION, f"load-{state.key}", f"Whole load {state.words}", _TOTAL,
        {f"Q({gas_name(gas)}) [Pa·m³/s]": state.load_pa_m3_s[gas] for gas in state.gases},
        sum(state.load_pa_m3_s.values()),
    )  # fmt: skip
