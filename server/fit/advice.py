"""The use case: requirements and a catalogue become ranked, judged stacks."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from server.catalog.items import Catalog
from server.errors import Fault, InvalidInquiry
from server.fit.backing import BackTables, back_tables
from server.fit.bounds import without_hopeless, without_hopeless_backs
from server.fit.candidates import Field, Front, fields_of
from server.fit.choice import StackChoice, field_of_choice
from server.fit.costs import Purse
from server.fit.course import Outlook, outlooks
from server.fit.evaluation import (
    How,
    Judged,
    count_rejected,
    front_states,
    judge,
    without_refused,
)
from server.fit.explain import Spot
from server.fit.loads import loads_of
from server.fit.margins import STEADY_MARGINS
from server.fit.present import cost_of, present, rank_reason, title_of
from server.fit.ranking import RANKING_RULE, Standing, ranked
from server.fit.remedies import remedies_for, remedies_of_stack
from server.fit.requirements import Requirements
from server.fit.results import (
    Advice,
    BestOfKind,
    CatalogIdentity,
    Counts,
    Remedy,
    StackAdvice,
    StackVerdict,
)
from server.physics.arrays import IntArray

ENGINE_VERSION = "3"
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
    usable_fields: list[Field] = []
    known_backs: dict[tuple[tuple[str, str, str], ...], BackTables] = {}
    for field in fields_of(requirements, catalog):
        considered += field.size
        usable, refused = without_refused(field)
        rejected += refused
        usable_fields.append(usable)
        alone = front_states(usable, loads, requirements, catalog)
        if alone is not None:
            usable, alone, hopeless = without_hopeless(usable, alone)
            rejected += hopeless
        if not usable.size:
            continue
        skus = tuple(back.skus for back in usable.backs)
        if skus not in known_backs:
            known_backs[skus] = back_tables(usable.backs, loads.species, requirements, catalog)
        usable, backing, hopeless = without_hopeless_backs(
            usable, known_backs[skus], loads, requirements
        )
        rejected += hopeless
        if not usable.size:
            continue
        how = How(fronts=alone, backing=backing)
        judged = judge(usable, loads, requirements, catalog, purse, how)
        rejected += count_rejected(judged)
        fields.append(judged)
    order = _in_order(fields, purse)
    spots = order.spots(range(min(requirements.limit, len(order))))
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
        remedies=_remedies(order, usable_fields, purse),
        ranking_rule=RANKING_RULE,
        engine_version=ENGINE_VERSION,
        best_by_kind=_best_by_kind(order, purse),
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
    downs = outlooks([spot])
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


def _remedies(order: _Order, fields: Sequence[Field], purse: Purse) -> tuple[Remedy, ...]:
    """Return what would make the nearest stacks fit, where none does.

    All usable combinations are judged for it, those too that no back can help as they stand.
    """
    if any(judged.fits.any() for judged in order.fields):
        return ()
    asked, catalog = purse.requirements, purse.catalog
    loads = loads_of(asked)
    steady = How(only=frozenset(STEADY_MARGINS))
    judged = [judge(field, loads, asked, catalog, purse, steady) for field in fields if field.size]
    return remedies_for(judged, asked, catalog)


@dataclass(frozen=True)
class _Order:
    """All combinations that work in rank order, each set of pumps once: field, front, back."""

    fields: Sequence[Judged]
    places: IntArray

    def __len__(self) -> int:
        return int(self.places.shape[1])

    def spots(self, ranks: Iterable[int]) -> list[Spot]:
        """Return the combinations at some ranks, counted from 0."""
        return [
            Spot(self.fields[number], row, column)
            for number, row, column in (self.places[:, rank].tolist() for rank in ranks)
        ]


def _in_order(fields: Sequence[Judged], purse: Purse) -> _Order:
    """Rank the combinations of all fields that work."""
    horizon = purse.requirements.commercial.horizon_years
    found, fits, totals, shares, hardware = [], [], [], [], []
    names = _Names(judged.case.field for judged in fields)
    for number, judged in enumerate(fields):
        rows, columns = np.nonzero(judged.fits | judged.marginal)
        found.append(np.stack([np.full(len(rows), number), rows, columns]))
        fits.append(judged.fits[rows, columns])
        totals.append(judged.cost.total(horizon)[rows, columns])
        shares.append(judged.worst_share[rows, columns])
        hardware.append(names.of(judged.case.field, rows, columns))
    if not found:
        return _Order(fields, np.zeros((3, 0), dtype=np.intp))
    pumps = np.concatenate(hardware)
    standing = Standing(
        fits=np.concatenate(fits),
        total_minor=np.concatenate(totals),
        weakest_ratio=np.concatenate(shares),
        hardware=pumps,
        name_order=pumps,
    )
    return _Order(fields, np.concatenate(found, axis=1)[:, ranked(standing)])


class _Names:
    """A number for every set of pumps, rising in the order of their SKUs."""

    def __init__(self, fields: Iterable[Field]) -> None:
        fronts, backs = set(), set()
        for field in fields:
            fronts |= {_front_name(front) for front in field.fronts}
            backs |= {back.skus[:2] for back in field.backs}
        self._fronts = {name: place for place, name in enumerate(sorted(fronts))}
        self._backs = {name: place for place, name in enumerate(sorted(backs))}

    def of(self, field: Field, rows: IntArray, columns: IntArray) -> NDArray[np.int64]:
        """Return the numbers of some combinations of a field."""
        fronts = np.array([self._fronts[_front_name(front)] for front in field.fronts])
        backs = np.array([self._backs[back.skus[:2]] for back in field.backs])
        return np.asarray(fronts[rows] * len(self._backs) + backs[columns], dtype=np.int64)


def _front_name(front: Front | None) -> str:
    return front.pump.sku if front else ""


def _best_by_kind(order: _Order, purse: Purse) -> tuple[BestOfKind, ...]:
    """Return the first stack of each kind of pump on the chamber."""
    kinds = [
        np.array([_kind_on_chamber(front) for front in judged.case.field.fronts])
        for judged in order.fields
    ]
    first: dict[str, int] = {}
    for rank, (number, row, _) in enumerate(order.places.T.tolist()):
        first.setdefault(str(kinds[number][row]), rank)
    return tuple(
        _kind_entry(kind, rank, spot, purse)
        for (kind, rank), spot in zip(first.items(), order.spots(first.values()), strict=True)
    )


def _kind_on_chamber(front: Front | None) -> str:
    return ROUGH_KIND if front is None else front.pump.kind.value


ROUGH_KIND = "rough_vacuum"
"""Stacks without a high-vacuum pump."""


def _kind_entry(kind: str, rank: int, spot: Spot, purse: Purse) -> BestOfKind:
    cost = cost_of(spot, purse)
    verdict = StackVerdict.FITS if spot.at(spot.judged.fits) else StackVerdict.MARGINAL
    return BestOfKind(
        kind=kind,
        rank=rank + 1,
        verdict=verdict,
        title=title_of(spot),
        purchase=cost.purchase,
        total_over_horizon=cost.total_over_horizon,
        currency=cost.currency,
    )


def _present_all(spots: Sequence[Spot], purse: Purse, catalog: Catalog) -> tuple[StackAdvice, ...]:
    downs: dict[int, Outlook] = {}
    for judged in {id(spot.judged): spot.judged for spot in spots}.values():
        places = [place for place, spot in enumerate(spots) if spot.judged is judged]
        found = outlooks([spots[place] for place in places])
        downs |= dict(zip(places, found, strict=True))
    stacks = []
    for place, spot in enumerate(spots):
        reason = rank_reason(spot, purse, place + 1)
        stacks.append(present(spot, place + 1, reason, purse, catalog, downs[place]))
    return tuple(stacks)
