"""No more inquiries are computed at once than asked for, and each gets its own answer."""

from __future__ import annotations

import threading
import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from server.catalog.items import Catalog
from server.fit.inquiry import read_inquiry
from server.fit.requirements import Requirements
from server.fit.results import Advice
from server.web.turns import InTurns
from tests.fakes import FakeEngine
from tests.fit.engine_cases import demo_catalog
from tests.fit.test_inquiry import SHORTEST


class Counting(FakeEngine):
    """Knows the most that were in it at the same time."""

    def __init__(self, *, fails: bool = False) -> None:
        self.inside = self.most = 0
        self._lock = threading.Lock()
        self._fails = fails

    def advise(self, requirements: Requirements, catalog: Catalog) -> Advice:
        """Answer after a moment in which others could come in."""
        with self._lock:
            self.inside += 1
            self.most = max(self.most, self.inside)
        time.sleep(0.005)
        with self._lock:
            self.inside -= 1
        if self._fails:
            raise RuntimeError("a fault of the engine")
        return super().advise(requirements, catalog)


@pytest.mark.parametrize("at_once", [1, 3])
def test_so_many_are_computed_at_once_and_no_more(at_once: int) -> None:
    counting = Counting()
    engine = InTurns(counting, at_once)
    inquiry, catalog = read_inquiry(SHORTEST), demo_catalog()
    with ThreadPoolExecutor(8) as pool:
        advices = list(pool.map(lambda _: engine.advise(inquiry, catalog), range(8)))
    assert counting.most == at_once
    assert len(advices) == 8


def test_a_fault_gives_the_turn_back() -> None:
    engine = InTurns(Counting(fails=True))
    inquiry, catalog = read_inquiry(SHORTEST), demo_catalog()
    for _ in range(2):
        with pytest.raises(RuntimeError, match="a fault of the engine"):
            engine.advise(inquiry, catalog)
