"""Workings: vapour, costs and the margins themselves."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from server.catalog.items import CapturePump, Pump, Trap
from server.fit.costs import Purse
from server.fit.explain import margins_of
from server.fit.inlet import is_caught
from server.fit.loads import PUMP_K
from server.fit.margin_vapour import AMBIENT_WATER_PA, working_time_per_day_s
from server.fit.margins import capture_life_margin_s
from server.fit.money import minor_digits
from server.fit.results import Margin, MarginKey, Working
from server.fit.running import energy_kwh_per_year, running_hours_per_year
from server.fit.states import process_time_s
from server.fit.thresholds import RULES
from server.fit.workings.bench import (
    CATALOG,
    INQUIRY,
    PRACTICE,
    Bench,
    Law,
    cite,
    gas_name,
    line,
    speed_at,
)
from server.physics.ballast import Ballast, vapour_carried_pa_m3_s, vapour_tolerance_pa
from server.physics.constants import ATMOSPHERE_PA, GAS_CONSTANT_J_MOL_K
from server.physics.species import SPECIES
from server.physics.vapour import SATURATION, saturation_model, saturation_pressure_pa

VAPOUR_SECTION = "Vapour"
COST_SECTION = "Costs"
MARGIN_SECTION = "Margins"

_TRAPPED = Law("ṁ_trap", "ṁ_trap = m_trap/t_day: filled in one working day", "kg/s", CATALOG)
_DEFROST = Law("t_defrost", "t = m_trap/ṁ/3600", "h", f"{CATALOG}; {INQUIRY}")
_TOLERANCE = Law(
    "p_W",
    "p_W = (B/S)·[p_s·(p_n − p_a)/(p_o − p_s) − p_a]",
    "Pa",
    cite("GAEDE-1935"),
)
_CARRIED = Law(
    "ṁ_W",
    "ṁ_W = {p_s/(p_o − p_s)·[B·(p_n − p_a) + Q_dry] − B·p_a}·M/(R·293.15 K)",
    "kg/s",
    cite("GAEDE-1935"),
)


def vapour_lines(bench: Bench) -> Iterator[Working]:
    """Yield what trap and gas ballast take of each substance the work gives off."""
    if bench.front is not None and isinstance(bench.front.pump, CapturePump):
        return  # the pump keeps it: see its life among the margins
    for substance, rate in bench.loads.vapour_kg_s.items():
        if rate <= 0.0 or substance not in SATURATION:
            continue
        traps = (bench.front.trap if bench.front else None, bench.back.trap)
        for place, trap in zip(("inlet", "back"), traps, strict=True):
            if trap is not None and is_caught(substance, trap, bench.requirements):
                yield from _trap_lines(bench, f"{place}-{substance}", trap, rate)
        yield from _ballast_lines(bench, substance)


def _trap_lines(bench: Bench, key: str, trap: Trap, rate_kg_s: float) -> Iterator[Working]:
    day = working_time_per_day_s(bench.requirements)
    yield line(
        VAPOUR_SECTION, f"trap-{key}", f"{trap.name}: rate between daily defrosts", _TRAPPED,
        {"m_trap [kg]": trap.capacity_kg, "t_day [s]": day},
        trap.capacity_kg / day if day > 0.0 else 0.0,
    )  # fmt: skip
    yield line(
        VAPOUR_SECTION, f"defrost-{key}", f"{trap.name}: working hours until it must be defrosted",
        _DEFROST, {"m_trap [kg]": trap.capacity_kg, "ṁ [kg/s]": rate_kg_s},
        trap.capacity_kg / rate_kg_s / 3600.0,
    )  # fmt: skip


def _ballast_lines(bench: Bench, substance: str) -> Iterator[Working]:
    pump, model = bench.back.backing, saturation_model(substance)
    boils = pump.exhaust_k >= model.high_k
    saturation = math.inf if boils else float(saturation_pressure_pa(substance, pump.exhaust_k))
    ambient = AMBIENT_WATER_PA if substance == "water" else 0.0
    law = Law("p_s", "saturation pressure at the exhaust", "Pa", _saturation_source(substance))
    yield line(
        VAPOUR_SECTION, f"saturation-{substance}",
        f"Saturation of {gas_name(substance)} at the exhaust of {pump.name}", law,
        {"T_exhaust [K]": pump.exhaust_k}, saturation,
    )  # fmt: skip
    ballast = Ballast(
        flow_m3_s=pump.ballast_m3_s, saturation_pa=saturation, exhaust_pa=pump.exhaust_valve_pa,
        ambient_vapour_pa=ambient,
    )  # fmt: skip
    at_exhaust: dict[str, float | str] = {
        "B [m³/s]": pump.ballast_m3_s,
        "p_s [Pa]": saturation,
        "p_o [Pa]": pump.exhaust_valve_pa,
        "p_n [Pa]": ATMOSPHERE_PA,
        "p_a [Pa]": ambient,
    }
    speed = _backing_speed(bench, substance)
    if speed > 0.0:
        yield line(
            VAPOUR_SECTION, f"tolerance-{substance}",
            f"Tolerance of {pump.name} for the pure vapour", _TOLERANCE,
            {**at_exhaust, "S [m³/s]": speed}, float(vapour_tolerance_pa(ballast, speed)),
        )  # fmt: skip
    dry = _dry_gas_pa_m3_s(bench)
    mass = SPECIES[substance].molar_mass_kg_mol
    carried = float(vapour_carried_pa_m3_s(ballast, dry)) * mass / (GAS_CONSTANT_J_MOL_K * PUMP_K)
    yield line(
        VAPOUR_SECTION, f"carried-{substance}",
        f"Uncondensed {gas_name(substance)} that {pump.name} carries out", _CARRIED,
        {
            **at_exhaust,
            "Q_dry [Pa·m³/s]": dry,
            "M [kg/mol]": mass,
            "R [J/(mol·K)]": GAS_CONSTANT_J_MOL_K,
        },
        carried,
    )  # fmt: skip


def _saturation_source(substance: str) -> str:
    source = SATURATION[substance].source
    return cite(source) if source in {"WAGNER-2002", "COOLPROP-2014"} else source


def _backing_speed(bench: Bench, substance: str) -> float:
    """Speed of a backing pump at its own inlet; 0 behind a booster or a cold wall."""
    state, back = bench.process, bench.back
    held = is_caught(substance, back.trap, bench.requirements)
    if state is None or back.booster is not None or held:
        return 0.0
    at_back = bench.backing_pa(state)
    if not math.isfinite(at_back):
        return 0.0
    return speed_at(bench.back_speeds(substance, state), bench.spot.back_row, at_back)


def _dry_gas_pa_m3_s(bench: Bench) -> float:
    load = bench.loads.running_pa_m3_s(process_time_s(bench.requirements))
    return sum(flow for gas, flow in load.items() if gas not in SATURATION)


def cost_lines(bench: Bench) -> Iterator[Working]:
    """Yield purchase, energy, consumables and their total over the horizon."""
    requirements, catalog = bench.requirements, bench.catalog
    cost, at = bench.spot.judged.cost, bench.spot.at
    unit = float(10 ** minor_digits(catalog.currency))
    years = requirements.commercial.horizon_years
    price = requirements.commercial.energy_price_per_kwh
    energies: dict[str, float | str] = {}
    for number, user in enumerate(_users(bench), start=1):
        energy = energy_kwh_per_year(user, requirements.duty)
        yield _energy_line(bench, number, user, energy)
        energies[f"{user.name} [kWh]"] = energy

    def amount(
        law: Law, key: str, name: str, inputs: Mapping[str, float | str], value: float
    ) -> Working:
        return line(COST_SECTION, key, name, law, inputs, value)

    def money(symbol: str, formula: str, source: str) -> Law:
        return Law(symbol, formula, catalog.currency, source)

    purchase, energy_cost = at(cost.purchase) / unit, at(cost.energy_per_year) / unit
    consumables = at(cost.consumables) / unit
    yield amount(
        money("K_buy", "pumps, first fluids, parts and joints, each price from the list", CATALOG),
        "purchase", "Purchase", _purchase_inputs(bench, unit), purchase,
    )  # fmt: skip
    yield amount(
        money("K_energy", "Σ E·price, rounded for front and back", INQUIRY),
        "energy-cost", "Energy in a year", {**energies, "price per kWh": float(price)}, energy_cost,
    )  # fmt: skip
    yield amount(
        money("K_upkeep", "Σ packs × price over the horizon, without the first packs",
              f"{CATALOG}; intervals: {PRACTICE}"),
        "upkeep", "Fluids, service and filters over the horizon", {"horizon [years]": years},
        consumables,
    )  # fmt: skip
    yield amount(
        money("K", "K = K_buy + K_energy·years + K_upkeep", "sum"),
        "total", "Total over the horizon",
        {
            f"K_buy [{catalog.currency}]": purchase,
            f"K_energy [{catalog.currency}]": energy_cost,
            "years": years,
            f"K_upkeep [{catalog.currency}]": consumables,
        },
        at(cost.total(years)) / unit,
    )  # fmt: skip


def _users(bench: Bench) -> tuple[Pump | Trap, ...]:
    """Return what uses electricity."""
    front, back = bench.front, bench.back
    items: tuple[Pump | Trap | None, ...] = (
        front.pump if front else None, front.trap if front else None,
        back.backing, back.booster, back.trap,
    )  # fmt: skip
    return tuple(item for item in items if item is not None and item.power_w > 0.0)


def _energy_line(bench: Bench, number: int, user: Pump | Trap, energy_kwh: float) -> Working:
    duty = bench.requirements.duty
    inputs: dict[str, float | str] = {
        "P [W]": user.power_w,
        "h [h]": running_hours_per_year(duty, user.kind if isinstance(user, Pump) else None),
    }
    law = Law("E", "E = P·h/1000", "kWh", f"{CATALOG}; {INQUIRY}")
    return line(COST_SECTION, f"energy-{number}", f"Energy of {user.name} in a year", law, inputs,
                energy_kwh)  # fmt: skip


def _purchase_inputs(bench: Bench, unit: float) -> dict[str, float | str]:
    purse = Purse(bench.requirements, bench.catalog)
    field, currency = bench.spot.judged.case.field, bench.catalog.currency
    front = purse.front_cost(bench.front).amounts[0] / unit
    back = purse.back_cost(bench.back, field).amounts[0] / unit
    whole = bench.spot.at(bench.spot.judged.cost.purchase) / unit
    inputs: dict[str, float | str] = {f"backing side [{currency}]": back}
    if bench.front is not None:
        inputs[f"high-vacuum side [{currency}]"] = front
    digits = minor_digits(bench.catalog.currency)
    inputs[f"joints between, gauges, vent valve [{currency}]"] = round(whole - front - back, digits)
    return inputs


_FORMULAS: Mapping[MarginKey, str] = {
    MarginKey.ULTIMATE: "target pressure ÷ base pressure",
    MarginKey.PROCESS_PRESSURE: "process pressure asked for ÷ chamber pressure",
    MarginKey.THROUGHPUT: "Q_limit ÷ load while the process runs",
    MarginKey.FORELINE: "p_tol ÷ p_f, the worse of base and process (or of a turbo that roughs)",
    MarginKey.INLET: "largest continuous inlet pressure ÷ p_in",
    MarginKey.CROSSOVER: "p_limit ÷ p_floor; 0 where target and process lie above p_limit",
    MarginKey.PUMP_DOWN: "time allowed ÷ pump-down time",
    MarginKey.VAPOUR: "1 ÷ Σ ṁ/ṁ_alone over the vapours: ṁ_trap where a trap holds it, else ṁ_W",
    MarginKey.DUTY: "room in the shift ÷ cycle, or life of a capture pump ÷ life wanted: the worse",
    MarginKey.BACKSTREAMING: "allowed ÷ (bare pump × share that the trap passes)",
    MarginKey.FLUID: "largest boiler temperature of the fluid ÷ boiler temperature",
    MarginKey.UTILITIES: "1 where the site offers what the pumps need, else 0",
    MarginKey.COMPATIBILITY: "1 where gas, cleanliness, pumps and joints go together, else 0",
    MarginKey.BUDGET: "budget ÷ purchase price",
}


def margin_lines(bench: Bench) -> Iterator[Working]:
    """Yield the life of a capture pump, then one line per margin."""
    front = bench.front
    if front is not None and isinstance(front.pump, CapturePump):
        law = Law(
            "t_full", "the shortest of capacity_i/Q_i,mean, process gas for its share of a day",
            "s", cite("JOUSTEN-2016"),
        )  # fmt: skip
        yield line(
            MARGIN_SECTION, "capture-life", f"Time until {front.pump.name} is full", law,
            _capture_inputs(bench, front.pump),
            capture_life_margin_s(front, bench.spot.judged.case),
        )  # fmt: skip
    for margin in margins_of(bench.spot):
        yield _margin_line(margin)


def _capture_inputs(bench: Bench, pump: CapturePump) -> dict[str, float | str]:
    case = bench.spot.judged.case
    share = working_time_per_day_s(case.requirements) / 86_400.0
    inputs: dict[str, float | str] = {"share of a day with process gas": share}
    for gas, flow in case.loads.base_pa_m3_s(process_time_s(case.requirements)).items():
        mean = flow + case.loads.process_pa_m3_s.get(gas, 0.0) * share
        if mean > 0.0:
            capacity = pump.capacity_pa_m3.get(gas, pump.capacity_pa_m3.get("nitrogen", 0.0))
            inputs[f"capacity({gas_name(gas)}) [Pa·m³]"] = capacity
            inputs[f"Q_mean({gas_name(gas)}) [Pa·m³/s]"] = mean
    return inputs


def _margin_line(margin: Margin) -> Working:
    rule = RULES[margin.key]
    law = Law(
        "available ÷ required", _FORMULAS[margin.key], "1",
        f"threshold: {PRACTICE} ({rule.why})",
    )  # fmt: skip
    unit = f" [{margin.unit}]" if margin.unit else ""
    inputs: dict[str, float | str] = {
        f"required{unit}": margin.required,
        f"available{unit}": margin.available,
        "threshold to pass": margin.threshold,
        "verdict": margin.verdict.value,
    }
    return line(MARGIN_SECTION, f"margin-{margin.key.value}", rule.title, law, inputs, margin.ratio)
