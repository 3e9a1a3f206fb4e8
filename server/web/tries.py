"""How often one address may try what should happen seldom: links that lead nowhere, inquiries.

Counted in the memory of this process: several of them allow several times as much.
"""

from __future__ import annotations

import threading
import time
from collections import OrderedDict, deque
from collections.abc import Callable
from ipaddress import IPv6Address, IPv6Network, ip_address
from typing import Annotated

from fastapi import Depends, Request

from server.errors import TooMany

HOUR_S = 3600.0
MOST_ADDRESSES = 10_000
"""Beyond it, those not heard of for longest are forgotten: memory stays bounded."""


class Tries:
    """Counts tries by address within a sliding hour.

    Parameters
    ----------
    most : int
        Tries allowed in an hour, of each kind.
    clock : callable
        Seconds that never run backwards.
    """

    def __init__(self, most: int, clock: Callable[[], float] = time.monotonic) -> None:
        self._most = most
        self._clock = clock
        self._made: OrderedDict[tuple[str, str], deque[float]] = OrderedDict()
        self._lock = threading.Lock()

    def must_be_left(self, kind: str, who: str) -> None:
        """Refuse an address that has used up its tries.

        Raises
        ------
        TooMany
            Until enough of them are an hour old.
        """
        with self._lock:
            made = self._recent(kind, who)
            if len(made) >= self._most:
                minutes = max(1, round((made[0] + HOUR_S - self._clock()) / 60.0))
                raise TooMany(
                    f"This was tried too often from your address. Try again in {minutes} minutes."
                )

    def count(self, kind: str, who: str) -> None:
        """Count a try."""
        with self._lock:
            made = self._recent(kind, who)
            made.append(self._clock())
            self._made[kind, who] = made
            self._made.move_to_end((kind, who))
            if len(self._made) > MOST_ADDRESSES:
                self._made.popitem(last=False)

    def _recent(self, kind: str, who: str) -> deque[float]:
        made = self._made.get((kind, who)) or deque(maxlen=self._most)
        while made and made[0] <= self._clock() - HOUR_S:
            made.popleft()
        return made


def address_of(request: Request) -> str:
    """Return who asks: the address, or the network of an IPv6 address that one site is given."""
    host = request.client.host if request.client else ""
    try:
        address = ip_address(host)
    except ValueError:
        return host
    if isinstance(address, IPv6Address):
        return str(IPv6Network((address, 64), strict=False))
    return host


def tries_of(request: Request) -> Tries:
    """Return the running app's count."""
    tries: Tries = request.app.state.tries
    return tries


TriesDep = Annotated[Tries, Depends(tries_of)]
AddressDep = Annotated[str, Depends(address_of)]
