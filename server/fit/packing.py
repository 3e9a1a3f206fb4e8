"""Whole packs for a need: the cheapest mix of pack sizes that covers it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from server.errors import OutOfRange


@dataclass(frozen=True)
class Pack:
    """One size a thing is sold in; ``size`` in whole units of the caller (cm³, mm, pieces)."""

    size: int
    price: Decimal

    @property
    def rate(self) -> Decimal:
        """Price per unit of size."""
        return self.price / self.size


def cheapest_cover(need: int, packs: Sequence[Pack]) -> tuple[int, ...]:
    """Return how many of each pack cover a need at the lowest price.

    Parameters
    ----------
    need : int
        Units to be covered; zero or less needs nothing. [1]
    packs : sequence of Pack, length n
        The sizes on offer, each of at least one unit.

    Returns
    -------
    tuple of int, length n
        Pieces of each pack, in the order given; of equally cheap mixes, the one with fewer pieces.

    Raises
    ------
    OutOfRange
        When something is needed and nothing is on offer, or a pack holds nothing.
    """
    if any(pack.size < 1 for pack in packs):
        raise OutOfRange("A pack must hold at least one unit.")
    if need <= 0:
        return (0,) * len(packs)
    if not packs:
        raise OutOfRange("Nothing is on offer to cover the need.")
    order = sorted(range(len(packs)), key=lambda i: (packs[i].rate, -packs[i].size))
    search = _Search(packs=[packs[i] for i in order])
    search.descend(0, need, Decimal(0), ())
    counts = dict(zip(order, search.best, strict=True))
    return tuple(counts[i] for i in range(len(packs)))


@dataclass
class _Search:
    """Branch and bound over the packs, the lowest price per unit first."""

    packs: list[Pack]
    best: tuple[int, ...] = ()
    best_key: tuple[Decimal, int] = field(default=(Decimal("Infinity"), 0))

    def descend(self, level: int, need: int, spent: Decimal, taken: tuple[int, ...]) -> None:
        pack = self.packs[level]
        last = level == len(self.packs) - 1
        most = -(-need // pack.size) if need > 0 else 0
        for count in range(most, most - 1 if last else -1, -1):
            cost, left = spent + count * pack.price, need - count * pack.size
            # What is left costs at least the next rate, so fewer of this pack can only be dearer.
            rest = Decimal(0) if left <= 0 or last else left * self.packs[level + 1].rate
            if cost + rest > self.best_key[0]:
                return
            if last or left <= 0:
                self._keep(cost, (*taken, count) + (0,) * (len(self.packs) - level - 1))
            else:
                self.descend(level + 1, left, cost, (*taken, count))

    def _keep(self, cost: Decimal, counts: tuple[int, ...]) -> None:
        key = (cost, sum(counts))
        if key < self.best_key:
            self.best, self.best_key = counts, key
