"""The use case: a letter in, the requirements it states out."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import cast

from pydantic import ValidationError

from server.errors import Fault, InvalidInquiry
from server.fit.faults import faults_of
from server.fit.inquiry_in import InquiryIn
from server.fit.letter.amounts import (
    condition_of,
    material_key,
    material_of,
    money,
    sizes,
    species_key,
    thing_of,
)
from server.fit.letter.cues import FORELINE, ROUGH_LINE, best_rule
from server.fit.letter.mentions import Mention, mentions
from server.fit.letter.phrases import Phrase, phrases
from server.fit.letter.records import Found, LetterReading, NotUsed, Sentence
from server.fit.letter.sentences import has_quoted, sentences, without_quoted
from server.physics.vapour import SATURATION
from server.units import Dimension

LONGEST_LETTER = 20_000
NEEDED = ("chamber.volume", "target_pressure")
_MANY = frozenset({"hazards"})
_SUBJECT = re.compile(
    r"^(?:subject|re|betreff):[ \t]*(?P<title>\S.*)$", re.IGNORECASE | re.MULTILINE
)
_NO_FIELD = {
    Dimension.SPEED: "A pumping speed: an inquiry asks for what is to be reached, not for a pump.",
    Dimension.MASS: "A mass without a time: a rate such as 30 g/h is wanted.",
    Dimension.POWER: "A power is not asked for.",
    Dimension.ENERGY: "An energy is not asked for.",
    Dimension.FREQUENCY: "A frequency is not asked for.",
    Dimension.RATIO: "A share is not asked for.",
}
_UNPLACED = "It is not clear what this belongs to."


@dataclass
class _Notebook:
    """What has been found so far; the first statement of a field stays."""

    text: str
    found: list[Found] = field(default_factory=list)
    not_used: list[NotUsed] = field(default_factory=list)
    rows: dict[str, int] = field(default_factory=dict)
    rival_applications: list[str] = field(default_factory=list)

    def take(self, path: str, value: str, start: int, end: int, note: str = "") -> None:
        earlier = next((each for each in self.found if each.field == path), None)
        if path in _MANY:
            earlier = next((e for e in self.found if (e.field, e.value) == (path, value)), None)
        if earlier is None:
            self.found.append(Found(path, value, self._words(start, end), start, end, note))
        elif earlier.value != value and path == "application":
            self.rival_applications.append(self._words(start, end))
        elif earlier.value != value:
            self.refuse(start, end, f"“{earlier.words}” was taken for this already.")

    def refuse(self, start: int, end: int, reason: str) -> None:
        self.not_used.append(NotUsed(self._words(start, end), start, end, reason))

    def row(self, group: str, cells: Iterable[tuple[str, str]], start: int, end: int) -> None:
        """Take a row of a repeated group, unless the same row was stated before."""
        number = self.rows.get(group, 0)
        listed = [(f"{group}.{number}.{name}", value) for name, value in cells]
        stated = [tuple(value for _, value in listed)] if listed else []
        for earlier in range(number):
            had = tuple(e.value for e in self.found if e.field.startswith(f"{group}.{earlier}."))
            if had in stated:
                return
        self.rows[group] = number + 1
        for path, value in listed:
            self.found.append(Found(path, value, self._words(start, end), start, end))

    def _words(self, start: int, end: int) -> str:
        return " ".join(self.text[start:end].split())


def read_letter(text: str) -> LetterReading:
    """Return the requirements that a letter states, each with the words it came from.

    Parameters
    ----------
    text : str
        An e-mail or a note in English, at most 20 000 characters.

    Returns
    -------
    LetterReading
        Nothing in it is guessed: of two statements of one field the first is taken and the other
        named; a range, a decade or an ambiguous number is not used.

    Raises
    ------
    InvalidInquiry
        When there is no text, or too much of it.
    """
    if not text.strip():
        raise InvalidInquiry([Fault("text", "", "Nothing was pasted.", "the customer's e-mail")])
    if len(text) > LONGEST_LETTER:
        message = f"A letter of {len(text):,} characters is too long to be an inquiry."
        raise InvalidInquiry([Fault("text", "", message, f"up to {LONGEST_LETTER:,} characters")])
    notes = _Notebook(text)
    _read_subject(notes)
    quoted = has_quoted(text)
    if quoted:
        notes.refuse(*quoted, "Quoted lines (beginning with >) are not read.")
    for sentence in sentences(without_quoted(text)):
        _read_sentence(sentence, notes)
    _settle_applications(notes)
    return _checked(notes)


def _read_subject(notes: _Notebook) -> None:
    found = _SUBJECT.search(notes.text)
    if found:
        title = re.sub(r"^(?:(?:re|fwd?|aw):\s*)+", "", found["title"].strip(), flags=re.IGNORECASE)
        if title and len(title) <= 200:
            notes.take("title", title, *found.span("title"))


def _read_sentence(sentence: Sentence, notes: _Notebook) -> None:
    text, start = sentence.text, sentence.start
    told = [*phrases(sentence), *sizes(text), *money(text)]
    listed = mentions(sentence)
    for phrase in told:
        _take_phrase(phrase, text, start, notes)
    taken = [(phrase.start, phrase.end) for phrase in told]
    for mention in listed:
        if any(low <= mention.start < high for low, high in taken):
            continue
        _take_mention(mention, text, start, listed, notes)


def _take_phrase(phrase: Phrase, text: str, start: int, notes: _Notebook) -> None:
    place = (start + phrase.start, start + phrase.end)
    if phrase.field:
        path = _line_of(phrase.field, text)
        notes.take(path, phrase.value, *place, phrase.note)
    else:
        notes.refuse(*place, phrase.note)


def _line_of(path: str, text: str) -> str:
    """Return the path of the line that the sentence speaks of."""
    if not path.startswith("line."):
        return path
    if ROUGH_LINE.search(text):
        return f"rough_{path}"
    return path.replace("line.", "foreline.") if FORELINE.search(text) else path


def _take_mention(
    mention: Mention, text: str, start: int, listed: Sequence[Mention], notes: _Notebook
) -> None:
    place = (start + mention.start, start + mention.end)
    if mention.problem:
        notes.refuse(*place, mention.problem)
    elif mention.dimension in {Dimension.GAS_FLOW, Dimension.MASS_RATE, Dimension.AREA}:
        _take_row(mention, text, start, listed, notes)
    elif mention.dimension in _NO_FIELD:
        notes.refuse(*place, _NO_FIELD[mention.dimension])
    else:
        rule = best_rule(text, mention, listed)
        if rule is not None and rule.field:
            notes.take(_line_of(rule.field, text), mention.typed, *place)
        elif rule is None and mention.dimension is Dimension.THROUGHPUT:
            _take_row(mention, text, start, listed, notes)
        elif rule is None:
            notes.refuse(*place, _UNPLACED)


def _take_row(
    mention: Mention, text: str, start: int, listed: Sequence[Mention], notes: _Notebook
) -> None:
    """Take a gas with its flow, a vapour with its rate, or a surface with its area."""
    area = mention.dimension is Dimension.AREA
    thing = (material_of if area else thing_of)(text, mention, listed)
    place = (start + mention.start, start + mention.end)
    if thing is None:
        what = "material" if area else "gas or vapour"
        notes.refuse(*place, f"No {what} that is known here is named beside it.")
        return
    name, begin, end = thing
    whole = (min(place[0], start + begin), max(place[1], start + end))
    if area:
        cells = [("material", material_key(name)), ("area", mention.typed)]
        condition = condition_of(text, (whole[0] - start, whole[1] - start), listed)
        cells += [("condition", condition)] if condition else []
        notes.row("chamber.surfaces", cells, *whole)
    elif mention.dimension is Dimension.MASS_RATE:
        _take_vapour(name, mention, whole, notes)
    else:
        notes.row("process.gas", [("species", species_key(name)), ("flow", mention.typed)], *whole)


def _take_vapour(name: str, mention: Mention, place: tuple[int, int], notes: _Notebook) -> None:
    key = species_key(name)
    if key in SATURATION:
        notes.row("process.vapour", [("substance", key), ("rate", mention.typed)], *place)
    else:
        notes.refuse(*place, "It does not condense: a flow in sccm is wanted for a gas.")


def _settle_applications(notes: _Notebook) -> None:
    """Keep the kind of work only where the letter names a single one."""
    named = next((each for each in notes.found if each.field == "application"), None)
    if named is None or not notes.rival_applications:
        return
    notes.found.remove(named)
    both = ", ".join(dict.fromkeys((named.words, *notes.rival_applications)))
    message = f"Several kinds of work are named ({both}): choose what the chamber is for."
    notes.refuse(named.start, named.end, message)


def _checked(notes: _Notebook) -> LetterReading:
    """Leave out what an inquiry would refuse, with its reason."""
    refused = _refusals(nested(notes.found))
    kept = []
    for each in notes.found:
        reason = refused.get(_row_of(each.field))
        if reason is None:
            kept.append(each)
        else:
            notes.refuse(each.start, each.end, reason)
    had = {each.field for each in kept}
    unused = {(each.start, each.end): each for each in notes.not_used}
    return LetterReading(
        notes.text,
        tuple(sorted(kept, key=lambda each: (each.start, each.field))),
        tuple(sorted(unused.values(), key=lambda each: each.start)),
        tuple(path for path in NEEDED if path not in had),
        nested(kept),
    )


def _refusals(request: dict[str, object]) -> dict[str, str]:
    """Return why cells (or rows) of a request cannot be used, by their paths."""
    try:
        InquiryIn.model_validate(request)
    except ValidationError as error:
        faults = faults_of(error.errors(include_url=False))
        return {_row_of(fault.field): fault.message for fault in faults}
    return {}


def _row_of(path: str) -> str:
    """Return the row that a cell belongs to, the path itself where it is no cell of a row."""
    row = re.match(r"(.+\.\d+)\.[a-z_]+$", path)
    return row[1] if row else path


def nested(found: Iterable[Found]) -> dict[str, object]:
    """Return the request of the JSON contract that the cells make."""
    request: dict[str, object] = {}
    rows: dict[str, dict[str, object]] = {}
    for each in found:
        if each.field in _MANY:
            cast(list[str], request.setdefault(each.field, [])).append(each.value)
            continue
        row = re.match(r"(?P<group>.+)\.\d+\.(?P<name>[a-z_]+)$", each.field)
        if row is None:
            _put(request, each.field, _DECIDED.get(each.value, each.value))
            continue
        cells = rows.setdefault(_row_of(each.field), {})
        if not cells:
            _listed(request, row["group"]).append(cells)
        cells[row["name"]] = each.value
    return request


_DECIDED: Mapping[str, bool] = {"yes": True, "no": False}


def _put(request: dict[str, object], path: str, value: object) -> None:
    *groups, name = path.split(".")
    for group in groups:
        request = cast(dict[str, object], request.setdefault(group, {}))
    request[name] = value


def _listed(request: dict[str, object], path: str) -> list[dict[str, object]]:
    *groups, name = path.split(".")
    for group in groups:
        request = cast(dict[str, object], request.setdefault(group, {}))
    return cast(list[dict[str, object]], request.setdefault(name, []))
