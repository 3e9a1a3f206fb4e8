"""From what people type to ``Requirements``: checked, in SI, with every default named."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from pydantic import ValidationError

from server.catalog.flanges import Flange, parse_flange
from server.errors import Fault, InvalidInquiry
from server.fit.defaults import Filler, leak_default, surfaces_default
from server.fit.faults import faults_of, shown
from server.fit.gas_hazards import read_hazards
from server.fit.goods import day_faults, wet_goods_loads
from server.fit.inquiry_in import DutyIn, InquiryIn, LineIn, SurfaceIn
from server.fit.inquiry_types import read_money
from server.fit.names import conditions_of, resolve_material, resolve_species, resolve_vapour
from server.fit.presets import PRESETS
from server.fit.requirements import (
    Application,
    Assumption,
    Chamber,
    Cleanliness,
    Commercial,
    Condition,
    Duty,
    GasFlow,
    LineRun,
    Process,
    Requirements,
    Seal,
    Surface,
    Utilities,
    VapourLoad,
    Venting,
)
from server.fit.seals import counted_seals
from server.units import Dimension, format_quantity, parse_quantity

__all__ = ["InquiryIn", "checked", "read_inquiry", "to_duty", "to_requirements"]

SECONDS_PER_DAY = 86400.0


def read_inquiry(data: Mapping[str, object], *, currency: str = "EUR") -> Requirements:
    """Return the requirements that an inquiry states, its gaps filled and listed.

    Parameters
    ----------
    data : mapping
        The inquiry as typed: the JSON of the programs' contract.
    currency : str
        Currency of the catalogue the advice will be priced from (ISO 4217).

    Returns
    -------
    Requirements
        Frozen, SI, complete.

    Raises
    ------
    InvalidInquiry
        With one fault per field that cannot be used.
    """
    return to_requirements(checked(data), currency=currency)


def checked(data: Mapping[str, object]) -> InquiryIn:
    """Return the inquiry with every cell checked and kept as typed.

    Raises
    ------
    InvalidInquiry
        With one fault per field that cannot be used.
    """
    try:
        return InquiryIn.model_validate(data)
    except ValidationError as error:
        raise InvalidInquiry(faults_of(error.errors(include_url=False))) from None


def to_requirements(inquiry: InquiryIn, *, currency: str = "EUR") -> Requirements:
    """Return the requirements of a checked inquiry; see `read_inquiry`.

    Raises
    ------
    InvalidInquiry
        When cells that are fine by themselves contradict each other or the catalogue.
    """
    given = dict(_flat(inquiry.model_dump(exclude_none=True, exclude={"chamber": {"surfaces"}})))
    filler = Filler(given, inquiry.application or Application.GENERAL)
    faults = [*_currency_faults(inquiry, currency), *_surface_faults(inquiry)]
    if faults:
        raise InvalidInquiry(faults)
    requirements = _filled(inquiry, filler, currency)
    faults = _overfull_days(inquiry.duty, requirements.duty)
    if faults:
        raise InvalidInquiry(faults)
    return replace(requirements, assumptions=tuple(filler.assumptions))


def to_duty(typed: DutyIn | None) -> tuple[Duty, tuple[Assumption, ...]]:
    """Return a checked duty without an inquiry around it, and the defaults that were used.

    Raises
    ------
    InvalidInquiry
        When the cycles do not fit into a day.
    """
    given = dict(_flat({"duty": typed.model_dump(exclude_none=True)})) if typed else {}
    filler = Filler(given, Application.GENERAL)
    duty = _duty(filler)
    faults = _overfull_days(typed, duty)
    if faults:
        raise InvalidInquiry(faults)
    return duty, tuple(filler.assumptions)


def _filled(inquiry: InquiryIn, filler: Filler, currency: str) -> Requirements:
    application = filler.choice(
        "application", Application.GENERAL, Application, "no application was named"
    )
    volume_m3 = parse_quantity(inquiry.chamber.volume, Dimension.VOLUME)
    target_pa = parse_quantity(inquiry.target_pressure, Dimension.PRESSURE)
    chamber = _chamber(inquiry, filler, volume_m3, target_pa)
    line = _line(inquiry.line, filler, "line", "0.3 m", 0, "the pump hangs close to the chamber")
    rough_line = _line(
        inquiry.rough_line, filler, "rough_line", "1.5 m", 2, "the backing pump stands on the floor"
    )
    foreline = _line(
        inquiry.foreline, filler, "foreline", "1 m", 1, "the backing pump stands beside the pump"
    )
    duty = _duty(filler)
    process = _process(inquiry, filler, chamber.temperature_k, duty)
    hazards = read_hazards(inquiry.hazards, process, filler)
    wanted = filler.stated("pump_down_time", "no time limit", "no time to the target was asked for")
    return Requirements(
        title=filler.text(
            "title", _title(application, volume_m3, target_pa), "a name to find it by"
        ),
        application=application,
        chamber=chamber,
        line=line,
        rough_line=rough_line,
        foreline=foreline,
        target_pressure_pa=target_pa,
        pump_down_time_s=None if wanted is None else parse_quantity(wanted, Dimension.TIME),
        process=process,
        duty=duty,
        cleanliness=filler.choice(
            "cleanliness", Cleanliness.TOLERANT, Cleanliness, "nothing speaks against traces of oil"
        ),
        hazards=hazards.judged,
        vapour_hazards=hazards.by_vapour,
        utilities=_utilities(filler),
        commercial=_commercial(filler, currency),
        limit=int(filler.number("limit", "10", "more stacks than that are hard to compare")),
        assumptions=(),
    )


def _title(application: Application, volume_m3: float, target_pa: float) -> str:
    volume = format_quantity(volume_m3, Dimension.VOLUME)
    target = format_quantity(target_pa, Dimension.PRESSURE)
    return f"{PRESETS[application].title}, {volume} to {target}"


def _chamber(inquiry: InquiryIn, filler: Filler, volume_m3: float, target_pa: float) -> Chamber:
    temperature_k = filler.si(
        "chamber.temperature", Dimension.TEMPERATURE, "20 degC", "room temperature"
    )
    port = filler.stated(
        "chamber.port", "as the pump's inlet", "no port was named: an adaptor is not counted"
    )
    leak, why = leak_default(volume_m3, target_pa)
    flange = None if port is None else parse_flange(str(port))
    surfaces = _surfaces(inquiry.chamber.surfaces, filler, volume_m3, target_pa)
    return Chamber(
        volume_m3=volume_m3,
        temperature_k=temperature_k,
        port=flange,
        surfaces=surfaces,
        leak_pa_m3_s=filler.si("chamber.leak_rate", Dimension.THROUGHPUT, leak, why),
        seals=_seals(surfaces, flange, target_pa, filler),
    )


def _seals(
    surfaces: tuple[Surface, ...], port: Flange | None, target_pa: float, filler: Filler
) -> tuple[Seal, ...]:
    seals, reason = counted_seals(surfaces, port, target_pa)
    if seals:
        words = " + ".join(
            f"{format_quantity(seal.area_m2, Dimension.AREA)} {seal.material}, "
            f"{format_quantity(seal.path_m, Dimension.LENGTH)} thick"
            for seal in seals
        )
        why = (
            f"{reason}: at this pressure the air and moisture of the room that come through count "
            "(20 °C, half saturated); published figures differ by a factor of two"
        )
        filler.note("chamber.seals", words, why)
    return seals


def _surfaces(
    typed: list[SurfaceIn] | None, filler: Filler, volume_m3: float, target_pa: float
) -> tuple[Surface, ...]:
    if not typed:
        surfaces, reason = surfaces_default(filler.preset.surfaces, volume_m3, target_pa)
        words = " + ".join(
            f"{format_quantity(s.area_m2, Dimension.AREA)} {s.material}, {s.condition}"
            for s in surfaces
        )
        filler.note("chamber.surfaces", words.replace("_", " "), reason)
        return surfaces
    return tuple(_surface(index, row, filler) for index, row in enumerate(typed))


def _surface(index: int, row: SurfaceIn, filler: Filler) -> Surface:
    material = resolve_material(row.material)
    condition = row.condition
    if condition is None:
        # The cautious one of what is tabulated: seals, for instance, are never baked.
        known = conditions_of(material)
        condition = Condition.UNBAKED if Condition.UNBAKED in known else Condition(known[0])
        filler.note(f"chamber.surfaces.{index}.condition", condition, "no baking was mentioned")
    return Surface(material, condition, parse_quantity(row.area, Dimension.AREA))


def _line(
    typed: LineIn | None, filler: Filler, name: str, length: str, bends: int, reason: str
) -> LineRun:
    bore = filler.stated(f"{name}.bore", "the flange's own bore", "no bore was stated")
    given = bool(typed and typed.length is not None)
    return LineRun(
        length_m=filler.si(f"{name}.length", Dimension.LENGTH, length, reason),
        bore_m=None if bore is None else parse_quantity(bore, Dimension.LENGTH),
        bends=int(
            filler.number(
                f"{name}.bends",
                "0" if given else str(bends),
                "none was mentioned with the length"
                if given
                else "as many as such a run usually has",
            )
        ),
    )


def _process(inquiry: InquiryIn, filler: Filler, temperature_k: float, duty: Duty) -> Process:
    typed = inquiry.process
    gas = (typed.gas or []) if typed else []
    vapour = (typed.vapour or []) if typed else []
    wet = (typed.wet_goods or []) if typed else []
    pressure = filler.stated(
        "process.pressure", "none", "no process pressure was stated: only the target is judged"
    )
    if not gas and not vapour and not wet:
        filler.note("process.gas", "none", "no process gas or vapour was stated")
    drying = wet_goods_loads(wet, filler, temperature_k, duty)
    faults = list(day_faults(wet, inquiry.duty, drying, duty.time_at_pressure_s))
    if faults:
        raise InvalidInquiry(faults)
    return Process(
        pressure_pa=None if pressure is None else parse_quantity(pressure, Dimension.PRESSURE),
        gas=tuple(
            GasFlow(
                resolve_species(row.species),
                parse_quantity(row.flow, Dimension.GAS_FLOW, temperature_k=temperature_k),
            )
            for row in gas
        ),
        vapour=tuple(
            VapourLoad(resolve_vapour(row.substance), parse_quantity(row.rate, Dimension.MASS_RATE))
            for row in vapour
        )
        + drying,
    )


def _duty(filler: Filler) -> Duty:
    shift_s = filler.si("duty.shift", Dimension.TIME, "8 h", "one working shift")
    cycles = filler.number("duty.cycles_per_day", "1", "one batch a day")
    # Half of a batch's share of the shift: the rest goes into loading, pumping down and venting.
    held = format_quantity(shift_s / max(cycles, 1.0) / 2.0, Dimension.TIME, "min")
    # A chamber is unloaded and loaded in minutes, and never for longer than a batch leaves time.
    opened_s = min(LONGEST_USUAL_VENT_S, shift_s / max(cycles, 1.0) / 10.0)
    opened = format_quantity(opened_s, Dimension.TIME, "min")
    return Duty(
        cycles_per_day=cycles,
        time_at_pressure_s=filler.si(
            "duty.time_at_pressure", Dimension.TIME, held, "half of a batch's share of the shift"
        ),
        days_per_year=filler.number("duty.days_per_year", "220", "working days of a year"),
        shift_s=shift_s,
        vent_time_s=filler.si(
            "duty.vent_time",
            Dimension.TIME,
            opened,
            "venting and loading: a tenth of a batch's share of the shift, at most 15 min",
        ),
        venting=filler.choice(
            "duty.venting", Venting.AIR, Venting, "most chambers are vented with room air"
        ),
    )


LONGEST_USUAL_VENT_S = 900.0
"""A chamber is unloaded and loaded in a quarter of an hour: common practice, no source."""


def _utilities(filler: Filler) -> Utilities:
    return Utilities(
        cooling_water=filler.truth(
            "utilities.cooling_water", default=False, reason="a closed circuit is not everywhere"
        ),
        three_phase=filler.truth(
            "utilities.three_phase", default=False, reason="laboratories often have one phase only"
        ),
        mains_v=round(
            filler.si(
                "utilities.mains_voltage", Dimension.VOLTAGE, "230 V", "usual single-phase mains"
            )
        ),
    )


def _commercial(filler: Filler, currency: str) -> Commercial:
    budget = filler.stated("commercial.budget", "no limit", "no budget was named")
    return Commercial(
        currency=filler.text("commercial.currency", currency, "the catalogue's currency").upper(),
        horizon_years=filler.number("commercial.horizon_years", "3", "usual span of comparison"),
        energy_price_per_kwh=filler.money(
            "commercial.energy_price_per_kwh", "0.25", "an ordinary tariff for electricity"
        ),
        budget=None if budget is None else read_money(budget, ""),
    )


def _currency_faults(inquiry: InquiryIn, currency: str) -> Iterator[Fault]:
    typed = inquiry.commercial.currency if inquiry.commercial else None
    if typed is not None and typed.upper() != currency:
        message = f"The catalogue is priced in {currency}; other currencies are not converted."
        yield Fault("commercial.currency", shown(typed), message, currency)


def _surface_faults(inquiry: InquiryIn) -> Iterator[Fault]:
    for index, row in enumerate(inquiry.chamber.surfaces or ()):
        known = conditions_of(resolve_material(row.material))
        if row.condition is not None and row.condition not in known:
            message = f"No outgassing rate of {row.material} in this condition is known."
            path = f"chamber.surfaces.{index}.condition"
            yield Fault(path, shown(row.condition), message, ", ".join(known))


def _overfull_days(typed: DutyIn | None, duty: Duty) -> list[Fault]:
    held_s = duty.cycles_per_day * duty.time_at_pressure_s
    if held_s <= SECONDS_PER_DAY * (1.0 + 1e-9):
        return []
    cell = shown(typed.time_at_pressure) if typed else ""
    longest = format_quantity(SECONDS_PER_DAY / duty.cycles_per_day, Dimension.TIME, "min")
    message = "So many cycles of this length do not fit into a day."
    return [Fault("duty.time_at_pressure", cell, message, f"up to {longest}, or fewer cycles")]


def _flat(tree: Mapping[str, object], prefix: str = "") -> Iterator[tuple[str, object]]:
    for key, value in tree.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{prefix}{key}.")
        else:
            yield f"{prefix}{key}", value
