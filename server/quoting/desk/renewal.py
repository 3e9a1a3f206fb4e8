"""An offer worked out again with today's catalogue and engine, and what differs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from enum import StrEnum

from server.catalog.items import Catalog
from server.errors import DomainError, OutOfRange, UnknownName
from server.fit.choice import choice_of
from server.fit.ports import Engine
from server.fit.results import MarginKey, StackAdvice
from server.quoting.cautions import cautions_for
from server.quoting.desk.changes import DraftChange, changed, own_costs, unit_costs, wishes_of
from server.quoting.desk.revision import Basis, Revision
from server.quoting.quote import Quote, QuoteLine


def renewed(revision: Revision, catalog: Catalog, engine: Engine, now: datetime) -> Revision:
    """Return a revision with its lines and terms, priced and judged as of today.

    Parameters
    ----------
    revision : Revision
        What was offered.
    catalog : Catalog
        Today's.
    engine : Engine
        Judges the stack again.
    now : datetime
        Date of the offer, UTC.

    Raises
    ------
    UnknownName
        When the catalogue no longer has an item.
    InvalidInquiry
        When the stack cannot be judged again.
    OutOfRange
        When the price list is in another currency by now.
    """
    old = revision.content
    if catalog.currency != old.currency:
        raise OutOfRange(f"The price list is in {catalog.currency} by now, not in {old.currency}.")
    gone = [line.sku for line in old.lines if line.sku and line.sku not in catalog.items]
    if gone:
        raise UnknownName("item", ", ".join(gone), list(catalog.items))
    basis = _judged_again(revision.basis, catalog, engine)
    content = replace(old.dated(now), catalog_version=catalog.version)
    if basis is not None:
        content = replace(
            content,
            margins=basis.stack.margins,
            flags=basis.stack.flags,
            cautions=cautions_for(basis.stack.parts, basis.requirements, catalog),
        )
    wishes = wishes_of(old, revision.unit_costs)
    content = changed(content, DraftChange(lines=wishes), catalog)
    costs = unit_costs(content.lines, catalog, own_costs(wishes))
    return replace(revision, content=content, basis=basis, unit_costs=costs, made_at=now)


def _judged_again(basis: Basis | None, catalog: Catalog, engine: Engine) -> Basis | None:
    if basis is None:
        return None
    old = basis.stack
    new = engine.check(basis.requirements, catalog, choice_of(old.parts))
    stack = replace(new, rank=old.rank, title=old.title, rank_reason=old.rank_reason)
    return Basis(basis.requirements, stack, catalog.version, engine.ENGINE_VERSION)


class Topic(StrEnum):
    """What a difference is about, in the order they are listed."""

    VERSIONS = "versions"
    LINES = "lines"
    PARTS = "parts"
    SUMS = "sums"
    DELIVERY = "delivery"
    MARGINS = "margins"
    COSTS = "costs"
    """For the seller's eyes only."""
    OBSTACLE = "obstacle"
    """Why nothing more can be said."""


@dataclass(frozen=True)
class Difference:
    """One thing that would be different today."""

    topic: Topic
    what: str
    then: str
    now: str


def differences_today(
    revision: Revision, catalog: Catalog, engine: Engine, now: datetime
) -> tuple[Difference, ...]:
    """Return what would be different if the offer were made today; the offer stays as it is.

    Parameters
    ----------
    revision : Revision
        What was offered.
    catalog : Catalog
        Today's.
    engine : Engine
        Today's.
    now : datetime
        Today, UTC.
    """
    gone = tuple(
        Difference(Topic.LINES, line.name, f"{line.quantity} × {line.sku}", "no longer sold")
        for line in revision.content.lines
        if line.sku and line.sku not in catalog.items
    )
    try:
        today = renewed(revision, catalog, engine, now)
    except DomainError as error:
        versions = _told([(Topic.VERSIONS, "catalogue", revision.catalog_version, catalog.version)])
        obstacle = Difference(Topic.OBSTACLE, "cannot be worked out today", "", str(error))
        return (*versions, *gone, obstacle)
    return differences(revision, today)


def differences(then: Revision, now: Revision) -> tuple[Difference, ...]:
    """Return what differs between two revisions, topic by topic."""
    old, new = then.content, now.content
    rows = [
        (Topic.VERSIONS, "catalogue", old.catalog_version, new.catalog_version),
        *_version_rows(then.basis, now.basis),
        *_line_rows(old, new),
        *_part_rows(then.basis, now.basis),
        *(
            (Topic.SUMS, what, _amount(getattr(old, name), old), _amount(getattr(new, name), new))
            for name, what in _SUMS
        ),
        (Topic.SUMS, "overall discount", f"{old.discount_percent} %", f"{new.discount_percent} %"),
        (Topic.DELIVERY, "days to complete", str(old.lead_time_days), str(new.lead_time_days)),
        *_margin_rows(old, new),
        (Topic.COSTS, "cost", _amount(then.margin.cost, old), _amount(now.margin.cost, new)),
        (Topic.COSTS, "margin", f"{then.margin.percent} %", f"{now.margin.percent} %"),
    ]
    return _told(rows)


_Row = tuple[Topic, str, str, str]
_SUMS = (("net", "net"), ("freight", "freight"), ("tax", "tax"), ("total", "total"))


def _told(rows: Iterable[_Row]) -> tuple[Difference, ...]:
    return tuple(Difference(*row) for row in rows if row[2] != row[3])


def _amount(amount: Decimal, quote: Quote) -> str:
    return f"{amount:f} {quote.currency}"


def _version_rows(then: Basis | None, now: Basis | None) -> list[_Row]:
    if then is None or now is None:
        return []
    return [(Topic.VERSIONS, "engine", then.engine_version, now.engine_version)]


def _line_rows(old: Quote, new: Quote) -> list[_Row]:
    before, after = _by_key(old), _by_key(new)
    keys = [*before, *(key for key in after if key not in before)]
    return [
        (Topic.LINES, _name(before, after, key), _shown(before, key), _shown(after, key))
        for key in keys
    ]


_LineKey = tuple[str, str, int]


def _by_key(quote: Quote) -> dict[_LineKey, QuoteLine]:
    """Return the lines by heading and SKU or name, and by their turn where these come twice."""
    found: dict[_LineKey, QuoteLine] = {}
    for line in quote.lines:
        named = line.sku or line.name
        turn = sum(key[:2] == (line.group.value, named) for key in found)
        found[line.group.value, named, turn] = line
    return found


def _name(
    before: dict[_LineKey, QuoteLine], after: dict[_LineKey, QuoteLine], key: _LineKey
) -> str:
    line = before.get(key) or after[key]
    return line.name


def _shown(lines: dict[_LineKey, QuoteLine], key: _LineKey) -> str:
    line = lines.get(key)
    if line is None:
        return "not offered"
    less = f" less {line.discount_percent.normalize():f} %" if line.discount_percent else ""
    return f"{line.quantity} × {line.unit_price:f}{less} = {line.total:f}, {line.choice}"


def _part_rows(then: Basis | None, now: Basis | None) -> list[_Row]:
    if then is None or now is None:
        return []
    before, after = _pieces(then.stack), _pieces(now.stack)
    keys = [*before, *(key for key in after if key not in before)]
    return [
        (Topic.PARTS, key, f"{before.get(key, 0)} needed", f"{after.get(key, 0)} needed")
        for key in keys
    ]


def _pieces(stack: StackAdvice) -> dict[str, int]:
    found: dict[str, int] = {}
    for part in stack.parts:
        key = part.sku or part.name
        found[key] = found.get(key, 0) + part.quantity
    return found


def _margin_rows(old: Quote, new: Quote) -> list[_Row]:
    before = {margin.key: f"{margin.ratio:.3g} ({margin.verdict})" for margin in old.margins}
    after = {margin.key: f"{margin.ratio:.3g} ({margin.verdict})" for margin in new.margins}
    return [
        (
            Topic.MARGINS,
            key.value,
            before.get(key, "does not apply"),
            after.get(key, "does not apply"),
        )
        for key in MarginKey
    ]
