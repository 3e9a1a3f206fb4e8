"""Remedies as pages show them: by stack and margin, with what to type to try them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from server.fit.results import MarginKey, Remedy
from server.web.fields import FIELDS, pattern
from server.web.forms import Form

SHOWN = 4
"""So many remedies of a margin stand open; the rest can be unfolded."""


@dataclass(frozen=True)
class Offer:
    """A remedy, with the form in which it is tried; empty where no field has it."""

    remedy: Remedy
    link: str = ""
    pairs: tuple[tuple[str, str], ...] = ()
    """The whole form with the change made, as a browser would send it."""


@dataclass(frozen=True)
class MarginGroup:
    """The remedies that mend the same margins of one stack."""

    margins: tuple[MarginKey, ...]
    shown: tuple[Offer, ...]
    more: tuple[Offer, ...]


@dataclass(frozen=True)
class StackGroup:
    """The remedies of one stack."""

    title: str
    groups: tuple[MarginGroup, ...]


def grouped(offers: Sequence[Offer]) -> tuple[StackGroup, ...]:
    """Return offers by stack and by the margins they mend, in the order they came."""
    stacks: dict[str, dict[tuple[MarginKey, ...], list[Offer]]] = {}
    for offer in offers:
        remedy = offer.remedy
        mended = {remedy.margin, *remedy.also}
        margins = tuple(key for key in MarginKey if key in mended)
        stacks.setdefault(remedy.stack_title, {}).setdefault(margins, []).append(offer)
    return tuple(
        StackGroup(
            title,
            tuple(
                MarginGroup(margins, tuple(found[:SHOWN]), tuple(found[SHOWN:]))
                for margins, found in groups.items()
            ),
        )
        for title, groups in stacks.items()
    )


def offers_in_inquiry(
    remedies: Sequence[Remedy], token: str, typed: Form
) -> tuple[StackGroup, ...]:
    """Return remedies with links to the inquiry form with their changes made.

    Parameters
    ----------
    remedies : sequence of Remedy
        Of a saved advice.
    token : str
        The advice.
    typed : Form
        What was typed for it.
    """
    return grouped([Offer(remedy, _link(remedy, token, typed)) for remedy in remedies])


def _link(remedy: Remedy, token: str, typed: Form) -> str:
    if not remedy.settings or not all(_has(typed, path) for path, _ in remedy.settings):
        return ""
    changes = [pair for path, text in remedy.settings for pair in (("change", path), ("to", text))]
    return f"/inquiry?{urlencode([('from', token), *changes])}"


def _has(typed: Form, path: str) -> bool:
    """Say whether the inquiry form has a field; that of a row only where the row is filled."""
    known = pattern(path)
    if known not in FIELDS or path.startswith("stack."):
        return False
    row = path.rpartition(".")[0] + "."
    return known == path or any(
        value for name, value in typed.values.items() if name.startswith(row)
    )


def offers_in_check(remedies: Sequence[Remedy], form: Form) -> tuple[StackGroup, ...]:
    """Return remedies with the form of a check as it would be sent with their changes made.

    Parameters
    ----------
    remedies : sequence of Remedy
        Of the stack that was checked.
    form : Form
        What was typed.
    """
    return grouped([Offer(remedy, pairs=_pairs(remedy, form)) for remedy in remedies])


def _pairs(remedy: Remedy, form: Form) -> tuple[tuple[str, str], ...]:
    paths = [path for path, _ in remedy.settings]
    if not paths or not all(path.startswith("stack.") or _has(form, path) for path in paths):
        return ()
    return form.with_values(dict(remedy.settings)).pairs()
