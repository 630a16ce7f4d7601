"""Operations inside one table or list: cells, rows, words, addressed by what they say, not by position."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from .diagnostics import Problems, hint
from .entries import Entry, Layer, Operation, Place
from .facets import words_of
from .loading import as_list, canonical_table, cell_key, key_text

OVERRULED = "overruled"
"""Marks a cell of an operation that another layer's text takes precedence over."""

CELL_FACTS = ("source", "transcription", "note", "values")


def set_inside(entry: Entry, layer: Layer, operation: Operation, problems: Problems) -> str:
    """Do what the operation says inside its table or list; answers what that was, in words."""
    said = _cells(entry, layer, operation, problems)
    said += _remove_rows(entry, operation, problems)
    said += _add_rows(entry, layer, operation, problems)
    said += _words(entry, operation, problems)
    return "; ".join(said)


def _cells(entry: Entry, layer: Layer, operation: Operation, problems: Problems) -> list[str]:
    rows: dict[str, list[str]] = entry.body.get("rows") or {}
    columns: list[list[str]] = entry.body.get("columns") or [[]]
    said = []
    for index, cell in enumerate(operation.body.get("cells", [])):
        if OVERRULED in cell:
            continue
        place = operation.place.below("cells", index)
        at = cell_key(cell["at"])
        if at[0] not in rows or at[1:] not in columns:
            known = list(rows) if at[0] not in rows else [", ".join(column) for column in columns]
            wanted = at[0] if at[0] not in rows else ", ".join(at[1:])
            problems.add(
                "cell-not-found",
                place.span(),
                table=entry.id,
                cell=", ".join(at),
                nearest=hint(wanted, known),
            )
            continue
        column = columns.index(at[1:])
        old, new = rows[at[0]][column], str(cell["to"])
        expect(entry, cell, place, old, problems)
        rows[at[0]][column] = new
        entry.places["rows", at[0], column] = place.below("to")
        _remember(entry, layer, operation, at, cell)
        said.append(
            f"[{', '.join(at)}]: {old} became {new}" if old != new else f"[{', '.join(at)}]: {new} confirmed"
        )
    return said


def _remember(entry: Entry, layer: Layer, operation: Operation, at: list[str], cell: dict[str, Any]) -> None:
    """Note beside the table who wrote the cell last, and how well it was read."""
    facts = {name: cell.get(name, operation.body.get(name)) for name in CELL_FACTS}
    known = [other for other in as_list(entry.body.get("cells")) if other["at"] != at]
    known.append(
        {"at": at, "layer": layer.id, **{name: value for name, value in facts.items() if value is not None}}
    )
    entry.body["cells"] = known


def _remove_rows(entry: Entry, operation: Operation, problems: Problems) -> list[str]:
    rows: dict[str, list[str]] = entry.body.get("rows") or {}
    said = []
    for index, key in enumerate(map(key_text, as_list(operation.body.get("remove_rows")))):
        if key not in rows:
            place = operation.place.below("remove_rows", index)
            problems.add("cell-not-found", place.span(), table=entry.id, cell=key, nearest=hint(key, rows))
            continue
        del rows[key]
        entry.body["cells"] = [cell for cell in as_list(entry.body.get("cells")) if cell["at"][0] != key]
        said.append(f"row {key} removed")
    return said


def _add_rows(entry: Entry, layer: Layer, operation: Operation, problems: Problems) -> list[str]:
    added = operation.body.get("add_rows") or {}
    if not added:
        return []
    rows: dict[str, list[str]] = entry.body.setdefault("rows", {})
    said = []
    for raw, cells in canonical_table({"rows": added})["rows"].items():
        place = operation.place.below("add_rows")
        if raw in rows:
            problems.add("row-exists", place.span(), table=entry.id, row=raw)
            continue
        rows[raw] = cells
        entry.places["rows", raw] = place
        for column, _ in zip(entry.body.get("columns") or [[]], cells, strict=False):
            _remember(entry, layer, operation, [raw, *column], {})
        said.append(f"row {raw} added: {', '.join(cells)}")
    entry.body["rows"] = _in_order(rows)
    return said


def _in_order(rows: dict[str, Any]) -> dict[str, Any]:
    """Numbered rows by their number; others, and the rest, as they stand."""
    numbers = {
        key: Decimal(key)
        for key in rows
        if key.lstrip("-")[:1].isdigit() and " " not in key and "/" not in key
    }
    if len(numbers) < len(rows) - 1:
        return rows
    return {key: rows[key] for key in sorted(rows, key=lambda key: (key not in numbers, numbers.get(key, 0)))}


def _words(entry: Entry, operation: Operation, problems: Problems) -> list[str]:
    added = [str(word) for word in as_list(operation.body.get("add_words"))]
    removed = [str(word) for word in as_list(operation.body.get("remove_words"))]
    if not added and not removed:
        return []
    words = [str(word) for word in words_of(entry.body)]
    said = []
    for word in removed:
        if word not in words:
            place = operation.place.below("remove_words")
            problems.add("word-not-found", place.span(), entry=entry.id, word=word, nearest=hint(word, words))
            continue
        _drop(entry.body, words.index(word))
        words.remove(word)
        said.append(f"{word} removed")
    for word in added:
        if word in words:
            problems.add("word-exists", operation.place.below("add_words").span(), entry=entry.id, word=word)
            continue
        words.append(word)
        said.append(f"{word} added")
    key = next((key for key in ("words", "members", "is") if key in entry.body), "words")
    if added and key == "members" and entry.body.get("properties"):
        problems.add("members-have-properties", operation.place.below("add_words").span(), entry=entry.id)
    entry.body[key] = words
    return said


def _drop(body: dict[str, Any], index: int) -> None:
    """Take a member's values out of every property of its series."""
    for series_property in (body.get("properties") or {}).values():
        values = list(series_property["values"])
        del values[index]
        series_property["values"] = values


def expect(entry: Entry, body: dict[str, Any], place: Place, old: Any, problems: Problems) -> None:
    """Refuse a change whose `was` no longer holds: the parent moved under it."""
    if "was" in body and said_of(body["was"]) != said_of(old):
        problems.add(
            "parent-says-otherwise",
            place.below("was").span(),
            entry=entry.id,
            was=said_of(body["was"]),
            now=said_of(old),
        )


def said_of(value: Any) -> str:
    """A value as a message quotes it, on one line."""
    if value is None:
        return "nothing"
    if isinstance(value, list):
        return ", ".join(f"({said_of(item)})" if isinstance(item, dict) else said_of(item) for item in value)
    if isinstance(value, dict):
        return "; ".join(f"{key} {said_of(inner)}" for key, inner in value.items())
    return " ".join(str(value).split())
