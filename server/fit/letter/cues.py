"""Which field a quantity belongs to: the words beside it, nearest first.

A rule names a field, the words that stand for it, and what else the sentence must (or must not)
say. Rules whose field is empty mark quantities that are understood and need no field.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from server.fit.letter.mentions import Mention
from server.units import Dimension

# How far a word may stand from its quantity; another quantity between them counts as this much.
_FARTHEST = 95
_BEHIND = 12
_BETWEEN = 30


def words(*alternatives: str) -> re.Pattern[str]:
    """Return a pattern of whole words, whatever their case.

    Parameters
    ----------
    *alternatives : str
        Patterns; a blank stands for white space or a hyphen.
    """
    either = "|".join(alternatives)
    spaced = either.replace(" ?", r"[\s-]*").replace(" ", r"[\s-]+")
    return re.compile(rf"\b(?:{spaced})(?!\w)", re.IGNORECASE)


@dataclass(frozen=True)
class Rule:
    """Words that give a quantity of a dimension to a field."""

    field: str
    dimension: Dimension
    near: re.Pattern[str]
    needs: re.Pattern[str] | None = None
    """What the sentence must say somewhere."""
    head: int = 0
    """Handicap against rules of the same dimension whose words stand as near."""
    sides: str = "both"
    """``before``: the words stand before the quantity only; ``behind`` likewise."""


_PUMPING = words(
    r"pump\w*|evacuat\w*|reach\w*|get(?:s|ting)?|down to|base",
    r"from (?:air|atmospher\w*)|target|vacuum|pumpdown|achieve\w*",
)
_WITHIN = re.compile(
    r"\b(?:in|within|under|inside|after|less than|no more than|at most|max(?:imum|\.)?|<|≤)"
    r"(?:\s(?:about|around|roughly|approx\.?|ca\.?|less than|under|at most|some|max\.?|<))*\s*$",
    re.IGNORECASE,
)
_DOING = (
    r"hold\w*|kept|keep|runs?|work\w*|operat\w+|sputter\w*|coat|deposit|dry|dries|drying|distil\w*|"
    r"sublim\w*|process\w*|degas\w*"
)
_BATCH = r"runs?|batch(?:es)?|cycles?|coatings?|depositions?|process|it|drying|distillation|test"
_P, _T, _V, _L = Dimension.PRESSURE, Dimension.TIME, Dimension.VOLUME, Dimension.LENGTH

RULES: tuple[Rule, ...] = (
    Rule(
        "chamber.volume",
        _V,
        words(
            r"chambers?|vessel|recipient|volume|bell jar|oven|tank|freeze dr[yi]\w+|furnace",
            r"still|flask|load ?lock|coater|autoclave|dryer|apparatus|drum|jar|box",
        ),
    ),
    Rule(
        "target_pressure",
        _P,
        words(
            r"(?:base|target|ultimate|final|end|required|desired) (?:pressure|vacuum)|base",
            r"ultimate|target|reach\w*|from (?:air|atmosphere|\d+ \w+) to|down to",
            r"get(?:s|ting)? (?:it |us |down )*to|go(?:es)? to",
            r"pump\w*(?: it| the \w+| this)?(?: down)? to|evacuat\w+(?: \w+){0,3} to",
            r"vacuum(?: level)?(?: of)?|better than|achieve\w*|pressure to reach",
        ),
    ),
    Rule(
        "process.pressure",
        _P,
        words(
            r"(?:process|working|operating|work|deposition|coating|sputter\w*|drying) pressure",
            r"(?:distillation|plasma|treatment) pressure|(?:working|operating) (?:vacuum|point)",
            rf"(?:{_DOING})(?: \w+){{0,4}} (?:at|near|around|about|of)",
            r"process|during (?:the )?(?:process|deposition|coating|drying|run|sputtering)",
            r"at work",
        ),
    ),
    Rule(
        "",
        _P,
        words(
            r"atmospher\w*|ambient pressure|air pressure|water pressure|compressed air|from",
        ),
        sides="before",
    ),
    Rule(
        "",
        _P,
        words(
            r"cooling water|compressed air|air supply|gas supply|vapou?r pressure",
            r"water pressure|inlet pressure of the gas",
        ),
    ),
    Rule(
        "pump_down_time",
        _T,
        words(
            r"pump ?down(?: time)?|evacuation time",
            r"time to (?:get there|base|target|pressure|vacuum)|pumping time",
        ),
    ),
    Rule("pump_down_time", _T, _WITHIN, needs=_PUMPING, head=14, sides="before"),
    Rule(
        "duty.vent_time",
        _T,
        words(
            r"open(?:ed)?(?: for)?|vented|vent(?:ing)?(?: and \w+)?(?: takes)?",
            r"(?:un)?load(?:ing|ed)?(?: and \w+)?(?: takes?)?|door(?: is)? open",
        ),
    ),
    Rule(
        "duty.time_at_pressure",
        _T,
        words(
            r"(?:time )?at (?:pressure|vacuum)|under vacuum|each (?:run|batch|cycle|load)?",
            r"per (?:run|batch|cycle|load)",
            r"a (?:run|batch|cycle|deposition|coating) (?:takes|lasts|is|of)",
            rf"(?:{_BATCH})(?: \w+){{0,2}} (?:takes?|lasts?|of)",
            r"soak\w*|dwell\w*|held|hold\w*(?: \w+){0,3} for|stays? there|cycle time",
            r"batch time|process time|run time|duration",
            r"(?:run|batch|cycle|coating|process)s?:",
        ),
    ),
    Rule(
        "duty.time_at_pressure",
        _T,
        words("for"),
        needs=words(
            r"pressure|vacuum|runs?|batch\w*|cycles?|each|process|pump\w*|coat\w*",
            r"dr(?:y|ies|ying)|twice|times",
        ),
        head=10,
        sides="before",
    ),
    Rule(
        "duty.shift",
        _T,
        words(
            r"shifts?|(?:a|per|each|every) (?:working )?day|daily|/ ?day|working day",
            r"hours of operation",
        ),
    ),
    Rule(
        "",
        _T,
        words(
            r"deliver\w*|lead time|offer|quot\w+|ship\w*|warranty|guarantee|deadline|reply",
            r"answer|valid\w*|call\w*|meet\w*|ago|since|old|last",
        ),
    ),
    Rule(
        "chamber.temperature",
        Dimension.TEMPERATURE,
        words(
            r"room|ambient|lab(?:oratory)?|chamber|walls?|shel(?:f|ves)|gas temperature",
            r"temperature of the (?:gas|chamber)|oven|dryer|surroundings",
        ),
    ),
    Rule(
        "",
        Dimension.TEMPERATURE,
        words(
            r"cooling water|chilled water|bake[sd]?|bak(?:e ?out|ing)|crucible|hot zone",
            r"substrates?|heater|condenser|sinter\w*|braz\w*|anneal\w*",
        ),
    ),
    Rule("chamber.leak_rate", Dimension.THROUGHPUT, words(r"leak\w*(?: rate)?")),
    Rule(
        "utilities.mains_voltage",
        Dimension.VOLTAGE,
        words(
            r"mains|supply|power|outlets?|sockets?|single phase|1 phase|plug|line voltage",
            r"three phase|3 phase|electric\w*|voltage|have",
        ),
    ),
    Rule(
        "line.length",
        _L,
        words(
            r"line|tube|pipe|duct|connection|hose|manifold|long|length",
        ),
        needs=words(
            r"line|fore ?line|tube|pipe|duct|hose|manifold",
        ),
    ),
    Rule(
        "line.bore",
        _L,
        words(
            r"bore|inner diameter|i\.?d\.?|inside diameter|diameter|dia\.?|wide|clear width",
            r"across",
        ),
        needs=words(
            r"line|fore ?line|tube|pipe|duct|hose|manifold",
        ),
    ),
)

ROUGH_LINE = words(
    r"rough(?:ing)? (?:line|pipe|tube|hose)|line to the (?:backing|roughing) pump",
)
FORELINE = words(
    r"fore ?line|fore vacuum line|backing line",
)


def best_rule(text: str, mention: Mention, others: Sequence[Mention]) -> Rule | None:
    """Return the rule whose words stand nearest to a quantity, None where none applies.

    Parameters
    ----------
    text : str
        The sentence.
    mention : Mention
        The quantity.
    others : sequence of Mention
        All quantities of the sentence: words beyond one of them count as farther away.
    """
    best: tuple[int, int] | None = None
    chosen = None
    for order, rule in enumerate(RULES):
        if rule.dimension is not mention.dimension:
            continue
        if rule.needs is not None and not rule.needs.search(text):
            continue
        distance = _nearest(rule, text, mention, others)
        if distance is not None and (best is None or (distance, order) < best):
            best, chosen = (distance, order), rule
    return chosen


def _nearest(rule: Rule, text: str, mention: Mention, others: Sequence[Mention]) -> int | None:
    left, right = text[: mention.start], text[mention.end :]
    found: list[int] = []
    if rule.sides != "behind":
        anchored = rule.near.pattern.endswith(r"\s*$")
        for cue in rule.near.finditer(left) if not anchored else _last(rule, left):
            between = sum(cue.end() <= o.start < mention.start for o in others)
            apart = 0 if anchored else mention.start - cue.end()
            found.append(apart + between * _BETWEEN + _stops(left[cue.end() :]))
    if rule.sides != "before":
        for cue in rule.near.finditer(right):
            at = mention.end + cue.start()
            between = sum(mention.end <= o.start < at for o in others)
            found.append(cue.start() + _BEHIND + between * _BETWEEN + _stops(right[: cue.start()]))
    near = [distance + rule.head for distance in found if distance <= _FARTHEST]
    return min(near, default=None)


def _last(rule: Rule, left: str) -> list[re.Match[str]]:
    found = rule.near.search(left[-60:])
    return [found] if found else []


def _stops(between: str) -> int:
    """Return what commas and the like between a word and a quantity count for."""
    return 15 * len(re.findall(r"[,;](?=\s)|\band\b|\(|\)", between))
