"""Quantities in running text: a number, and the longest words behind it that are its unit."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from server.errors import QuantityError
from server.fit.letter.records import Sentence
from server.units import Dimension, parse_quantity
from server.units.dimensions import KINDS
from server.units.numerals import clean
from server.units.table import UnitProblem, read_unit

_POWER = (
    r"(?:\s?[x×·*]\s?10\s?(?:(?:\^|\*\*)\s?[-−–+]?\s?\d{1,2}|[⁻⁺]?[⁰¹²³⁴⁵⁶⁷⁸⁹]+|[-−–]\d{1,2})"
    r"|[eE][-−+]?\d{1,2})?"
)
_TEN = r"10\s?(?:\^\s?[-−–+]?\d{1,2}|[⁻⁺]?[⁰¹²³⁴⁵⁶⁷⁸⁹]+)"
_DIGITS = r"(?:\d{1,3}(?:[ \u00a0\u202f]\d{3})+(?![\d])(?:[.,]\d+)?|\d+(?:[.,]\d+)*|[.,]\d+)"
_NUMBER = re.compile(
    rf"(?<![\w.,/^°])(?<![A-Za-z]-)(?P<sign>[-−–](?=\d))?(?P<number>{_TEN}(?!\d)|{_DIGITS}{_POWER}|[½¼¾])"
    r"(?P<fraction>\s?[½¼¾]|[ -]\d/\d\d?(?!\d))?"
)
_UNIT = re.compile(
    r"[ \t\u00a0\u202f-]{0,2}\n?(?P<unit>[A-Za-zµμΩ°℃℉%\"″](?:[^\s,;:!?()]|\([ag]\)){0,14})"
)
# What may follow the first word of a unit: a joint, "Hg", "l/s", or the word behind "cubic".
_WORD = r"[A-Za-z°][A-Za-z0-9³²^⁻¹-]{0,9}"
_MORE = re.compile(rf"\s?(?:per|/|\*|·)\s?{_WORD}|\s?Hg\b|[ \u00a0]{_WORD}/{_WORD}")
_LEADS = re.compile(r"(?:cu|cubic|sq|square|deg|degrees?|std|standard|°)\.?$", re.IGNORECASE)
_LED = re.compile(rf"\s{_WORD}(?:/{_WORD})?")
_MOST_UNIT_WORDS = 4
_CLOCK = re.compile(r"(?<![\d:])\d{1,3}:[0-5]\d ?h(?:ours?)?\b")
_PARTED = re.compile(
    r"(?<![\w.,])\d+ ?h(?:(?:ou)?rs?)?,? ?(?:and )?\d{1,2} ?(?:min(?:ute)?s?\b|(?=[\s.,;]|$))"
)
_DECADE = re.compile(r"\b(?:low|mid|middle|high|lower|upper)[ -]+$", re.IGNORECASE)
NUMBER_WORDS: Mapping[str, int] = {
    name: number
    for number, name in enumerate(
        [
            "one",
            "two",
            "three",
            "four",
            "five",
            "six",
            "seven",
            "eight",
            "nine",
            "ten",
            "eleven",
            "twelve",
        ],
        start=1,
    )
}
# Words that are units by the book and something else in a letter.
_WORDS_FIRST = re.compile(r"(?:in|at|a|as|am|ms|t|u|an|h2|c\.)(?=$|[^A-Za-z])", re.IGNORECASE)
_GAUGE = re.compile(r"m?bar\(?g\)?|psi\(?g\)?", re.IGNORECASE)
_SPOKEN = re.compile(
    r"\b(?P<count>half\s+an|a\s+quarter\s+of\s+an|an?|one|two|three|four|five|six|seven|eight|nine|ten|"
    r"eleven|twelve)[\s-]+(?P<unit>hours?|minutes?)\b(?! (?:a|per|each) )",
    re.IGNORECASE,
)
_SPOKEN_MINUTES = {"half an": 30, "a quarter of an": 15, "a": 60, "an": 60}
_BARE_POWER = re.compile(r"(?<![\w.])(?:e|E)[-−–]\d{1,2}\b(?: ?[A-Za-z]{2,5}\b)?")
_INCH = re.compile(r"in(?:\.|\b)")
_NOT_INCH = re.compile(
    r"\s+(?:the|a|an|our|this|that|about|under|less|each|total|all|its|one|\d)\b"
)


@dataclass(frozen=True)
class Mention:
    """A quantity of the letter.

    Attributes
    ----------
    start, end : int
        Place in the sentence.
    typed : str
        As it would be typed into a field.
    dimension : Dimension
        What its unit stands for.
    problem : str
        Why it cannot be read as one value; empty where it can.
    """

    start: int
    end: int
    typed: str
    dimension: Dimension
    problem: str = ""


def mentions(sentence: Sentence) -> tuple[Mention, ...]:
    """Return the quantities of a sentence in their order."""
    text = sentence.text
    found = [*_spoken(text), *_parted(text), *_bare_powers(text)]
    at = 0
    for number in _NUMBER.finditer(text):
        start = number.start()
        if start < at or any(each.start <= start < each.end for each in found):
            continue
        unit = _unit_behind(text, number.end())
        if unit is not None:
            at, dimension = unit
            found.append(_read(text, start, at, dimension))
    return tuple(sorted(found, key=lambda each: each.start))


def _spoken(text: str) -> Iterator[Mention]:
    """Yield times in words: half an hour, two hours."""
    for found in _SPOKEN.finditer(text):
        count = " ".join(found["count"].lower().split())
        if count in NUMBER_WORDS:
            typed = f"{NUMBER_WORDS[count]} {'h' if found['unit'].startswith('h') else 'min'}"
        elif found["unit"].lower().startswith("h"):
            typed = f"{_SPOKEN_MINUTES[count]} min"
        else:
            continue  # "a minute" is seldom meant as one
        yield Mention(*found.span(), typed, Dimension.TIME)


def _parted(text: str) -> Iterator[Mention]:
    """Yield times of several parts: 1:30 h, 2 h 30 min."""
    for shape in (_CLOCK, _PARTED):
        for found in shape.finditer(text):
            yield _read(text, *found.span(), Dimension.TIME)


def _bare_powers(text: str) -> Iterator[Mention]:
    """Yield powers of ten without a number before them: e-6 mbar."""
    for found in _BARE_POWER.finditer(text):
        yield Mention(*found.span(), found[0], Dimension.PRESSURE, _A_DECADE)


def _unit_behind(text: str, start: int) -> tuple[int, Dimension] | None:
    """Return where the longest unit behind a number ends, and its dimension."""
    # "2 to 3 mbar", "2-3 mbar": the second number is read with the unit, and refused as a range
    first = _UNIT.match(text, start)
    if first is None:
        return None
    ends = [first.end()]
    while len(ends) < _MOST_UNIT_WORDS:
        led = _LEADS.search(text[first.start("unit") : ends[-1]])
        more = (_LED if led else _MORE).match(text, ends[-1])
        if more is None:
            break
        ends.append(more.end())
    word = first.start("unit")
    for end in reversed(ends):
        for cut in _shorter(text, word, end):
            dimension = _dimension_of(text[word:cut])
            if dimension is not None and not _is_a_word(text, word, cut):
                return cut, dimension
    return None


def _shorter(text: str, start: int, end: int) -> Iterator[int]:
    """Yield an end without and with the punctuation and the tail that may cling to a unit."""
    stripped = len(text[start:end].rstrip(".,;:)'’-*/")) + start
    yield stripped
    if stripped < end:
        yield end
    dash = text.find("-", start, end)
    if dash > start:
        yield dash


def _dimension_of(words: str) -> Dimension | None:
    if _GAUGE.fullmatch(words) and words[-1] in "gG)":
        return Dimension.PRESSURE
    try:
        unit = read_unit(clean(words))
    except UnitProblem:
        return None
    return next((d for d, kind in KINDS.items() if kind.exponents == unit.exponents), None)


def _is_a_word(text: str, start: int, end: int) -> bool:
    """Say whether a word that could be a unit is more likely an ordinary word here."""
    word = text[start:end]
    attached = start > 0 and text[start - 1].isdigit()
    if _INCH.fullmatch(word):
        return not attached and _NOT_INCH.match(text, end) is not None
    if _WORDS_FIRST.fullmatch(word):
        return not attached or word.lower() in {"at", "a", "am"}
    return False


def _read(text: str, start: int, end: int, dimension: Dimension) -> Mention:
    typed = " ".join(text[start:end].split())
    problem = _not_one_value(text, start, end)
    if problem:
        return Mention(start, end, typed, dimension, problem)
    try:
        parse_quantity(typed, dimension)
    except QuantityError as error:
        return Mention(start, end, typed, dimension, error.problem)
    return Mention(start, end, typed, dimension)


_A_DECADE = "That is a whole decade, not one value: ask for the pressure that is meant."


def _not_one_value(text: str, start: int, end: int) -> str:
    before = text[max(0, start - 30) : start]
    if _DECADE.search(before) and text[start:].startswith("10"):
        return _A_DECADE
    if re.search(r"(?<!\d)10[-−–]$", before):
        return "A superscript seems to be lost: write 1e-6, or ask what is meant."
    # "from air at 1013 mbar to 1 mbar" is a way, not a range
    way = re.search(r"\bfrom\b", before) is not None
    spread = _RANGE_BEFORE.search(before) or _RANGE_BEHIND.match(text, end)
    if spread and not way:
        return "That is a range, not one value: ask for the value to be kept to."
    return ""


_RANGE_BEFORE = re.compile(
    r"\bbetween\s+[\d.,eE^-]+\s?\S*\s+and\s?$|(?<![A-Za-z\d])[\d.,]+(?:[eE]-?\d+)?"
    r"(?:\s?(?:-|–|−|\.\.\.?|…)\s?|\s+to\s+)$|\d\s?[A-Za-z°]{1,5}\s+to\s$"
)
_RANGE_BEHIND = re.compile(r"\s?(?:\bto\b|-|–|…|\.\.\.?)\s?\d[\d.,eE^-]*\s?[A-Za-z°]")
