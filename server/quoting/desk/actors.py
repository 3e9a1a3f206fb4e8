"""Who acts at the quote desk, and in what role."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Role(StrEnum):
    """What a person may do at the desk."""

    SALES_ENGINEER = "sales_engineer"
    SALES_MANAGER = "sales_manager"
    ADMINISTRATOR = "administrator"
    CUSTOMER = "customer"


SELLERS = frozenset({Role.SALES_ENGINEER, Role.SALES_MANAGER, Role.ADMINISTRATOR})
"""Roles of the seller's people, who see costs and internal notes."""

APPROVERS = frozenset({Role.SALES_MANAGER, Role.ADMINISTRATOR})
"""Roles that may approve what is above another one's limit."""


@dataclass(frozen=True)
class Actor:
    """Somebody who acts; named in every event."""

    name: str
    role: Role

    @property
    def sells(self) -> bool:
        """Whether this is one of the seller's people."""
        return self.role in SELLERS
