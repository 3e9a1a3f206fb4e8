"""What a letter says in words: kind of work, cleanliness, hazards, supplies, how often."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from server.catalog.flanges import parse_flange
from server.errors import UnknownName
from server.fit.letter.cues import words
from server.fit.letter.mentions import NUMBER_WORDS
from server.fit.letter.records import Sentence
from server.fit.requirements import Application, Cleanliness, Hazard


@dataclass(frozen=True)
class Phrase:
    """A field and its value as words of a sentence state it; an empty field: not to be used."""

    field: str
    value: str
    start: int
    end: int
    note: str = ""


_COUNT = r"(?P<count>\d+(?:[.,]\d+)?|" + "|".join(NUMBER_WORDS) + ")"
_WORK = (
    r"(?:pump ?downs?|cycles?|runs?|batch(?:es)?|loads?|charges?|lots?|times|coatings?|"
    r"depositions?|tests?|parts|samples?)"
)
_CYCLES = words(
    rf"\b{_COUNT}(?: \w+)? {_WORK}(?: \w+)? ?(?:a|per|each|every|/) ?(?:working )?day\b"
)
_OFTEN = words(r"(?P<often>once|twice)(?: a| per| each| every) day")
_DAYS = words(rf"{_COUNT} (?:working )?days (?:a|per|each|every|/) ?year")
_ALWAYS = re.compile(r"\b24 ?/ ?7\b")
_BENDS = words(rf"{_COUNT} (?:90 ?°?)? ?(?:degree )?(?:bends?|elbows?)")
_FLANGE = re.compile(
    r"\b(?:DN ?\d{2,3} ?(?:ISO-?K|ISO-?F|ISO-?KF|KF|CF)"
    r"|(?:ISO[- ]?K|ISO[- ]?F|KF|NW|CF)[- ]?(?:DN ?)?\d{2,3}"
    r"|(?:DN ?)?\d{2,3} ?(?:ISO-?K|ISO-?F|KF|CF))\b",
    re.IGNORECASE,
)
_PORT_WORDS = words(
    r"port|flange[ds]?|connection|opening|chamber|inlet|interface|nozzle|through",
)
_NOT_PORT = words(
    r"fore ?line|rough\w*|backing|gauge|exhaust",
)
_NEGATED = re.compile(
    r"\b(?:no|not|non|never|nothing|without|neither|nor|isn't|aren't|don't|doesn't|needn't|free of|"
    r"n’t)\b[^,;:.]{0,30}$",
    re.IGNORECASE,
)
_NOT_NEEDED = re.compile(
    r"\b(?:not?\s+need|need\s+not|needn['’]?t|not\s+necessar\w*|not\s+have\s+to|not\s+be"
    r"|do(?:es)?n['’]t\s+(?:have|need)\s+to)\b[^,;:.]{0,30}$",
    re.IGNORECASE,
)

_APPLICATIONS: tuple[tuple[Application, re.Pattern[str]], ...] = (
    (Application.COATING, words(
    r"coat(?:er|ers|ing|ings)|sputter\w*|thin films?|metalli[sz]\w+",
    r"evaporation of (?:metal|alumini?um)\w*",
)),
    (Application.FREEZE_DRYING, words(
    r"freeze dr(?:y\w*|ier|iers)|lyophili[sz]\w+",
)),
    (Application.DRYING_OVEN, words(
    r"drying (?:oven|cabinet)|vacuum (?:oven|dryer|drying)|shelf dryer",
)),
    (Application.DEGASSING, words(
    r"de ?gas\w*|de ?air\w*|debubbl\w*|potting|casting resin",
)),
    (Application.DISTILLATION, words(
    r"distil\w*|short path|rotary evaporator",
)),
    (Application.FURNACE, words(
    r"furnace|brazing|sinter\w*",
)),
    (Application.LEAK_TEST, words(r"leak (?:test\w*|check\w*|detect\w*)")),
    (Application.LOAD_LOCK, words("load ?locks?")),
    (Application.SURFACE_SCIENCE, words(
    r"surface science|photoemission|molecular beam epitaxy|UHV chamber",
    r"scanning tunnel\w+",
)),
    (Application.ANALYSER, words(
    r"mass spectromet\w+|electron microscop\w+|residual gas analy[sz]\w+|analy[sz]er",
)),
    (Application.OPTICS, words(
    r"laser optics|optical bench in vacuum|beamline mirror",
)),
)  # fmt: skip

_CLEAN: tuple[tuple[Cleanliness, re.Pattern[str]], ...] = (
    (Cleanliness.OIL_FREE, words(
    r"oil ?free|hydrocarbon ?free|free (?:of|from) (?:oil|hydrocarbons)",
    r"no oil(?: at all| vapou?r| allowed)?(?! (?:is )?(?:problem|issue))",
    r"without (?:any )?oil|dry (?:pumps?|system|pumping)|no hydrocarbons",
)),
    (Cleanliness.LOW_OIL, words(
    r"low oil|little oil|as little oil (?:vapou?r )?as",
    r"traces? of oil (?:is|are|would be) (?:fine|ok|acceptable|tolerable)",
    r"minimal oil|oil backstreaming (?:must|should) be (?:low|small|kept low)",
)),
    (Cleanliness.TOLERANT, words(
    r"oil (?:vapou?r )?(?:is|does|would be) (?:fine|ok|okay|acceptable|not matter)",
    r"oil (?:vapou?r )?(?:is|would be) (?:not a problem|no problem|not an issue)",
    r"oil (?:vapou?r )?doesn['’]?t matter|not sensitive to oil|oil is not critical",
)),
)  # fmt: skip

_HAZARDS: tuple[tuple[Hazard, re.Pattern[str]], ...] = (
    (Hazard.OXYGEN_RICH, words(
    r"pure oxygen|oxygen rich|oxygen enriched",
)),
    (Hazard.CORROSIVE, words(
    r"corrosive|acid (?:vapou?rs?|fumes)|hydrogen chloride|HCl|chlorine",
)),
    (Hazard.FLAMMABLE, words(
    r"flammable|inflammable|explosive atmosphere|combustible",
)),
    (Hazard.TOXIC, words(
    r"toxic|poisonous",
)),
    (Hazard.PARTICULATES, words(
    r"dust|dusty|particulates?|powders?|particles",
)),
    (Hazard.PYROPHORIC, words(
    r"pyrophoric|silane",
)),
)  # fmt: skip

_HAVE = r"(?:have|available|there is|is at hand|on site|present|exists|connected|yes|provided)"
_SUPPLIES: tuple[tuple[str, re.Pattern[str]], ...] = (
    ("utilities.cooling_water", words("(?:cooling|chilled|process) water")),
    ("utilities.three_phase", words("(?:three|3) ?phase")),
)
_IS_THERE = words(_HAVE)
_IS_NOT = words(
    r"no|not|without|lack\w*|none|only single|\w+n['’]t",
)
_SINGLE_PHASE = words(
    r"\b(?:single|one|1) phase(?: power| supply| mains)? only\b|\bonly (?:single|one|1) phase\b"
)


def phrases(sentence: Sentence) -> Iterator[Phrase]:
    """Yield what a sentence says in words."""
    text = sentence.text
    yield from _counts(text)
    yield from _kinds(text)
    yield from _hazards(text)
    yield from _supplies(text)
    yield from _ports(text)


def _number(found: re.Match[str]) -> str:
    return str(NUMBER_WORDS.get(found["count"].lower(), found["count"].replace(",", ".")))


def _counts(text: str) -> Iterator[Phrase]:
    for shape, path in ((_CYCLES, "duty.cycles_per_day"), (_DAYS, "duty.days_per_year")):
        for found in shape.finditer(text):
            yield Phrase(path, _number(found), *found.span())
    for found in _OFTEN.finditer(text):
        value = "1" if found["often"].lower() == "once" else "2"
        yield Phrase("duty.cycles_per_day", value, *found.span())
    for found in _ALWAYS.finditer(text):
        yield Phrase("duty.shift", "24 h", *found.span(), "round the clock")
        yield Phrase("duty.days_per_year", "365", *found.span(), "seven days a week")
    for found in _BENDS.finditer(text):
        yield Phrase("line.bends", _number(found), *found.span())


def _kinds(text: str) -> Iterator[Phrase]:
    for kind, shape in _APPLICATIONS:
        for found in shape.finditer(text):
            if not _NEGATED.search(text[: found.start()]):
                yield Phrase("application", kind.value, *found.span())
    for level, shape in _CLEAN:
        for found in shape.finditer(text):
            if _NOT_NEEDED.search(text[: found.start()]):
                yield Phrase(
                    "", "", *found.span(),
                    "It says what is not needed: choose how much oil vapour the work stands.",
                )  # fmt: skip
            else:
                yield Phrase("cleanliness", level.value, *found.span())


def _hazards(text: str) -> Iterator[Phrase]:
    for hazard, shape in _HAZARDS:
        for found in shape.finditer(text):
            before = text[: found.start()]
            free = re.match(r"[ -]free\b", text[found.end() :])
            if not free and not _NEGATED.search(before) and not re.search(r"\bnon-?$", before):
                yield Phrase("hazards", hazard.value, *found.span())


def _supplies(text: str) -> Iterator[Phrase]:
    for path, shape in _SUPPLIES:
        for found in shape.finditer(text):
            clause = _clause(text, *found.span())
            if _IS_NOT.search(clause):
                yield Phrase(path, "no", *found.span())
            elif _IS_THERE.search(clause):
                yield Phrase(path, "yes", *found.span())
    for found in _SINGLE_PHASE.finditer(text):
        yield Phrase("utilities.three_phase", "no", *found.span())


def _clause(text: str, start: int, end: int) -> str:
    """Return the part of a sentence between the commas and conjunctions around a place."""
    cuts = [m.span() for m in re.finditer(r"[,;:]|\b(?:but|and|although|while)\b", text)]
    left = max((stop for _, stop in cuts if stop <= start), default=0)
    right = min((begin for begin, _ in cuts if begin >= end), default=len(text))
    return text[left:right]


def _ports(text: str) -> Iterator[Phrase]:
    for found in _FLANGE.finditer(text):
        clause = _clause(text, *found.span())
        try:
            flange = parse_flange(found[0])
        except UnknownName:
            yield Phrase("", "", *found.span(), "No flange of this size is known here.")
            continue
        if _NOT_PORT.search(clause) or not _PORT_WORDS.search(text):
            reason = "It is not clear that this is the chamber’s pump port."
            yield Phrase("", "", *found.span(), reason)
        else:
            yield Phrase("chamber.port", str(flange), *found.span())
