"""How often one address may try."""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from starlette.requests import Request

from server.errors import TooMany
from server.web import tries as module
from server.web.tries import HOUR_S, Tries, address_of


@dataclass
class Clock:
    """A time that tests move."""

    now: float = 0.0

    def __call__(self) -> float:
        return self.now


def test_tries_are_used_up_and_come_back_after_an_hour() -> None:
    clock = Clock()
    tries = Tries(2, clock)
    for now in (0.0, 60.0):
        clock.now = now
        tries.must_be_left("link", "a")
        tries.count("link", "a")
    with pytest.raises(TooMany, match="59 minutes"):
        tries.must_be_left("link", "a")
    clock.now = HOUR_S
    tries.must_be_left("link", "a")


def test_addresses_and_kinds_are_counted_apart() -> None:
    tries = Tries(1)
    tries.count("link", "a")
    tries.must_be_left("link", "b")
    tries.must_be_left("inquiry", "a")
    with pytest.raises(TooMany):
        tries.must_be_left("link", "a")


def test_memory_is_bounded_by_forgetting_the_quietest(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MOST_ADDRESSES", 3)
    tries = Tries(1)
    for who in "abcd":
        tries.count("link", who)
    tries.must_be_left("link", "a")
    for who in "bcd":
        with pytest.raises(TooMany):
            tries.must_be_left("link", who)


@pytest.mark.parametrize(
    ("host", "counted"),
    [
        ("203.0.113.9", "203.0.113.9"),
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),  # one site can use all of its network
        ("testclient", "testclient"),
    ],
)
def test_an_address_is_what_one_site_is_given(host: str, counted: str) -> None:
    request = Request({"type": "http", "client": (host, 1), "headers": []})
    assert address_of(request) == counted
