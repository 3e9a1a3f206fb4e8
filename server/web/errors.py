"""From errors to answers: one table of status codes, JSON for programs, a page for people."""

from __future__ import annotations

import html
from collections.abc import Callable, Sequence
from dataclasses import asdict
from http import HTTPStatus

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from server.errors import (
    Conflict,
    DomainError,
    Fault,
    InvalidInquiry,
    NotAllowed,
    NotFound,
    TooMany,
)
from server.fit.faults import faults_of
from server.web.security import ANSWER_HEADERS

ErrorPage = Callable[[Request, int, str, Sequence[Fault]], Response]
"""Draws the page of an error: request, status, sentence, faults of fields."""

STATUS_OF: dict[type[DomainError], int] = {
    NotFound: 404,
    NotAllowed: 403,
    Conflict: 409,
    TooMany: 429,
}

_SENTENCES: dict[int, str] = {
    404: "There is nothing at this address.",
    405: "This address does not take this kind of request.",
    500: "Something went wrong on our side. What you typed was not the cause.",
}
# What the framework says of a body that the JSON reader gave up on (nesting, digits, encoding).
_UNREADABLE_BODY = "There was an error parsing the body"


def install(app: FastAPI, page: ErrorPage) -> None:
    """Make the app answer every error in one way.

    Parameters
    ----------
    app : FastAPI
        The app.
    page : callable
        Draws the page of an error for people.
    """
    app.state.error_page = page
    app.add_exception_handler(DomainError, _domain_error)
    app.add_exception_handler(RequestValidationError, _invalid_request)
    app.add_exception_handler(HTTPException, _http_error)
    app.add_exception_handler(Exception, _our_fault)


def answer(request: Request, status: int, sentence: str, faults: Sequence[Fault] = ()) -> Response:
    """Return an error as JSON for programs, as a page for people.

    Parameters
    ----------
    request : Request
        Tells who asks.
    status : int
        HTTP status.
    sentence : str
        What is wrong, fit to show.
    faults : sequence of Fault
        The faults of fields; empty when the whole request is at fault.
    """
    if wants_json(request):
        told = faults or (Fault("", "", sentence, ""),)
        return JSONResponse({"errors": [asdict(fault) for fault in told]}, status)
    page: ErrorPage = request.app.state.error_page
    return page(request, status, sentence, faults)


def wants_json(request: Request) -> bool:
    """Say whether a program asks: the API's addresses, or JSON preferred by name."""
    accept = request.headers.get("accept", "")
    return request.url.path.startswith("/api/") or (
        "application/json" in accept and "text/html" not in accept
    )


def plain_page(_request: Request, status: int, sentence: str, faults: Sequence[Fault]) -> Response:
    """Return a page that needs no template: it must work when everything else fails."""
    title = html.escape(HTTPStatus(status).phrase)
    rows = "".join(
        f"<li>{html.escape(f.field)}: {html.escape(f.message)} {html.escape(f.accepted)}</li>"
        for f in faults
    )
    return HTMLResponse(
        f'<!doctype html><html lang="en-GB"><meta charset="utf-8"><title>{title}</title>'
        f"<h1>{title}</h1><p>{html.escape(sentence)}</p><ul>{rows}</ul>"
        '<p><a href="/">Start</a></p>',
        status,
    )


async def _domain_error(request: Request, error: Exception) -> Response:
    faults = error.faults if isinstance(error, InvalidInquiry) else ()
    status = STATUS_OF.get(type(error), 422) if isinstance(error, DomainError) else 422
    return answer(request, status, str(error), faults)


async def _invalid_request(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)  # noqa: S101 (registered for this alone)
    faults = faults_of(error.errors(), skip=1)  # the first step says body, query or path
    return answer(request, 422, "Some of this cannot be used.", faults)


async def _http_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)  # noqa: S101 (registered for this alone)
    if error.status_code == HTTPStatus.BAD_REQUEST and error.detail == _UNREADABLE_BODY:
        return answer(request, 422, "The body cannot be read as JSON.")
    sentence = _SENTENCES.get(error.status_code, error.detail)
    response = answer(request, error.status_code, sentence)
    response.headers.update(error.headers or {})
    return response


async def _our_fault(request: Request, _error: Exception) -> Response:
    """Answer for a defect; the server logs it, and adds no headers outside its own middleware."""
    try:
        response = answer(request, 500, _SENTENCES[500])
    except Exception:  # noqa: BLE001 (the page itself may be what is broken)
        response = plain_page(request, 500, _SENTENCES[500], ())
    response.headers.update(ANSWER_HEADERS)
    return response
