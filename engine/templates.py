"""Texts with values in them, as a book's sheet declares them: `{attribute}`, `{link.attribute}`, `{name}`.

A piece of text of which one attribute has no value is left out, so a book lists the pieces that may apply.
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

from .documents import as_list
from .evaluating import Thing
from .results import plain, unit_text
from .rulebook import Attribute
from .runtime import Absent
from .shown import shown, spoken

FIELD = re.compile(r"\{([^{}]*)\}")
NAME = "name"
"""What a thing is called; every thing has it."""

MANY = 6
"""More values in one place than these are not listed."""

Body = dict[str, Any]


def values(thing: Thing, path: str) -> list[tuple[Any, Attribute | None]]:
    """What a path leads to from a thing, each value once, with the attribute it is a value of.

    Raises `Absent` where a value is wanting.
    """
    found: list[tuple[Any, Attribute | None]] = [(thing, None)]
    for step in path.split("."):
        reached: dict[Any, Attribute | None] = {}
        for owner, _ in found:
            attribute = owner.run.rulebook.attributes[owner.kind].get(step)
            if attribute is None and step == NAME:
                reached[owner.name] = None
                continue
            value = owner.get(step)
            reached.update((one, attribute) for one in as_list(value))
        found = list(reached.items())
    return found


def short(thing: Thing) -> str:
    """What a thing is called where its kind is clear: `east`, and `east, run 2` for what is part of it."""
    if thing.parent is None:
        return thing.name
    place = re.search(r"\[(\d+)\]$", thing.name)
    part = f"{_title_of_kind(thing).lower()} {int(place[1]) + 1}" if place else thing.name
    return f"{short(thing.parent)}, {part}"


def called(thing: Thing) -> str:
    """What a reader calls a thing: `Rope east, run 2`; the one thing of its kind by the kind."""
    if thing.run.rulebook.only(thing.kind):
        return _title_of_kind(thing)
    outermost = thing
    while outermost.parent is not None:
        outermost = outermost.parent
    return f"{_title_of_kind(outermost)} {short(thing)}"


def _title_of_kind(thing: Thing) -> str:
    title = str(thing.run.rulebook.kinds[thing.kind].get("title") or spoken(thing.kind))
    return title[:1].upper() + title[1:]


def number(thing: Thing, path: str) -> Decimal | None:
    """A number in base units; None where there is none."""
    try:
        found = values(thing, path)
    except Absent:
        return None
    return found[0][0] if found and isinstance(found[0][0], Decimal) else None


def text_of(value: Any, attribute: Attribute | None) -> str:
    """A value for reading."""
    if isinstance(value, Thing):
        return value.name
    unit = attribute.unit if attribute is not None else None
    text = shown(plain(value, unit), unit_text(unit))
    return spoken(text) if attribute is not None and attribute.sort == "word" else text


def fill(thing: Thing, template: str) -> str | None:
    """The text with the values in it; None where one is wanting. Raises `Absent` if it is undetermined."""
    parts: list[str] = []
    at = 0
    for match in FIELD.finditer(template):
        try:
            found = values(thing, match[1])
        except Absent as absent:
            if absent.void:
                return None
            raise
        if not found:
            return None
        parts += [template[at : match.start()], several([text_of(*one) for one in found])]
        at = match.end()
    return "".join([*parts, template[at:]])


def several(texts: list[str]) -> str:
    """The texts one after another; of many only the first and the last, and how many there are."""
    return f"{texts[0]} … {texts[-1]} ({len(texts)})" if len(texts) > MANY else ", ".join(texts)


def pieces(thing: Thing, templates: Any) -> list[str]:
    """The pieces of text that apply to a thing and have all their values."""
    made, _ = told(thing, templates)
    return made


def told(thing: Thing, templates: Any) -> tuple[list[str], bool]:
    """The pieces that apply, and whether one was left out because a value of it is undetermined."""
    made: list[str] = []
    undetermined = False
    for template in as_list(templates):
        body = template if isinstance(template, dict) else {"text": template}
        try:
            text = fill(thing, str(body["text"])) if holds(thing, body.get("where")) else None
        except Absent:
            undetermined = True
            continue
        if text is not None:
            made.append(text)
    return made, undetermined


def holds(thing: Thing, where: Body | None) -> bool:
    """Whether every attribute named has one of its words; one without a value has none."""
    for path, words in (where or {}).items():
        try:
            found = values(thing, path)
        except Absent:
            return False
        known = {text if isinstance(text, str) else text_of(text, attribute) for text, attribute in found}
        if not known & {str(word) for word in as_list(words)}:
            return False
    return True
