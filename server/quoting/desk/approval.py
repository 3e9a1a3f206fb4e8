"""When a quote needs approval before it is sent, and why."""

from __future__ import annotations

from decimal import Decimal

from server.quoting.desk.actors import Role
from server.quoting.desk.pricing import DISCOUNT_LIMITS
from server.quoting.desk.revision import Revision

MARGIN_FLOORS: dict[Role, Decimal | None] = {
    Role.SALES_ENGINEER: Decimal(10),
    Role.SALES_MANAGER: Decimal(0),
    Role.ADMINISTRATOR: None,
    Role.CUSTOMER: Decimal(100),
}
"""Lowest margin on the net that a role may send by itself [%], None without a floor; common
practice, no source."""


def reasons_for_approval(revision: Revision, role: Role) -> tuple[str, ...]:
    """Return why a role may not send a revision by itself; nothing when it may.

    Parameters
    ----------
    revision : Revision
        Prices, discounts and costs.
    role : Role
        Who wants to send or approve it.
    """
    reasons: list[str] = []
    deepest, limit = revision.deepest_discount_percent, DISCOUNT_LIMITS[role]
    if deepest > limit:
        reasons.append(
            f"A discount of {deepest.normalize():f} % is above the limit of {limit:f} %."
        )
    floor, left = MARGIN_FLOORS[role], revision.margin.percent
    if floor is not None and left is not None and left < floor:
        reasons.append(f"A margin of {left:f} % is below the floor of {floor:f} %.")
    return tuple(reasons)
