"""The one tree of errors; every message is fit to show to a user."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


class DomainError(Exception):
    """Something the user can understand and act on."""


class QuantityError(DomainError):
    """A typed quantity that cannot be read; says what would be accepted."""

    def __init__(self, typed: str, problem: str, accepted: str) -> None:
        super().__init__(f"{problem} Accepted: {accepted}.")
        self.typed = typed
        self.problem = problem
        self.accepted = accepted


class OutOfRange(DomainError):
    """A value outside the range a model is valid for."""


class UnknownName(DomainError):
    """A species, material, substance or SKU that is not known here."""

    def __init__(self, what: str, wanted: str, known: Sequence[str]) -> None:
        shown = ", ".join(known[:40])
        super().__init__(f"Unknown {what} “{wanted[:60]}”. Known: {shown}.")
        self.what = what
        self.wanted = wanted
        self.known = tuple(known)


class UnknownSpecies(UnknownName):
    """A gas or vapour that is not in the species table."""

    def __init__(self, wanted: str, known: Sequence[str]) -> None:
        super().__init__("gas or vapour", wanted, known)


class NotFound(DomainError):
    """A saved advice, a quote or an item that does not exist."""


class Conflict(DomainError):
    """What is asked no longer fits what is kept: changed meanwhile, answered, expired."""


class NotAllowed(DomainError):
    """Somebody wants to do what their role may not."""


class TooMany(DomainError):
    """Somebody asks for this too often."""


@dataclass(frozen=True)
class Fault:
    """One fault of a request: where, what was typed, what would be accepted."""

    field: str
    typed: str
    message: str
    accepted: str = ""


class InvalidInquiry(DomainError):
    """The structured requirements cannot be used; one fault per field."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        super().__init__("; ".join(f"{fault.field}: {fault.message}" for fault in faults))
        self.faults = tuple(faults)


@dataclass(frozen=True)
class CatalogFault:
    """One fault of a catalogue table: file, row (1 = header), column, reason."""

    file: str
    row: int
    column: str
    reason: str


class InvalidCatalog(DomainError):
    """A catalogue that breaks physics or sense; carries every fault found."""

    def __init__(self, faults: Sequence[CatalogFault]) -> None:
        head = "; ".join(f"{f.file} row {f.row}, {f.column}: {f.reason}" for f in faults[:10])
        more = f" (and {len(faults) - 10} more)" if len(faults) > 10 else ""
        super().__init__(head + more)
        self.faults = tuple(faults)
