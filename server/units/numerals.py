"""Numbers as people type them: decimal commas, powers of ten, fractions."""

from __future__ import annotations

import re

LONGEST = 100  # no quantity needs more characters

_SUPERSCRIPTS = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻", "0123456789+-")
_CHARACTERS = str.maketrans(
    {
        **dict.fromkeys("−–\u2010\u2011", "-"),
        **dict.fromkeys("·⋅∙•", "*"),
        **dict.fromkeys("µμ", "u"),
        **dict.fromkeys("\u00a0\u2009\u202f\t\n\r", " "),
        **dict.fromkeys("\u2032’", "'"),
        **dict.fromkeys("\u2033”", '"'),
        "×": "x",
        "°": "deg",
        "℃": "degC",
        "℉": "degF",
        "½": " 1/2",
        "¼": " 1/4",
        "¾": " 3/4",
    }
)
_TEN = r"10\s*(?:\^|\*\*)\s*(?P<ten>[+-]?[0-9]+)"
_FRACTION = r"(?:(?P<whole>[0-9]+)[ -]+)?(?P<top>[0-9]+)/(?P<bottom>[0-9]+)(?![0-9.,])"
_MANTISSA = r"(?P<mantissa>[0-9]{1,3}(?: [0-9]{3})+(?:[.,][0-9]+)?(?![0-9.,])|[.,]?[0-9][0-9.,]*)"
_POWER = (
    r"(?:[eE](?P<e>[+-]?[0-9]+)"
    r"|\s*[xX*]\s*10\s*(?:\^|\*\*)\s*(?P<raised>[+-]?[0-9]+)"
    r"|\s*[xX*]\s*10(?P<signed>[+-][0-9]+))?"
)
_NUMBER = re.compile(rf"\s*(?P<sign>[+-]?)\s*(?:{_TEN}|{_FRACTION}|{_MANTISSA}{_POWER})")
_RANGE = re.compile(r"\s*(?:-|to\b|\.\.|/)\s*[0-9]")
_LOOSE_POWER = re.compile(r"[xX*] ?10")
_SECOND_NUMBER = re.compile(r"[0-9](?!/[A-Za-z])")
_NOT_ZERO = re.compile(r"[0.]*[1-9]")
_EITHER_WAY = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
_ONE_MARK = re.compile(r"[0-9]*[.,]?[0-9]+|[0-9]+\.")
_THOUSANDS = re.compile(r"[0-9]{1,3}(?:,[0-9]{3})+(?:\.[0-9]+)?")
_THOUSANDS_POINTED = re.compile(r"[0-9]{1,3}(?:\.[0-9]{3})+(?:,[0-9]+)?")


class NumberProblem(ValueError):
    """A number that cannot be read; the message is a sentence for the user."""


def clean(text: str) -> str:
    """Return typed text with one spelling for each sign.

    Parameters
    ----------
    text : str
        As typed.

    Returns
    -------
    str
        Superscripts as ``^3``, one minus, one multiplication sign, ``u`` for micro, ``deg`` for
        the degree sign, single spaces.
    """
    if text.isascii() and text.isprintable() and "  " not in text:
        return text.strip()  # nothing in it has a second spelling
    raised = re.sub(r"[⁺⁻]?[⁰¹²³⁴⁵⁶⁷⁸⁹]+", lambda m: "^" + m[0].translate(_SUPERSCRIPTS), text)
    return re.sub(r" +", " ", raised.translate(_CHARACTERS)).strip()


def read_number(text: str) -> tuple[float, str]:
    """Return the number that a cleaned text begins with, and what follows it.

    Parameters
    ----------
    text : str
        Cleaned by `clean`.

    Returns
    -------
    number : float
        The value.
    rest : str
        The unit, not yet read; may be empty.

    Raises
    ------
    NumberProblem
        When there is no number, or more than one meaning.
    """
    match = _NUMBER.match(text)
    if match is None:
        raise NumberProblem("A number with a unit is wanted.")
    rest = text[match.end() :].strip()
    if _RANGE.match(text[match.end() :]):
        raise NumberProblem("One value is wanted, not a range.")
    if _LOOSE_POWER.match(rest):
        raise NumberProblem("A power of ten is written as 2e-5 or 2x10^-5.")
    if _SECOND_NUMBER.match(rest) or rest[:1] in {".", ",", "^", ":"}:
        raise NumberProblem(f"“{text}” is not one number with a unit.")
    size = _size(match)
    return (-size if match["sign"] == "-" else size), rest


def _size(match: re.Match[str]) -> float:
    if match["ten"] is not None:
        return _finite(f"1e{match['ten']}")
    if match["top"] is not None:
        if int(match["bottom"]) == 0:
            raise NumberProblem("A fraction cannot have 0 below the line.")
        return int(match["whole"] or 0) + int(match["top"]) / int(match["bottom"])
    power = match["e"] or match["raised"] or match["signed"] or "0"
    return _finite(f"{_with_point(match['mantissa'])}e{power}")


def _finite(text: str) -> float:
    number = float(text)
    if number == float("inf"):
        raise NumberProblem("That number is too large to be meant.")
    if number == 0 and _NOT_ZERO.match(text):
        raise NumberProblem("That number is too small to be meant.")
    return number


def _with_point(mantissa: str) -> str:
    """Return a mantissa with a decimal point and no thousands separators, or refuse to guess."""
    digits = mantissa.replace(" ", "")
    if _EITHER_WAY.fullmatch(digits):
        plain = digits.replace(",", "")
        pointed = digits.replace(",", ".")
        raise NumberProblem(f"“{mantissa}” may mean {plain} or {pointed}: write the one you mean.")
    if _ONE_MARK.fullmatch(digits):
        return digits.replace(",", ".")
    if _THOUSANDS.fullmatch(digits):
        return digits.replace(",", "")
    if _THOUSANDS_POINTED.fullmatch(digits):
        return digits.replace(".", "").replace(",", ".")
    raise NumberProblem(f"“{mantissa}” is not a number.")
