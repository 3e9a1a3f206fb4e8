"""What people typed into a form: to the nested request of the JSON contract, and back again.

Nothing is read or judged here; that is the work of ``server.fit.inquiry``, so that a form and a
program get the same faults. Everything typed is kept as typed.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Self

from server.errors import Fault
from server.web.fields import FIELDS, ROWS, Entry, label_at, pattern

MANY_PATHS = frozenset(path for path, entry in FIELDS.items() if entry.entry is Entry.MANY)
_ROW = re.compile(r"^(?P<group>[a-z_.]+)\.(?P<row>\d{1,3})\.(?P<name>[a-z_]+)$")


@dataclass(frozen=True)
class Form:
    """Typed values by dotted path, with the faults found in them."""

    values: Mapping[str, str] = field(default_factory=dict)
    many: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    extra_rows: Mapping[str, int] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()
    filled: frozenset[str] = frozenset()
    """Paths that a preset or the example filled, so that the page can say so."""

    @classmethod
    def from_pairs(cls, pairs: Iterable[tuple[str, str]]) -> Self:
        """Return the form a browser sent.

        Parameters
        ----------
        pairs : iterable of (name, value)
            In the order sent; names of no field are left out. Rows without any value are dropped
            and the ones behind move up, so that row numbers agree with those of the request.

        Returns
        -------
        Form
            Values stripped of outer blanks.
        """
        values: dict[str, str] = {}
        many: dict[str, list[str]] = {}
        for name, value in pairs:
            path = pattern(name)
            if path in MANY_PATHS:
                many.setdefault(path, []).append(value.strip())
            elif path in FIELDS:
                values[name] = value.strip()
        return cls(
            values=_rows_moved_up(values),
            many={path: tuple(chosen) for path, chosen in many.items()},
        )

    @classmethod
    def from_request(cls, request: Mapping[str, object]) -> Self:
        """Return a form filled with a nested request, as it was typed.

        Parameters
        ----------
        request : mapping
            The JSON of a request.

        Returns
        -------
        Form
            Parts that no field shows are left out.
        """
        values: dict[str, str] = {}
        many: dict[str, tuple[str, ...]] = {}
        for path, value in _flat("", request):
            if path in MANY_PATHS and isinstance(value, Sequence) and not isinstance(value, str):
                many[path] = tuple(str(chosen) for chosen in value)
            elif value is not None and pattern(path) in FIELDS:
                values[path] = _typed(value)
        return cls(values=_rows_moved_up(values), many=many)

    def value(self, path: str) -> str:
        """Return what was typed at a path, empty for nothing."""
        return self.values.get(path, "")

    def chosen(self, path: str) -> tuple[str, ...]:
        """Return the boxes ticked at a path."""
        return self.many.get(path, ())

    def faults_at(self, path: str) -> tuple[Fault, ...]:
        """Return the faults of one field."""
        return tuple(fault for fault in self.faults if fault.field == path)

    def has_any(self, *groups: str) -> bool:
        """Say whether anything was typed, or is at fault, in groups such as ``line``."""
        starts = tuple(f"{group}." for group in groups)
        typed = any(value and path.startswith(starts) for path, value in self.values.items())
        return typed or any(fault.field.startswith(starts) for fault in self.faults)

    def summary(self) -> tuple[tuple[Fault, str, str], ...]:
        """Return each fault with the label of its field and the id to jump to (empty: no field)."""
        return tuple(
            (fault, label_at(fault.field) if fault.field else "Request", self._anchor(fault.field))
            for fault in self.faults
        )

    def _anchor(self, path: str) -> str:
        if pattern(path) in FIELDS:
            return path
        return path if path in ROWS else ""

    def row_numbers(self, group: str) -> range:
        """Return the numbers of the rows to show of a repeated group.

        Parameters
        ----------
        group : str
            Such as ``chamber.surfaces``.

        Returns
        -------
        range
            Those with values, one empty row behind them, and any that were asked for.
        """
        rows = ROWS[group]
        used = _rows_used(self.values, group)
        wanted = max(rows.at_least, used + self.extra_rows.get(group, 0))
        return range(max(used, min(wanted, rows.at_most)))

    def row_has_values(self, group: str) -> bool:
        """Say whether any row of a repeated group was filled in."""
        return _rows_used(self.values, group) > 0

    def with_values(self, values: Mapping[str, str]) -> Form:
        """Return the form with values typed in, marked as filled by the page."""
        return Form(
            values={**self.values, **values},
            many=self.many,
            extra_rows=self.extra_rows,
            faults=self.faults,
            filled=self.filled | frozenset(values),
        )

    def with_ticks(self, many: Mapping[str, tuple[str, ...]]) -> Form:
        """Return the form with boxes ticked, marked as filled by the page."""
        return Form(
            values=self.values,
            many={**self.many, **many},
            extra_rows=self.extra_rows,
            faults=self.faults,
            filled=self.filled | frozenset(many),
        )

    def with_faults(self, faults: Sequence[Fault]) -> Form:
        """Return the form with the faults found in it."""
        return Form(self.values, self.many, self.extra_rows, tuple(faults), self.filled)

    def over(self, below: Form) -> Form:
        """Return the form laid over another one, whose values stand where nothing was sent."""
        values = {**below.values, **self.values}
        return Form(values, self.many, self.extra_rows, self.faults, self.filled)

    def without(self, group: str) -> Form:
        """Return the form without a field, or the fields of a group such as ``stack``."""
        kept = {p: v for p, v in self.values.items() if not f"{p}.".startswith(f"{group}.")}
        return Form(kept, self.many, self.extra_rows, self.faults, self.filled)

    def only(self, group: str) -> Form:
        """Return the form with the fields of one group such as ``sender`` alone."""
        kept = {p: v for p, v in self.values.items() if p.startswith(f"{group}.")}
        faults = tuple(fault for fault in self.faults if fault.field.startswith(f"{group}."))
        return Form(kept, faults=faults, filled=self.filled)

    def pairs(self) -> tuple[tuple[str, str], ...]:
        """Return names and values as a browser would send them, to be sent on."""
        single = ((path, value) for path, value in self.values.items() if value)
        many = ((path, each) for path, chosen in self.many.items() for each in chosen)
        return (*single, *many)

    def with_row(self, group: str) -> Form:
        """Return the form with one more empty row in a repeated group."""
        shown = len(self.row_numbers(group))
        more = shown - _rows_used(self.values, group) + 1
        return Form(
            self.values, self.many, {**self.extra_rows, group: more}, self.faults, self.filled
        )

    def request(self, *needed: str) -> dict[str, object]:
        """Return the nested request of the JSON contract; empty fields are left out.

        Parameters
        ----------
        *needed : str
            Groups that are there even when nothing in them was filled in, so that their own
            fields are asked for and not the whole group.

        Returns
        -------
        dict
            Strings as typed, lists for rows and check boxes, true and false for yes and no.
        """
        nested: dict[str, object] = {group: {} for group in needed}
        for path, value in self.values.items():
            if value:
                _put(nested, path, _decided(path, value))
        for path, chosen in self.many.items():
            if chosen:
                _put(nested, path, list(chosen))
        return nested


def _decided(path: str, value: str) -> object:
    if FIELDS[pattern(path)].entry is Entry.YES_NO and value in {"yes", "no"}:
        return value == "yes"
    return value


def _typed(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _put(nested: dict[str, object], path: str, value: object) -> None:
    """Set a value at a dotted path; rows come in rising order, so a new row is always the next."""
    here: object = nested
    steps = path.split(".")
    for step, following in zip(steps, [*steps[1:], ""], strict=True):
        fresh: object = value if not following else ([] if following.isdigit() else {})
        if isinstance(here, list):
            if int(step) == len(here):
                here.append(fresh)
            here = here[int(step)]
        elif isinstance(here, dict):
            here = here.setdefault(step, fresh)


def _flat(prefix: str, value: object) -> Iterable[tuple[str, object]]:
    if prefix in MANY_PATHS:
        yield prefix, value
    elif isinstance(value, Mapping):
        for name, inner in value.items():
            yield from _flat(f"{prefix}.{name}" if prefix else str(name), inner)
    elif isinstance(value, Sequence) and not isinstance(value, str):
        for row, inner in enumerate(value):
            yield from _flat(f"{prefix}.{row}", inner)
    else:
        yield prefix, value


def _rows_used(values: Mapping[str, str], group: str) -> int:
    rows = [
        int(found["row"])
        for path, value in values.items()
        if value and (found := _ROW.match(path)) and found["group"] == group
    ]
    return max(rows, default=-1) + 1


def _rows_moved_up(values: Mapping[str, str]) -> dict[str, str]:
    used: dict[str, set[int]] = {}
    for path, value in values.items():
        found = _ROW.match(path)
        if found and value:
            used.setdefault(found["group"], set()).add(int(found["row"]))
    order = {
        (group, old): new for group, rows in used.items() for new, old in enumerate(sorted(rows))
    }
    moved: dict[str, str] = {}
    for path, value in values.items():
        found = _ROW.match(path)
        if found is None:
            moved[path] = value
        elif (place := (found["group"], int(found["row"]))) in order:
            moved[f"{found['group']}.{order[place]}.{found['name']}"] = value
    return dict(sorted(moved.items(), key=_row_order))


def _row_order(item: tuple[str, str]) -> tuple[int, str]:
    found = _ROW.match(item[0])
    return (int(found["row"]) if found else -1, item[0])
