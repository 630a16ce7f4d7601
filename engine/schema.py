"""JSON Schema over our documents: every violation with its place, the nearest known key, and no jargon."""

from __future__ import annotations

import json
import re
from decimal import Decimal
from functools import cache
from itertools import repeat
from typing import Any

from .diagnostics import Problems, hint
from .documents import Document
from .resources import packaged

FOLDER = "schema"


@cache
def schema_of(name: str) -> dict[str, Any]:
    """A shipped schema by name."""
    data: dict[str, Any] = json.loads(packaged("rulesets", FOLDER, f"{name}.json").read_text("utf-8"))
    return data


@cache
def _validator(name: str) -> Any:
    from jsonschema import Draft202012Validator

    return Draft202012Validator(schema_of(name))


def validate(document: Document, name: str, problems: Problems) -> bool:
    """Check a document against a shipped schema; True when nothing is wrong."""
    before = len(problems)
    errors = [_deepest(error) for error in _validator(name).iter_errors(document.data)]
    unclear = [error.absolute_path for error in errors if error.validator == "oneOf"]
    for error in errors:
        if error.validator == "oneOf" or error.absolute_path not in unclear:
            _report(document, error, problems)
    return len(problems) == before


def alike(name: str, before: Any, after: Any) -> bool:
    """Whether two documents differ in figures and texts only, and in none that the schema could tell apart.

    Figures are whole numbers, or decimals as the bytes of their text.
    """
    if before.__class__ is not after.__class__:
        return False
    if before.__class__ is dict:
        return before.keys() == after.keys() and all(alike(name, before[key], after[key]) for key in before)
    if before.__class__ is list:
        return len(before) == len(after) and all(map(alike, repeat(name), before, after))
    return bool(before == after) or _seen(name, before) == _seen(name, after)


def _seen(name: str, value: Any) -> Any:
    """All that a schema sees of a figure or a text beside its type."""
    told = _asked(name)
    if isinstance(value, str):
        return value if value in told["words"] else [bool(re.search(one, value)) for one in told["patterns"]]
    figure = Decimal(value if isinstance(value, int) else value.decode())
    return [(figure > bound, figure < bound) for bound in told["bounds"]]


ASKED = {"const": "words", "enum": "words", "pattern": "patterns"} | dict.fromkeys(
    ("minimum", "exclusiveMinimum", "maximum", "exclusiveMaximum"), "bounds"
)
"""By which keywords a schema tells one value from another, beside its type."""


@cache
def _asked(name: str) -> dict[str, set[Any]]:
    """Every word, pattern and bound of a schema."""
    found: dict[str, set[Any]] = {kind: set() for kind in ASKED.values()}
    waiting: list[Any] = [schema_of(name)]
    while waiting:
        part = waiting.pop()
        waiting += part.values() if isinstance(part, dict) else part if isinstance(part, list) else ()
        for key, value in part.items() if isinstance(part, dict) else ():
            if key in ASKED and not isinstance(value, dict):
                found[ASKED[key]].update(value if isinstance(value, list) else [value])
    return found


def _deepest(error: Any) -> Any:
    """Of several alternatives that all failed, the complaint that got furthest."""
    while error.validator in ("anyOf", "oneOf") and error.context:
        here = [inner for inner in error.context if inner.absolute_path == error.absolute_path]
        if all(inner.validator == "required" for inner in here) and len(here) == len(error.context):
            return error
        deepest = max(error.context, key=lambda inner: (len(inner.absolute_path), inner.validator != "type"))
        if len(deepest.absolute_path) == len(error.absolute_path) and deepest.validator == "type":
            return error
        error = deepest
    return error


def _report(document: Document, error: Any, problems: Problems) -> None:
    path = tuple(error.absolute_path)
    span = document.span(path)
    if error.validator == "additionalProperties":
        known = list(error.schema.get("properties", {}))
        for key in error.instance:
            if key not in known:
                fault = "unknown-key" if error.instance[key] is not None else "unknown-key-without-value"
                near = hint(str(key), known)
                problems.add(fault, document.key_span((*path, key)), key=key, nearest=near)
    elif error.validator == "required":
        for key in error.validator_value:
            if key not in error.instance:
                problems.add("key-missing", span, key=key, place=_name(path))
    elif error.validator == "enum":
        allowed = ", ".join(map(str, error.validator_value))
        problems.add("not-allowed-here", span, value=_short(error.instance), allowed=allowed)
    elif error.validator == "const":
        problems.add("not-allowed-here", span, value=_short(error.instance), allowed=error.validator_value)
    elif error.validator in ("type", "anyOf"):
        problems.add("wrong-shape", span, place=_name(path), expected=_wanted(error))
    elif error.validator == "oneOf":
        choices = ", ".join(option["required"][0] for option in error.validator_value)
        problems.add("one-of-keys", span, keys=choices)
    elif error.validator == "pattern" and "description" in error.schema:
        wanted = error.schema["description"]
        problems.add("not-allowed-here", span, value=_short(error.instance), allowed=wanted)
    elif error.validator == "pattern":
        problems.add("bad-pattern", span, value=_short(error.instance), pattern=error.validator_value)
    else:
        problems.add("wrong-shape", span, place=_name(path), expected=error.message)


_WORDS = {
    "object": "a mapping",
    "array": "a list",
    "string": "text",
    "number": "a number",
    "integer": "a whole number",
    "null": "nothing",
}


def _wanted(error: Any) -> str:
    types: list[str] = []
    options = error.validator_value if error.validator == "anyOf" else [{"type": error.validator_value}]
    for option in options:
        option = (
            error.schema.get("$defs", {}).get(option["$ref"].rsplit("/", 1)[-1], {})
            if "$ref" in option
            else option
        )
        found = option.get("type", "something else")
        types += found if isinstance(found, list) else [found]
    return " or ".join(dict.fromkeys(_WORDS.get(type, type) for type in types))


def _name(path: tuple[Any, ...]) -> str:
    return ".".join(map(str, path)) or "the file"


def _short(value: Any) -> str:
    text = str(value)
    return text if len(text) <= 60 else text[:57] + "..."
