"""An advice at work never keeps the server from answering others."""

from __future__ import annotations

import asyncio
import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import httpx
from fastapi import FastAPI

from server.catalog.items import Catalog
from server.fit.requirements import Requirements
from server.fit.results import Advice
from server.web.deps import Services
from tests.fakes import FakeEngine, an_advice
from tests.fit.test_inquiry import SHORTEST
from tests.web.conftest import BASE_URL


class WaitingEngine(FakeEngine):
    """Holds every advice until it is let go."""

    def __init__(self) -> None:
        self.started = threading.Semaphore(0)
        self.let_go = threading.Event()

    def advise(self, requirements: Requirements, catalog: Catalog) -> Advice:
        """Wait, then answer."""
        self.started.release()
        assert self.let_go.wait(30)
        return an_advice(requirements, catalog)


async def answers(app: FastAPI, engine: WaitingEngine) -> tuple[int, list[int]]:
    transport = httpx.ASGITransport(app)
    async with httpx.AsyncClient(transport=transport, base_url=BASE_URL) as client:
        advices = [
            asyncio.create_task(client.post("/api/v1/advice", json=SHORTEST)) for _ in range(8)
        ]
        for _ in advices:
            assert await asyncio.to_thread(engine.started.acquire, timeout=30)
        health = await client.get("/health")
        engine.let_go.set()
        return health.status_code, [(await advice).status_code for advice in advices]


def test_health_is_answered_while_eight_advices_are_at_work(
    app: FastAPI, services: Services
) -> None:
    engine = WaitingEngine()
    app.state.services = replace(services, engine=engine)
    # in a thread of its own: a browser that other tests keep open has a loop running in this one
    with ThreadPoolExecutor(1) as beside:
        found = beside.submit(lambda: asyncio.run(answers(app, engine))).result()
    assert found == (200, [200] * 8)
