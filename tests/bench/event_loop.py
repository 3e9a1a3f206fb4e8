"""Whether a server at work still answers at once."""

from __future__ import annotations

import asyncio
import time
from typing import Any

import httpx
import numpy as np

from server.web.examples import EXAMPLES
from tests.bench.running import a_server

AT_ONCE = 8
ROUNDS = 3
PAUSE_S = 0.005


def health_while_advising() -> tuple[float, float, int]:
    """Return median and 99th percentile of the health check's time [s] and how many were asked.

    Eight people at a time ask for advice, three times over, while one process asks for health.
    """
    with a_server() as running:
        return asyncio.run(_ask(running.url))


async def _ask(url: str) -> tuple[float, float, int]:
    inquiry: dict[str, Any] = dict(next(iter(EXAMPLES.values())))
    limits = httpx.Limits(max_connections=AT_ONCE + 2)
    async with httpx.AsyncClient(base_url=url, timeout=300.0, limits=limits) as client:
        await client.post("/api/v1/advice", json=inquiry)  # the first loads what is used late
        taken: list[float] = []
        for _ in range(ROUNDS):
            advices = asyncio.gather(
                *(client.post("/api/v1/advice", json=inquiry) for _ in range(AT_ONCE))
            )
            while not advices.done():
                before = time.perf_counter()
                answer = await client.get("/health")
                taken.append(time.perf_counter() - before)
                assert answer.status_code == 200
                await asyncio.sleep(PAUSE_S)
            assert {answer.status_code for answer in await advices} == {200}
    return float(np.median(taken)), float(np.percentile(taken, 99)), len(taken)
