"""The list of quotes: found by words, customer, state, day and value, page by page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import ClassVar
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from server.errors import InvalidInquiry
from server.fit.money import known_currencies
from server.quoting.desk import ports
from server.quoting.desk.queries import FIELDS, read_query
from server.quoting.desk.states import QuoteState
from server.web.deps import ServicesDep, utc_now
from server.web.forms import Form
from server.web.pages import RendererDep

router = APIRouter()

_ASKED = tuple(name for name in FIELDS if name not in {"page", "page_size"})


@dataclass(frozen=True)
class QuotesPage:
    """What was found, and what it was looked for with."""

    template: ClassVar[str] = "quote/list.html"
    form: Form
    found: ports.QuotePage | None
    """None when the search cannot be read."""
    states: Sequence[QuoteState]
    currencies: Sequence[str]
    narrowed: bool
    """Whether anything was asked for."""
    earlier: str
    """Address of the page before, empty on the first one."""
    later: str


@router.get("/quotes")
def list_quotes(request: Request, services: ServicesDep, renderer: RendererDep) -> HTMLResponse:
    """Show the quotes that were asked for, newest first."""
    form = Form.from_pairs(request.query_params.multi_items())
    typed: dict[str, object] = {name: form.value(name) for name in FIELDS if form.value(name)}
    typed["state"] = list(form.chosen("state"))
    narrowed = any(typed.get(name) for name in _ASKED)
    page = QuotesPage(form, None, tuple(QuoteState), known_currencies(), narrowed, "", "")
    try:
        query = read_query(typed)
    except InvalidInquiry as error:
        faulty = replace(page, form=form.with_faults(error.faults))
        return renderer.page(request, faulty, 422)
    found = services.desk.search(query, utc_now().date())
    earlier = _address(form, found.page - 1) if found.page > 1 else ""
    later = _address(form, found.page + 1) if found.page < found.pages else ""
    return renderer.page(request, replace(page, found=found, earlier=earlier, later=later))


def _address(form: Form, page: int) -> str:
    asked = [(name, form.value(name)) for name in _ASKED if form.value(name)]
    states = [("state", state) for state in form.chosen("state")]
    return f"/quotes?{urlencode([*asked, *states, ('page', str(page))])}"
