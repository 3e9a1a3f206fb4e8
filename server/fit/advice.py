"""The use case: requirements and a catalogue become ranked, judged stacks."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.catalog.items import Catalog
from server.errors import Fault, InvalidInquiry
from server.fit.backing import BackTables, back_tables
from server.fit.bounds import without_hopeless
from server.fit.candidates import Field, fields_of
from server.fit.choice import StackChoice, field_of_choice
from server.fit.costs import Purse
from server.fit.course import pump_downs
from server.fit.evaluation import How, Judged, count_rejected, judge, without_refused
from server.fit.explain import Spot
from server.fit.inlet import inlet_tables
from server.fit.loads import loads_of
from server.fit.present import present, rank_reason
from server.fit.ranking import RANKING_RULE, Standing, ranked
from server.fit.remedies import remedies_for, remedies_of_stack
from server.fit.requirements import Requirements
from server.fit.results import (
    Advice,
    CatalogIdentity,
    Counts,
    PumpDown,
    StackAdvice,
)

ENGINE_VERSION = "1"
"""Grows whenever the same inquiry may get other numbers; issued quotes keep theirs."""


def advise(requirements: Requirements, catalog: Catalog) -> Advice:
    """Return the ranked stacks for the requirements, and what was rejected and why.

    Raises
    ------
    InvalidInquiry
        When prices are asked for in a currency the catalogue does not have.
    """
    _check_currency(requirements, catalog)
    loads = loads_of(requirements)
    purse = Purse(requirements, catalog)
    considered = 0
    rejected: Counter[str] = Counter()
    fields: list[Judged] = []
    known_backs: dict[tuple[tuple[str, str, str], ...], BackTables] = {}
    for field in fields_of(requirements, catalog):
        considered += field.size
        usable, refused = without_refused(field)
        rejected += refused
        inlet = inlet_tables(usable.fronts, loads.species, requirements, catalog)
        if inlet is not None:
            usable, inlet, hopeless = without_hopeless(usable, inlet, loads, requirements)
            rejected += hopeless
        if not usable.size:
            continue
        skus = tuple(back.skus for back in usable.backs)
        if skus not in known_backs:
            known_backs[skus] = back_tables(usable.backs, loads.species, requirements, catalog)
        how = How(inlet=inlet, backing=known_backs[skus])
        judged = judge(usable, loads, requirements, catalog, purse, how)
        rejected += count_rejected(judged)
        fields.append(judged)
    spots = _in_order(fields, purse, requirements.limit)
    counts = Counts(
        considered=considered,
        fit=sum(int(judged.fits.sum()) for judged in fields),
        marginal=sum(int(judged.marginal.sum()) for judged in fields),
        rejected=dict(sorted(rejected.items(), key=lambda item: -item[1])),
    )
    return Advice(
        catalog=CatalogIdentity(catalog.name, catalog.version),
        assumptions=requirements.assumptions,
        counts=counts,
        stacks=_present_all(spots, purse, catalog),
        remedies=remedies_for(fields, requirements, catalog),
        ranking_rule=RANKING_RULE,
        engine_version=ENGINE_VERSION,
    )


def check(requirements: Requirements, catalog: Catalog, choice: StackChoice) -> StackAdvice:
    """Return the margins of one chosen stack, whether or not it fits.

    Raises
    ------
    UnknownName
        When a SKU is not in the catalogue or not of the kind its role asks for.
    InvalidInquiry
        When no pump is chosen, or a choice leaves the combination impossible.
    """
    _check_currency(requirements, catalog)
    field = field_of_choice(choice, requirements, catalog)
    purse = Purse(requirements, catalog)
    judged = judge(
        field, loads_of(requirements), requirements, catalog, purse, How(follow_all=True)
    )
    spot = Spot(judged, 0, 0)
    downs = pump_downs([spot])
    stack = present(spot, 1, "Your own choice.", purse, catalog, downs[0])
    return replace(stack, remedies=remedies_of_stack(spot, requirements, catalog))


def _check_currency(requirements: Requirements, catalog: Catalog) -> None:
    asked = requirements.commercial.currency
    if asked != catalog.currency:
        fault = Fault(
            "commercial.currency",
            asked,
            f"The price list is in {catalog.currency}.",
            catalog.currency,
        )
        raise InvalidInquiry([fault])


@dataclass(frozen=True)
class _Survivors:
    """Surviving combinations of all fields, flat."""

    field: np.ndarray
    front: np.ndarray
    back: np.ndarray


def _in_order(fields: Sequence[Judged], purse: Purse, limit: int) -> list[Spot]:
    """Return the best combinations of all fields in rank order, each set of pumps once."""
    horizon = purse.requirements.commercial.horizon_years
    found, fits, totals, shares, names = [], [], [], [], []
    for number, judged in enumerate(fields):
        rows, columns = np.nonzero(judged.fits | judged.marginal)
        found.append(np.stack([np.full(len(rows), number), rows, columns]))
        fits.append(judged.fits[rows, columns])
        totals.append(judged.cost.total(horizon)[rows, columns])
        shares.append(judged.worst_share[rows, columns])
        names.append(_hardware(judged.case.field)[rows, columns])
    if not found:
        return []
    places = np.concatenate(found, axis=1)
    skus, hardware = np.unique(np.concatenate(names), return_inverse=True)
    standing = Standing(
        fits=np.concatenate(fits),
        total_minor=np.concatenate(totals),
        weakest_ratio=np.concatenate(shares),
        hardware=hardware.astype(np.int64),
        name_order=hardware.astype(np.int64),
    )
    del skus
    best = ranked(standing)[:limit]
    return [
        Spot(fields[int(number)], int(row), int(column))
        for number, row, column in places[:, best].T
    ]


def _hardware(field: Field) -> np.ndarray:
    """Names of the pumps of every combination, shape (fronts, backs)."""
    fronts = np.array([front.pump.sku if front else "" for front in field.fronts], dtype=object)
    backs = np.array(
        [f" {back.booster.sku if back.booster else ''} {back.backing.sku}" for back in field.backs],
        dtype=object,
    )
    return np.asarray(fronts[:, np.newaxis] + backs[np.newaxis, :])


def _present_all(spots: Sequence[Spot], purse: Purse, catalog: Catalog) -> tuple[StackAdvice, ...]:
    downs: dict[int, PumpDown] = {}
    for judged in {id(spot.judged): spot.judged for spot in spots}.values():
        places = [place for place, spot in enumerate(spots) if spot.judged is judged]
        found = pump_downs([spots[place] for place in places])
        downs |= dict(zip(places, found, strict=True))
    stacks = []
    for place, spot in enumerate(spots):
        reason = rank_reason(spot, purse, place + 1)
        stacks.append(present(spot, place + 1, reason, purse, catalog, downs[place]))
    return tuple(stacks)
