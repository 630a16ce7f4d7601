"""A JSON Schema of the projects of a book, made from its fields: what an editor completes and checks.

It knows names, words and the look of a quantity. Which unit is of which kind, ranges and whether a thing
that is named exists, only reading the project can say.
"""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from typing import Any

from .rulebook import Attribute, Rulebook
from .source import FORMAT, SELECTORS

Schema = dict[str, Any]

TEXT: Schema = {"type": ["string", "number"]}
WORDS: Schema = {"type": "string"}
NUMBER = r"[-+\u2212]?((\d+ +)?\d+/\d+|\d+(\.\d+)?|\.\d+)"
PLAIN = rf"^\s*{NUMBER}\s*$"
QUANTITY = rf"^\s*{NUMBER}\s*[^\d\s./,]\S*\s*$"


def project_schema(rulebook: Rulebook) -> Schema:
    """The schema of a project under this book (JSON Schema 2020-12)."""
    layers = rulebook.frozen["layers"]
    sections: dict[str, Schema] = {}
    kinds: dict[str, Schema] = {}
    for kind, body in rulebook.kinds.items():
        kinds[kind] = _thing(rulebook, kind)
        if "within" in body:
            continue
        reference = {"$ref": f"#/$defs/{kind}"}
        many = {"type": ["object", "null"], "additionalProperties": reference}
        sections[str(body.get("section", kind))] = reference if rulebook.only(kind) else many
    readings = {
        name: _described({"enum": [*reading["options"]]}, str(reading["question"]))
        for name, reading in rulebook.frozen["readings"].items()
    }
    properties = {
        "gaugebook": {"const": FORMAT},
        "title": TEXT,
        "note": TEXT,
        "layouts": {
            "type": ["object", "null"],
            "description": "alternatives, each a JSON Merge Patch (RFC 7396) of the project",
            "additionalProperties": {"type": ["object", "null"]},
        },
        "readings": {"type": ["object", "null"], "properties": readings, "additionalProperties": False},
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"{FORMAT} under {'+'.join(layer['id'] for layer in layers)}",
        **_closed(properties | sections, ["gaugebook"]),
        "$defs": kinds,
    }


def _closed(properties: dict[str, Schema], required: list[str], null: bool = False) -> Schema:
    made: Schema = {"type": ["object", "null"] if null else "object", "properties": properties}
    if required:
        made["required"] = required
    return made | {"additionalProperties": False}


def _described(schema: Schema, text: str | None) -> Schema:
    return schema | {"description": text} if text else schema


def _thing(rulebook: Rulebook, kind: str) -> Schema:
    """One thing of a kind: its fields, each where a project states it, and the lists of what lies within."""
    only = rulebook.only(kind)
    tree: dict[str, Any] = {}
    for attribute in rulebook.attributes[kind].values():
        if attribute.field is not None:
            group = tree
            for step in attribute.steps[:-1]:
                group = group.setdefault(step, {})
            group[attribute.steps[-1]] = attribute
    made = _group(rulebook, tree)
    for inner, body in rulebook.kinds.items():
        if body.get("within") == kind:
            section = str(body.get("section", inner))
            made["properties"][section] = {"type": ["array", "null"], "items": {"$ref": f"#/$defs/{inner}"}}
    if only:
        made["properties"] |= {name: {"type": ["string", "array"], "items": WORDS} for name in SELECTORS}
    return _described(made, rulebook.kinds[kind].get("title"))


def _group(rulebook: Rulebook, tree: dict[str, Any]) -> Schema:
    properties: dict[str, Schema] = {}
    required = []
    for name, part in tree.items():
        if isinstance(part, Attribute):
            properties[name] = _field(rulebook, part)
            needed = (part.field or {}).get("required") == "yes"
        else:
            properties[name] = _group(rulebook, part)
            needed = "required" in properties[name]
        required += [name] * needed
    return _closed(properties, required, null=not required)


def _field(rulebook: Rulebook, attribute: Attribute) -> Schema:
    field = attribute.field or {}
    entry = rulebook.entries.get(str(field.get("entry", attribute.entry)), {})
    said = [str(field.get("ask") or entry.get("title") or "")]
    if attribute.unit is not None and attribute.unit.text != "1":
        said.append(f"in {attribute.unit.text} or another unit of its kind")
    said += [f"at {word} {field[word]}" for word in ("least", "most") if word in field]
    made = _described(_type(rulebook, attribute), "; ".join(part for part in said if part))
    return made | {"default": str(field["default"])} if "default" in field else made


def _type(rulebook: Rulebook, attribute: Attribute) -> Schema:
    if attribute.sort == "thing":
        return {"type": ["string", "number", "null"]}
    if attribute.sort == "things":
        return {"type": ["array", "string", "number", "null"], "items": TEXT}
    if attribute.unit is not None:
        plain = attribute.unit.text == "1"
        pattern = f"{PLAIN}|{QUANTITY}" if plain else QUANTITY
        return {"type": ["string", "null", *(["number"] if plain else [])], "pattern": pattern}
    if attribute.sort == "truth":
        return {"enum": ["yes", "no", None]}
    if attribute.sort == "word":
        return {"enum": [*_spellings(rulebook.frozen["terms"][attribute.detail]), None]}
    if attribute.sort == "member":
        return {"enum": [*_spellings(rulebook.frozen["series"][attribute.detail]["labels"]), None]}
    return {"type": ["string", "number", "null"]}


def _spellings(words: list[str]) -> list[Any]:
    """The words, and beside a word that is a number the number a reader of YAML makes of it."""
    made: list[Any] = []
    for word in words:
        made.append(word)
        try:
            number = Decimal(word)
        except InvalidOperation:
            continue
        if number.is_finite():
            made.append(int(number) if number == int(number) else float(number))
    return made
