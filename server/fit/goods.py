"""Wet goods: from what people type to a vapour load that lasts until the goods are dry."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from server.errors import Fault, InvalidInquiry
from server.fit.defaults import Filler
from server.fit.faults import shown
from server.fit.inquiry_in import DutyIn, WetGoodsIn
from server.fit.names import resolve_vapour
from server.fit.requirements import Duty, VapourLoad, WetGoods
from server.physics.species import SPECIES
from server.physics.vapour import SATURATION, evaporation_kg_m2_s, saturation_pressure_pa
from server.units import Dimension, format_duration, format_quantity, parse_quantity

PATH = "process.wet_goods"


@dataclass(frozen=True)
class _Row:
    """One row as typed, with its path and its vapour."""

    typed: WetGoodsIn
    path: str
    substance: str

    @property
    def name(self) -> str:
        """The vapour in words, with a capital letter."""
        text = SPECIES[self.substance].name
        return text[:1].upper() + text[1:]


def wet_goods_loads(
    typed: Sequence[WetGoodsIn], filler: Filler, temperature_k: float, duty: Duty
) -> tuple[VapourLoad, ...]:
    """Return the vapour loads of wet goods, their gaps filled and listed.

    Parameters
    ----------
    typed : sequence of WetGoodsIn
        Rows, every cell checked.
    filler : Filler
        Lists the defaults.
    temperature_k : float
        Of the chamber, taken for goods without a temperature. [K]
    duty : Duty
        Its time at pressure is the drying time where none is stated.

    Raises
    ------
    InvalidInquiry
        When cells that are fine by themselves contradict each other or physics.
    """
    loads, faults = [], []
    for number, row in enumerate(typed):
        here = _Row(row, f"{PATH}.{number}", resolve_vapour(row.substance))
        load = _load(here, filler, temperature_k, duty)
        loads.append(load)
        faults += list(_faults(here, load))
    if faults:
        raise InvalidInquiry(faults)
    return tuple(loads)


def _load(row: _Row, filler: Filler, temperature_k: float, duty: Duty) -> VapourLoad:
    typed = row.typed
    mass_kg = parse_quantity(typed.mass, Dimension.MASS)
    if typed.temperature is None:
        known = format_quantity(temperature_k, Dimension.TEMPERATURE)
        reason = "as the chamber: drying goods cool themselves unless heat is brought to them"
        filler.note(f"{row.path}.temperature", known, reason)
    else:
        temperature_k = parse_quantity(typed.temperature, Dimension.TEMPERATURE)
    if typed.area is None:
        reason = "no area was stated: evaporation itself is taken as no limit"
        filler.note(f"{row.path}.area", "large", reason)
    rate_kg_s = None if typed.rate is None else parse_quantity(typed.rate, Dimension.MASS_RATE)
    drying_s = _drying_time_s(row, filler, duty, None if rate_kg_s is None else mass_kg / rate_kg_s)
    goods = WetGoods(
        mass_kg=mass_kg,
        temperature_k=temperature_k,
        area_m2=None if typed.area is None else parse_quantity(typed.area, Dimension.AREA),
        drying_time_s=drying_s,
    )
    return VapourLoad(row.substance, rate_kg_s or mass_kg / drying_s, goods)


def _drying_time_s(row: _Row, filler: Filler, duty: Duty, supplied_in_s: float | None) -> float:
    if row.typed.drying_time is not None:
        return parse_quantity(row.typed.drying_time, Dimension.TIME)
    if supplied_in_s is not None:
        reason = "the time in which the stated rate removes this mass"
        filler.note(f"{row.path}.drying_time", format_duration(supplied_in_s), reason)
        return supplied_in_s
    reason = "the time at pressure: no drying time and no rate were stated"
    filler.note(f"{row.path}.drying_time", format_duration(duty.time_at_pressure_s), reason)
    return duty.time_at_pressure_s


def _faults(row: _Row, load: VapourLoad) -> Iterator[Fault]:
    goods = load.goods
    if goods is None:
        return
    model = SATURATION[load.substance]
    if not model.low_k <= goods.temperature_k <= model.high_k:
        low, high = (format_quantity(k, Dimension.TEMPERATURE) for k in (model.low_k, model.high_k))
        message = f"The vapour pressure of {row.name.lower()} is known from {low} to {high} only."
        yield Fault(
            f"{row.path}.temperature", shown(row.typed.temperature), message, f"{low} to {high}"
        )
        return
    supplied_in_s = goods.mass_kg / load.rate_kg_s
    if supplied_in_s > goods.drying_time_s * (1.0 + 1e-9):
        needs = format_duration(supplied_in_s)
        message = f"At the stated rate the goods need {needs} to dry, longer than asked for here."
        yield Fault(
            f"{row.path}.drying_time", shown(row.typed.drying_time), message, f"{needs} or longer"
        )
    if goods.area_m2 is not None:
        yield from _surface_faults(row, load.rate_kg_s, goods.area_m2, goods.temperature_k)


def _surface_faults(
    row: _Row, rate_kg_s: float, area_m2: float, temperature_k: float
) -> Iterator[Fault]:
    """Yield where a surface would have to evaporate faster than into perfect vacuum."""
    saturation = saturation_pressure_pa(row.substance, temperature_k)
    mass = SPECIES[row.substance].molar_mass_kg_mol
    per_area = float(evaporation_kg_m2_s(mass, saturation, temperature_k))
    if rate_kg_s < per_area * area_m2:
        return
    most = format_quantity(per_area * area_m2, Dimension.MASS_RATE)
    wanted = format_quantity(rate_kg_s, Dimension.MASS_RATE)
    warm = format_quantity(temperature_k, Dimension.TEMPERATURE)
    message = (
        f"{row.name} at {warm} evaporates at most {most} from this area, even into perfect "
        f"vacuum; {wanted} is asked for."
    )
    accepted = f"more than {format_quantity(rate_kg_s / per_area, Dimension.AREA)}"
    yield Fault(f"{row.path}.area", shown(row.typed.area), message, accepted)


def day_faults(
    typed: Sequence[WetGoodsIn], duty: DutyIn | None, loads: Sequence[VapourLoad], held_s: float
) -> Iterator[Fault]:
    """Yield where a stated drying time is longer than the stated time at pressure.

    Parameters
    ----------
    typed : sequence of WetGoodsIn
        Rows as typed.
    duty : DutyIn or None
        As typed.
    loads : sequence of VapourLoad
        The loads of the rows.
    held_s : float
        Time at pressure. [s]
    """
    if duty is None or duty.time_at_pressure is None:
        return
    for number, (row, load) in enumerate(zip(typed, loads, strict=True)):
        goods = load.goods
        if row.drying_time is None or goods is None or goods.drying_time_s <= held_s * (1 + 1e-9):
            continue
        longest = format_duration(held_s)
        message = f"The goods stay at pressure for {longest} only: they would come out wet."
        yield Fault(
            f"{PATH}.{number}.drying_time", shown(row.drying_time), message, f"up to {longest}"
        )
