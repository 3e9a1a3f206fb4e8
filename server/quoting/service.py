"""The use case: a chosen stack is offered, under a number that is given out once."""

from __future__ import annotations

from server.catalog.items import Catalog
from server.fit.requirements import Requirements
from server.fit.results import StackAdvice
from server.quoting.drafting import draft_quote
from server.quoting.order import QuoteOrder
from server.quoting.ports import QuoteStore
from server.quoting.quote import Quote


def issue_quote(
    store: QuoteStore,
    stack: StackAdvice,
    requirements: Requirements,
    catalog: Catalog,
    order: QuoteOrder,
) -> Quote:
    """Draft an offer of a stack and issue it.

    Parameters
    ----------
    store : QuoteStore
        Where it is numbered and kept.
    stack : StackAdvice
        The stack on offer.
    requirements : Requirements
        What it was judged against.
    catalog : Catalog
        The catalogue whose version the advice names.
    order : QuoteOrder
        Customer and conditions.

    Raises
    ------
    UnknownName
        When the catalogue no longer has one of the parts.
    """
    return store.issue(draft_quote(stack, requirements, catalog, order))
