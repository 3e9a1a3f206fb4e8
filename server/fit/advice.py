"""The use case: requirements and a catalogue become ranked, judged stacks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from server.catalog.items import Catalog
from server.errors import Fault, InvalidInquiry
from server.fit.candidates import fields_of
from server.fit.choice import StackChoice, field_of_choice
from server.fit.costs import Purse
from server.fit.course import Outlook, outlooks
from server.fit.evaluation import How, judge
from server.fit.explain import Spot
from server.fit.loads import loads_of
from server.fit.present import cost_of, present_together, title_of
from server.fit.ranking import RANKING_RULE
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
from server.fit.sweep import DEFAULT_LIMITS, FirstOfKind, Limits, Sweep

ENGINE_VERSION = "5"
"""Grows whenever the same inquiry may get other numbers; issued quotes keep theirs."""


def advise(requirements: Requirements, catalog: Catalog, limits: Limits = DEFAULT_LIMITS) -> Advice:
    """Return the ranked stacks for the requirements, and what was rejected and why.

    Parameters
    ----------
    requirements : Requirements
        The inquiry.
    catalog : Catalog
        What can be sold.
    limits : Limits
        How much is judged at once. The answer does not depend on it, but for the margin under which
        a rejected combination is counted.

    Raises
    ------
    InvalidInquiry
        When prices are asked for in a currency the catalogue does not have.
    """
    _check_currency(requirements, catalog)
    purse = Purse(requirements, catalog)
    sweep = Sweep(loads_of(requirements), purse, limits)
    for field in fields_of(requirements, catalog):
        sweep.over(field)
    ranking = sweep.ranking(requirements.limit)
    counts = Counts(
        considered=sweep.considered,
        fit=sweep.fit,
        marginal=sweep.marginal,
        rejected=dict(sorted(sweep.rejected.items(), key=lambda item: (-item[1], item[0]))),
    )
    return Advice(
        catalog=CatalogIdentity(catalog.name, catalog.version),
        assumptions=requirements.assumptions,
        counts=counts,
        stacks=_present_all(ranking.shown, purse),
        remedies=() if sweep.fit else _remedies(sweep, purse),
        ranking_rule=RANKING_RULE,
        engine_version=ENGINE_VERSION,
        best_by_kind=tuple(_kind_entry(first, purse) for first in ranking.kinds),
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
    (stack,) = present_together([spot], purse, outlooks([spot]))
    remedies = remedies_of_stack(spot, requirements, catalog)
    return replace(stack, rank_reason="Your own choice.", remedies=remedies)


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


def _remedies(sweep: Sweep, purse: Purse) -> tuple[Remedy, ...]:
    """Return what would make the nearest stacks fit, where none does.

    Usable combinations are judged for it, those too that no back can help as they stand, as far
    as a bound does not put them behind what is nearer.
    """
    return remedies_for(sweep.prospects(), purse.requirements, purse.catalog)


def _kind_entry(first: FirstOfKind, purse: Purse) -> BestOfKind:
    spot = first.spot
    cost = cost_of(spot, purse)
    verdict = StackVerdict.FITS if spot.at(spot.judged.fits) else StackVerdict.MARGINAL
    return BestOfKind(
        kind=first.kind,
        rank=first.rank,
        verdict=verdict,
        title=title_of(spot),
        purchase=cost.purchase,
        total_over_horizon=cost.total_over_horizon,
        currency=cost.currency,
    )


def _present_all(spots: Sequence[Spot], purse: Purse) -> tuple[StackAdvice, ...]:
    downs: dict[int, Outlook] = {}
    for judged in {id(spot.judged): spot.judged for spot in spots}.values():
        places = [place for place, spot in enumerate(spots) if spot.judged is judged]
        found = outlooks([spots[place] for place in places])
        downs |= dict(zip(places, found, strict=True))
    return present_together(spots, purse, [downs[place] for place in range(len(spots))])
