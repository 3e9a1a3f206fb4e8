"""From a failed check of a request to faults a person can act on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from server.errors import Fault

LONGEST_SHOWN = 100

_OBJECT = "a group of named fields"
_SENTENCES: dict[str, tuple[str, str]] = {
    "missing": ("This is needed.", ""),
    "extra_forbidden": ("There is no such field.", "only the fields of the documentation"),
    "model_type": ("A group of fields is wanted here.", _OBJECT),
    "model_attributes_type": ("A group of fields is wanted here.", _OBJECT),
    "dict_type": ("A group of fields is wanted here.", _OBJECT),
    "list_type": ("A list is wanted here.", "a list, such as []"),
    "set_type": ("A list is wanted here.", "a list, such as []"),
    "frozen_set_type": ("A list is wanted here.", "a list, such as []"),
    "int_type": ("A whole number is wanted here.", "a whole number"),
    "int_parsing": ("A whole number is wanted here.", "a whole number"),
    "int_parsing_size": ("This number is too large.", "a smaller whole number"),
    "int_from_float": ("A whole number is wanted here.", "a whole number"),
    "bool_type": ("Yes or no is wanted here.", "true or false"),
    "bool_parsing": ("Yes or no is wanted here.", "true or false"),
    "string_type": ("Text is wanted here.", "text"),
    "string_unicode": ("This text holds characters that cannot be printed.", "plain text"),
    "finite_number": ("This is not a finite number.", "a finite number"),
    "json_invalid": ("The body is not JSON.", "a JSON object"),
}


def faults_of(errors: Iterable[Mapping[str, Any]], skip: int = 0) -> tuple[Fault, ...]:
    """Return one fault per error that pydantic found, without ``skip`` leading path steps."""
    return tuple(_fault(error, tuple(error["loc"])[skip:]) for error in errors)


def shown(value: object) -> str:
    """Return what was typed, short enough to print back and free of what cannot be encoded."""
    if value is None or isinstance(value, Mapping | list | tuple | bytes):
        return ""
    try:
        text = str(value)
    except ValueError:  # an integer of thousands of digits has no text
        return "a number with thousands of digits"
    text = text.encode("utf-8", "replace").decode("utf-8")
    return text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 1] + "…"


def _fault(error: Mapping[str, Any], path: Sequence[object]) -> Fault:
    context = error.get("ctx") or {}
    kind = error["type"]
    typed = "" if kind == "missing" else shown(error.get("input"))
    if kind == "json_invalid":
        return Fault("", "", *_SENTENCES[kind])
    return Fault(
        shown(".".join(str(step) for step in path)), typed, *_sentence(kind, context, error)
    )


def _sentence(kind: str, context: Mapping[str, Any], error: Mapping[str, Any]) -> tuple[str, str]:
    if kind == "fault":
        return str(context["message"]), str(context["accepted"])
    if kind in {"enum", "literal_error"}:
        return "This is not one of the choices.", str(context["expected"])
    if kind in {"greater_than_equal", "greater_than", "less_than_equal", "less_than"}:
        bound = next(str(context[key]) for key in ("ge", "gt", "le", "lt") if key in context)
        words = kind.replace("_", " ").replace("than equal", "than or equal to")
        return f"The number must be {words} {bound}.", f"a number {words} {bound}"
    if kind == "too_long":
        most = context.get("max_length")
        return f"The list has more than {most} entries.", f"up to {most} entries"
    return _SENTENCES.get(kind, (f"{error['msg']}.", ""))
