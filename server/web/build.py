"""Builds the site on given services: routes, errors, what every request must obey."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from threading import Timer
from typing import Protocol

from fastapi import FastAPI
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import Response

from server.paths import Folder, folder
from server.web import errors, pages
from server.web.deps import Services
from server.web.press import Press
from server.web.routes import api, api_papers, api_quotes, api_sales, health
from server.web.routes import pages as page_routes
from server.web.security import AnswerHeaders, BodyLimit, OwnRequests
from server.web.settings import Settings
from server.web.static import HashedFiles, StaticTree
from server.web.tries import Tries


class Worker(Protocol):
    """Something that works beside the requests."""

    def start(self) -> None:
        """Begin."""
        ...

    def stop(self) -> None:
        """End, and return when it has."""
        ...


WAIT_BEFORE_WARMING_S = 0.5
"""An inquiry that waits for the server already is answered before what is only foresight."""


def build_app(
    settings: Settings,
    services: Services,
    at_end: Callable[[], None],
    after_start: Callable[[], None] | None = None,
    workers: Sequence[Worker] = (),
) -> FastAPI:
    """Return the app on given services.

    Parameters
    ----------
    settings : Settings
        Address and public name.
    services : Services
        Engine and stores.
    at_end : callable
        Called when the server stops.
    after_start : callable or None
        Called beside the first requests, shortly after the server has begun to answer.
    workers : sequence of Worker
        Started with the server, stopped before ``at_end`` is called.
    """

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        if after_start is not None:
            later = Timer(WAIT_BEFORE_WARMING_S, after_start)
            later.daemon = True
            later.start()
        for worker in workers:
            worker.start()
        yield
        for worker in workers:
            worker.stop()
        app.state.renderer.charts.close()
        at_end()

    app = FastAPI(
        title="Pumpwright",
        version="1",
        description="From a laboratory's inquiry to ranked vacuum pump stacks with margins.",
        lifespan=lifespan,
        openapi_url="/api/v1/openapi.json",
        docs_url=None,  # the ready-made pages load scripts from elsewhere
        redoc_url=None,
    )
    static = StaticTree(folder(Folder.STATIC))
    app.state.services = services
    app.state.settings = settings
    app.state.static = static
    app.state.tries = Tries(settings.tries_per_hour)
    app.state.press = Press()
    pages.install(app, settings, static.url)
    errors.install(app, pages.error_page)
    app.include_router(api.router)
    app.include_router(api_papers.router)  # first: “Q-1.pdf” would be a number, too
    app.include_router(api_quotes.router)
    app.include_router(api_sales.router)
    app.include_router(health.router)
    app.include_router(page_routes.router)
    app.mount("/static", HashedFiles(static), name="static")
    # The last one added is the first to see a request.
    app.add_middleware(GZipMiddleware, minimum_size=1000, compresslevel=6)
    app.add_middleware(BodyLimit, refuse=_refuse)
    app.add_middleware(OwnRequests, settings=settings, refuse=_refuse)
    app.add_middleware(AnswerHeaders)
    return app


def _refuse(request: Request, status: int, sentence: str) -> Response:
    return errors.answer(request, status, sentence)
