"""Documents are set once, however many ask at the same time."""

from __future__ import annotations

import threading
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime

import pytest

from server.quoting.papers.pdf import Setting
from server.web.press import AT_ONCE, Press

DAY = datetime(2026, 3, 2, tzinfo=UTC)


class Typesetter:
    """Counts what it sets, and how much at once."""

    def __init__(self, *, fails: int = 0) -> None:
        self.made: list[str] = []
        self.most_at_once = 0
        self._now = 0
        self._fails = fails
        self._lock = threading.Lock()

    def __call__(self, setting: Setting) -> bytes:
        with self._lock:
            self.made.append(setting.data)
            self._now += 1
            self.most_at_once = max(self.most_at_once, self._now)
        time.sleep(0.05)
        with self._lock:
            self._now -= 1
            self._fails -= 1
        if self._fails >= 0:
            raise ValueError("out of paper")
        return setting.data.encode() * 10


def wanted(data: str) -> Setting:
    return Setting("quote.typ", data, DAY)


def test_fifty_who_ask_at_once_get_one_document() -> None:
    typesetter = Typesetter()
    press = Press(typesetter)
    with ThreadPoolExecutor(50) as pool:
        got = list(pool.map(press.pdf, [wanted("a")] * 50))
    assert got == [b"a" * 10] * 50
    assert typesetter.made == ["a"]


def test_different_documents_are_set_in_turns() -> None:
    typesetter = Typesetter()
    press = Press(typesetter)
    with ThreadPoolExecutor(12) as pool:
        got = list(pool.map(press.pdf, [wanted(letter) for letter in "abcdefgh"]))
    assert got == [letter.encode() * 10 for letter in "abcdefgh"]
    assert typesetter.most_at_once == AT_ONCE


def test_the_oldest_are_dropped_when_there_are_too_many() -> None:
    typesetter = Typesetter()
    press = Press(typesetter, kept_bytes=25)
    for letter in "abac":  # a is used again: b is the oldest when c comes
        press.pdf(wanted(letter))
    press.pdf(wanted("a"))
    press.pdf(wanted("b"))
    assert typesetter.made == ["a", "b", "c", "b"]


def test_a_failure_reaches_all_who_wait_and_is_not_kept() -> None:
    press = Press(Typesetter(fails=1))

    def asked(_: int) -> str:
        try:
            press.pdf(wanted("a"))
        except ValueError as error:
            return str(error)
        return ""

    with ThreadPoolExecutor(5) as pool:
        assert set(pool.map(asked, range(5))) == {"out of paper"}
    assert press.pdf(wanted("a")) == b"a" * 10


def test_another_template_or_day_is_another_document() -> None:
    typesetter = Typesetter()
    press = Press(typesetter)
    press.pdf(wanted("a"))
    press.pdf(Setting("card.typ", "a", DAY))
    press.pdf(Setting("quote.typ", "a", DAY.replace(hour=1)))
    assert len(typesetter.made) == 3


@pytest.mark.parametrize("size", [0, 5])
def test_what_is_larger_than_what_is_kept_is_still_given(size: int) -> None:
    assert Press(Typesetter(), kept_bytes=size).pdf(wanted("a")) == b"a" * 10
