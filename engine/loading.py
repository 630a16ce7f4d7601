"""Ruleset files to layers: every problem of every file reported together."""

from __future__ import annotations

import os
from collections.abc import Iterator
from decimal import Decimal
from functools import cache, lru_cache, partial
from pathlib import Path as FilePath
from typing import Any

from .diagnostics import Problems, Span
from .digests import sha256
from .documents import Document, Memory, read_shipped
from .documents import as_list as as_list
from .documents import plain as plain
from .entries import LABEL, SECTIONS, Citation, Entry, Layer, Operation, Path, Place
from .reckoning import events_of, settle_days
from .schema import alike, validate
from .shelf import MOST_FILES, ruleset_files
from .units import Units

OPERATIONS = (
    "set",
    "add",
    "replace",
    "remove",
    "recite",
    "except",
    "alternative",
    "allow",
    "forbid",
    "substitute",
    "borrow",
    "retire",
)
TEXT = "text"
"""The target of an operation that changes wording wherever it stands."""


def load_layer(place: FilePath, problems: Problems) -> Layer | None:
    """Read one ruleset.

    Problems go to `problems`; None comes back when not even a header could be read.
    """
    files = [FilePath(file) for file in ruleset_files(place)]
    documents: list[Document] = []
    memory = Memory(os.path.abspath(place))
    digest = sha256()
    if len(files) > MOST_FILES:
        problems.add("too-many-files", Span(str(files[0]), 1, 1, 1, 1), limit=MOST_FILES)
        return None
    for path in files:
        if path.exists() and not path.is_file():
            problems.add("no-regular-file", Span(str(path), 1, 1, 1, 1))
            continue
        document = memory.read(path, problems)
        if document is None:
            continue
        digest.update(os.fsencode(path.name) + b"\0" + document.text.encode() + b"\0")
        part = "ruleset" if path == files[0] else "part"
        if memory.sound(path, part, partial(validate, document, part, problems), partial(alike, part)):
            documents.append(document)
    memory.keep()
    if not documents or not isinstance(documents[0].data, dict) or "id" not in documents[0].data:
        return None
    aside = (*SECTIONS, "amend")
    header = {key: plain(value) for key, value in documents[0].data.items() if key not in aside}
    layer = Layer(str(header["id"]), header, Place(documents[0], ()), [], [], "sha256:" + digest.hexdigest())
    for document in documents:
        layer.entries.extend(entries_of(document, layer.id, problems))
        layer.operations.extend(operations_of(document))
    events = events_of(header, layer.place, problems)
    for at, body in [(layer.place, header), *((part.place, part.body) for part in layer.operations)]:
        settle_days(body.get("in_force") or {}, events, at.below("in_force"), problems)
    seen: dict[str, Entry] = {}
    for entry in layer.entries:
        if entry.id in seen:
            problems.add("entry-given-twice", entry.place().key_span(), entry=entry.id)
        seen.setdefault(entry.id, entry)
    layer.entries = list(seen.values())
    return layer


def entries_of(document: Document, layer: str, problems: Problems) -> Iterator[Entry]:
    """The entries of one file."""
    for section in SECTIONS:
        for name, raw in (document.data.get(section) or {}).items():
            body = plain(raw)
            place = Place(document, (section, name))
            if not isinstance(body, dict):
                body = {"is": body}
            _rows_once(f"{section}/{name}", raw, place, problems)
            yield new_entry(section, str(name), body, layer, {(): place})


def _rows_once(entry: str, raw: Any, place: Place, problems: Problems) -> None:
    """Two rows whose keys are one number written in two ways would hide each other."""
    seen: set[str] = set()
    rows = raw.get("rows") if isinstance(raw, dict) else None
    for key in rows or {}:
        text = key_text(key)
        if text in seen:
            problems.add("row-twice", place.below("rows").key_span(), table=entry, row=text)
        seen.add(text)


def new_entry(section: str, name: str, body: dict[str, Any], layer: str, places: dict[Path, Place]) -> Entry:
    """An entry whose own `cites` are taken out of its body, with the `document` that they name, if any."""
    body = dict(body)
    document = str(body.pop("document")) if "document" in body else None
    cites = [Citation(layer, str(clause), document) for clause in as_list(body.pop("cites", None))]
    if section == "tables":
        body = canonical_table(body)
    return Entry(section, name, body, layer, cites, places, document=document)


def operations_of(document: Document) -> Iterator[Operation]:
    """The items of the file's `amend` list, each with one target."""
    for index, raw in enumerate(document.data.get("amend") or []):
        place = Place(document, ("amend", index))
        body = plain(raw)
        kind = next(name for name in OPERATIONS if name in body)
        target = body.pop(kind)
        if kind == "recite":
            for name, clause in target.items():
                yield Operation(kind, str(name), {**body, "cites": clause}, place.below("recite", name))
        elif kind == "substitute":
            yield Operation(kind, TEXT, {**body, "words": target}, place)
        elif kind == "borrow":
            yield Operation(kind, str(body.get("as", target)), {**body, "entry": str(target)}, place)
        elif isinstance(target, dict):
            yield Operation(kind, f"{LABEL}{target['label']}", body, place)
        else:
            for one in as_list(target):
                yield Operation(kind, str(one), body, place)


def key_text(value: Any) -> str:
    """A table key in one spelling: 30, 30.0 and "30" are the same row."""
    return _spelt(str(value).strip())


@lru_cache(4096)
def _spelt(text: str) -> str:
    try:
        number = Decimal(text)
    except ArithmeticError:
        return text
    if not number.is_finite():
        return text
    return format(number.normalize(), "f")


def canonical_table(body: dict[str, Any]) -> dict[str, Any]:
    """Keys, columns and cells as text, one spelling each; a row is always a list of cells."""
    body = dict(body)
    if isinstance(body.get("rows"), dict):
        body["rows"] = {
            key_text(key): [str(cell) for cell in as_list(cells)] for key, cells in body["rows"].items()
        }
    if "columns" in body:
        columns = as_list(body["columns"])
        body["columns"] = [[key_text(part) for part in as_list(column)] for column in columns]
    if "cells" in body:
        body["cells"] = [{**cell, "at": cell_key(cell["at"])} for cell in as_list(body["cells"])]
    return body


def cell_key(at: Any) -> list[str]:
    """The address of a cell, down key first."""
    return [key_text(part) for part in as_list(at)]


@cache
def shipped_units() -> Units:
    """The units of the shipped table; raises `Refused` when the table is broken."""
    return Units.from_data(read_shipped("rulesets", "units.yaml"))
