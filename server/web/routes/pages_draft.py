"""A draft to be edited: lines, discounts, terms and texts in one form."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import ClassVar

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from server.catalog.items import Catalog, Item
from server.errors import Conflict, DomainError, Fault, InvalidInquiry
from server.quoting.desk import use_cases
from server.quoting.desk.case import Event, QuoteCase
from server.quoting.desk.lines import LineChoice
from server.quoting.desk.states import Move, after_move
from server.quoting.desk.use_cases import Seen
from server.quoting.papers.printed import Printed
from server.quoting.quote import LineGroup, QuoteLine
from server.web.choices import Choice
from server.web.deps import utc_now
from server.web.desk_view import events_after, printed_quote
from server.web.draft_form import Preview, after_button, form_of, judged, read_draft, rows_of
from server.web.errors import STATUS_OF
from server.web.forms import Form
from server.web.item_facts import has_words
from server.web.routes.pages_desk import Counter, CounterDep
from server.web.typed import Pairs, action_of, number_of
from server.web.words import sentence, words

router = APIRouter(prefix="/quotes/{number}/draft")

MOST_FOUND = 20
_CHECKING = frozenset({"", "reckon"})
"""Buttons that say what is to be put right; the others leave half a line as it is."""


@dataclass(frozen=True)
class DraftLine:
    """One line of the form."""

    item: Item | None
    """None for a line in one's own words."""
    sku: str
    total: Decimal | None
    """None while something is to be put right."""


@dataclass(frozen=True)
class Missed:
    """What others did since the form was opened."""

    events: Sequence[Event]
    version: int
    """As it is now."""
    can_replace: bool
    """Whether it still is a draft."""


@dataclass(frozen=True)
class Found:
    """Items that were looked for."""

    typed: str
    items: Sequence[Item]
    number: int
    """Of all that fit; the first few are shown."""


@dataclass(frozen=True)
class DraftPage:
    """The form, what it adds up to, and what was looked for."""

    template: ClassVar[str] = "quote/draft.html"
    form: Form
    number: str
    title: str
    version: int
    currency: str
    lines: Sequence[DraftLine]
    supplied: Sequence[QuoteLine]
    choices: Mapping[str, Sequence[Choice]]
    preview: Preview | None
    view: Printed | None
    """For the sums; None while something is to be put right."""
    found: Found | None
    missed: Missed | None


@router.get("")
def edit(counter: CounterDep) -> HTMLResponse:
    """Show the draft as a form."""
    case = _draft_of(counter)
    form = form_of(case.current, case.internal_notes)
    return _shown(counter, case, form, case.version)


@router.post("")
def send_form(counter: CounterDep, pairs: Pairs) -> Response:
    """Save, reckon, look for items or change rows; what was typed is never lost."""
    form, action, version = Form.from_pairs(pairs), action_of(pairs), number_of(pairs, "version")
    if action == "save" or action.startswith("replace:"):
        seen = action.removeprefix("replace:") if action != "save" else str(version)
        return _saved(counter, form, int(seen) if seen.isdigit() and len(seen) < 10 else 0, version)
    case = _draft_of(counter)
    catalog = counter.services.catalogs.version(case.current.catalog_version)
    if action in _CHECKING:
        form, _ = judged(form, case.current, catalog, counter.actor.role)
        return _shown(counter, case, form, version, status=422 if form.faults else 200)
    return _shown(counter, case, after_button(form, action, catalog), version)


def _saved(counter: Counter, form: Form, seen: int, version: int) -> Response:
    case = counter.services.desk.get(counter.number)
    try:
        change = read_draft(form, case.current)
        use_cases.change_draft(counter.actor, counter.room, Seen(counter.number, seen), change)
    except InvalidInquiry as error:
        return _shown(counter, case, form.with_faults(error.faults), version, status=422)
    except Conflict as error:
        return _late(counter, form, version, error)
    except DomainError as error:
        faulty = form.with_faults([Fault("", "", str(error))])
        return _shown(counter, case, faulty, version, status=STATUS_OF.get(type(error), 422))
    return RedirectResponse(f"/quotes/{counter.number}", status_code=303)


def _late(counter: Counter, form: Form, version: int, error: Conflict) -> Response:
    case = counter.services.desk.get(counter.number)
    can_replace = Move.CHANGE in use_cases.moves_of(counter.actor, case, utc_now())
    events = events_after(case, version)
    missed = Missed(events, case.version, can_replace) if events else None
    if missed is None:  # it is no draft any more, though nobody changed it: the error says why
        form = form.with_faults([Fault("", "", str(error))])
    return _shown(counter, case, form, version, missed=missed, status=409)


def _draft_of(counter: Counter) -> QuoteCase:
    case = counter.services.desk.get(counter.number)
    after_move(Move.CHANGE, case.state_at(utc_now()), counter.actor.role)
    return case


def _shown(
    counter: Counter,
    case: QuoteCase,
    form: Form,
    version: int,
    *,
    missed: Missed | None = None,
    status: int = 200,
) -> HTMLResponse:
    draft = case.current
    catalog = counter.services.catalogs.version(draft.catalog_version)
    _, preview = judged(form, draft, catalog, counter.actor.role)
    state = case.state_at(utc_now())
    page = DraftPage(
        form=form,
        number=case.number,
        title=f"Draft of {case.number}, revision {draft.revision}",
        version=version,
        currency=draft.content.currency,
        lines=_lines(form, catalog, preview),
        supplied=[line for line in draft.content.lines if line.supplied],
        choices=_CHOICES,
        preview=preview,
        view=None if preview is None else printed_quote(preview.draft.content, state),
        found=_found(form, catalog),
        missed=missed,
    )
    return counter.renderer.page(counter.request, page, status)


def _lines(form: Form, catalog: Catalog, preview: Preview | None) -> list[DraftLine]:
    rows = rows_of(form)
    totals = [None] * len(rows) if preview is None else preview.line_totals
    return [
        DraftLine(catalog.items.get(row.get("sku", "")), row.get("sku", ""), total)
        for row, total in zip(rows, totals, strict=True)
    ]


def _found(form: Form, catalog: Catalog) -> Found | None:
    typed = form.value("find")[:100]
    if not typed:
        return None
    fitting = [item for item in catalog.items.values() if has_words(item, typed)]
    return Found(typed, fitting[:MOST_FOUND], len(fitting))


_CHOICES: Mapping[str, Sequence[Choice]] = {
    "line_choices": [(each.value, sentence(words(each))) for each in LineChoice],
    "line_groups": [
        (each.value, sentence(each.value)) for each in LineGroup if each is not LineGroup.SUPPLIED
    ],
}
