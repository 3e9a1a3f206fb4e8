"""Workings: purchase, energy and upkeep."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from server.catalog.items import Pump, Trap
from server.fit.money import minor_digits
from server.fit.results import Working
from server.fit.running import energy_kwh_per_year, running_hours_per_year
from server.fit.workings.bench import (
    CATALOG,
    INQUIRY,
    PRACTICE,
    Bench,
    Law,
    line,
)

SECTION = "Costs"


def cost_lines(bench: Bench) -> Iterator[Working]:
    """Yield purchase, energy, consumables and their total over the horizon."""
    requirements, catalog = bench.requirements, bench.catalog
    cost = bench.spot.cost
    unit = float(10 ** minor_digits(catalog.currency))
    years = requirements.commercial.horizon_years
    price = requirements.commercial.energy_price_per_kwh
    energies: dict[str, float | str] = {}
    for number, user in enumerate(_users(bench), start=1):
        run = _run_s_per_day(bench, user)
        energy = energy_kwh_per_year(user, requirements.duty, run)
        yield _energy_line(bench, number, user, energy)
        energies[f"{user.name} [kWh]"] = energy

    def amount(
        law: Law, key: str, name: str, inputs: Mapping[str, float | str], value: float
    ) -> Working:
        return line(SECTION, key, name, law, inputs, value)

    def money(symbol: str, formula: str, source: str) -> Law:
        return Law(symbol, formula, catalog.currency, source)

    purchase, energy_cost = float(cost.purchase) / unit, float(cost.energy_per_year) / unit
    consumables = float(cost.consumables) / unit
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
        float(cost.total(years)) / unit,
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
        "h [h]": running_hours_per_year(
            duty, user.kind if isinstance(user, Pump) else None, _run_s_per_day(bench, user)
        ),
    }
    law = Law("E", "E = P·h/1000", "kWh", f"{CATALOG}; {INQUIRY}")
    return line(SECTION, f"energy-{number}", f"Energy of {user.name} in a year", law, inputs,
                energy_kwh)  # fmt: skip


def _run_s_per_day(bench: Bench, user: Pump | Trap) -> float | None:
    """How long a pump or trap runs a day where it only roughs, None where the duty says it."""
    own = (bench.front.pump, bench.front.trap) if bench.front else ()
    return None if user in own else bench.purse.behind(bench.front).use.run_s_per_day


def _purchase_inputs(bench: Bench, unit: float) -> dict[str, float | str]:
    purse = bench.purse
    field, currency = bench.spot.judged.case.field, bench.catalog.currency
    front = purse.front_cost(bench.front).amounts[0] / unit
    back = purse.behind(bench.front).back_cost(bench.back, field).amounts[0] / unit
    whole = float(bench.spot.cost.purchase) / unit
    inputs: dict[str, float | str] = {f"backing side [{currency}]": back}
    if bench.front is not None:
        inputs[f"high-vacuum side [{currency}]"] = front
    digits = minor_digits(bench.catalog.currency)
    inputs[f"joints between, gauges, vent valve [{currency}]"] = round(whole - front - back, digits)
    return inputs
