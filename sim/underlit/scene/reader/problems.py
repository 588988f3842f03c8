"""Turn pydantic's findings into lines for people."""

from __future__ import annotations

import re
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from underlit.scene.keys import keys_at
from underlit.scene.reader.entries import FROM, may_refer
from underlit.text.problem import KeyPath, Problem, shown
from underlit.text.suggest import did_you_mean

_PLAIN = {
    "float_type": "must be a number",
    "int_type": "must be a whole number",
    "int_from_float": "must be a whole number",
    "string_type": "must be a text",
    "bool_type": "must be true or false",
    "tuple_type": "must be a list in [ ]",
    "finite_number": "must be finite",
    "model_type": "must be a table of keys",
    "model_attributes_type": "must be a table of keys",
    "dict_type": "must be a table of keys",
    "path_type": "must be the name of a file",
    "is_instance_of": "must be the name of a file",
    "string_too_short": "must not be empty",
}
_NUMBER_IN_TEXT = re.compile(r"\s*([+-]?\d+(?:[.,]\d+)?)\s*(%?)\s*")


def problems_of(error: ValidationError) -> list[Problem]:
    """Every finding as a problem with its key path, without places."""
    listed = error.errors(include_url=False)
    # A default that could not be made follows from another problem.
    return [_problem(details) for details in listed if details["type"] != "default_factory_not_called"]


def _problem(details: ErrorDetails) -> Problem:
    key: KeyPath = tuple(details["loc"])
    context: dict[str, Any] = details.get("ctx", {})
    got = details.get("input")
    kind = details["type"]
    if kind == "scene":
        key = (*key, context["key"]) if context["key"] else key
        value = context["got"] if context["got"] is not None else _inside(got, context["key"])
        return Problem(_with_got(context["message"], value), key)
    if kind == "missing":
        if isinstance(key[-1], int):
            return Problem(f"has too few values: value {key[-1] + 1} is missing", key[:-1])
        return Problem("is missing", key)
    if kind == "extra_forbidden":
        table = key[:-1]
        known = [*keys_at(table), FROM] if may_refer(table) else keys_at(table)
        return Problem(f"unknown key{did_you_mean(str(key[-1]), known)}", key)
    if kind in ("enum", "literal_error"):
        choices = _choices(context["expected"])
        hint = did_you_mean(got, choices) if isinstance(got, str) else f"; known: {', '.join(choices)}"
        return Problem(_with_got(f"not a known word{hint}", got), key)
    hint = _number_meant(got) if kind in ("float_type", "int_type") else ""
    return Problem(_with_got(_said(kind, context, details["msg"]) + hint, got), key)


def _said(kind: str, context: dict[str, Any], message: str) -> str:
    if kind in _PLAIN:
        return _PLAIN[kind]
    bounds = {
        "greater_than": ("gt", "must be more than"),
        "greater_than_equal": ("ge", "must be at least"),
        "less_than": ("lt", "must be less than"),
        "less_than_equal": ("le", "must be at most"),
    }
    if kind in bounds:
        name, words = bounds[kind]
        return f"{words} {context[name]:g}"
    if kind == "too_long":
        return f"has too many values: give {context['max_length']}, not {context['actual_length']}"
    if kind == "too_short":
        return f"needs at least {context['min_length']} values"
    if kind == "string_pattern_mismatch":
        return f"must be {context['pattern'].strip('^$()').replace('|', ' or ')}"
    if kind == "value_error":
        return str(context.get("error", message))
    return message[:1].lower() + message[1:]


def _number_meant(got: object) -> str:
    """What to write for a number that stands in a text."""
    match = _NUMBER_IN_TEXT.fullmatch(got) if isinstance(got, str) else None
    if match is None:
        return ""
    number = match[1].replace(",", ".")
    return f": write {float(number) / 100:g}" if match[2] else f": write {number}, without quotes"


def _with_got(message: str, got: object) -> str:
    if got is None or isinstance(got, (dict, BaseModel)):
        return message
    return f"{message} (got {shown(got)})"


def _inside(table: object, key: str) -> object:
    value = table.get(key) if isinstance(table, dict) and key else None
    return value if isinstance(value, (str, int, float, bool, list)) else None


def _choices(expected: str) -> list[str]:
    return [word.strip().strip("'") for word in expected.replace(" or ", ", ").split(", ")]
