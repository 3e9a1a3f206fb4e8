"""A customer's own choice of pumps, to be judged as it is."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class StackChoice:
    """SKUs of a stack; None where the engine is to choose the fitting part or leave it out."""

    high_vacuum_pump: str | None = None
    booster: str | None = None
    backing_pump: str | None = None
    fluid: str | None = None
    trap: str | None = None
