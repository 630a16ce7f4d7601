"""What changed between two books, entry by entry and cell by cell, in words."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from .blocks import Block, Heading, Items
from .entries import Book, Change, Entry
from .facets import words_of
from .loading import as_list
from .tabling import said_of

ASIDE = ("source", "transcription", "cells", "layer", "checksum")
"""Properties about the reading of a text and not about what it says."""


def differences(before: Book, after: Book) -> list[dict[str, Any]]:
    """Every entry that differs: id, title, kind (added, removed, changed, recited), lines, cites, reasons."""
    found = []
    for id in dict.fromkeys([*before.entries, *after.entries]):
        old, new = before.entries.get(id), after.entries.get(id)
        made = _difference(before, after, old, new)
        if made is not None:
            entry = new or old
            assert entry is not None
            found.append({"entry": id, "title": str(entry.body.get("title", entry.name)), **made})
    return found


def _unit(constant: Entry) -> str:
    """The unit of a constant that states its number alone."""
    unit = str(constant.body.get("unit", "1"))
    return "" if unit == "1" or " " in str(constant.body["value"]) else f" {unit}"


def _difference(before: Book, after: Book, old: Entry | None, new: Entry | None) -> dict[str, Any] | None:
    if new is None:
        assert old is not None
        gone = after.removed.get(old.id)
        changes = [gone] if gone is not None else []
        return {"kind": "removed", "lines": [], **_grounds(after, changes), "cites": before.cites(old.cites)}
    if old is None:
        lines = [
            f"{key}: {said_of(value)}{_unit(new) if key == 'value' else ''}"
            for key, value in new.body.items()
            if key in ("is", "value", "require", "when")
        ]
        return {
            "kind": "added",
            "lines": lines,
            **_grounds(after, new.history[:1]),
            "cites": after.cites(new.cites),
        }
    lines = list(_lines(old, new))
    cites = before.cites(old.cites), after.cites(new.cites)
    clauses = [[cite.clause for cite in entry.cites] for entry in (old, new)]
    if not lines and clauses[0] == clauses[1]:
        return None
    fresh = new.history[len(old.history) :] if new.history[: len(old.history)] else new.history
    made = {"lines": lines, **_grounds(after, fresh), "cites": cites[1]}
    if not lines:
        return {
            "kind": "recited",
            **made,
            "lines": [f"{', '.join(clauses[0]) or 'no clause'} is now {', '.join(clauses[1])}"],
        }
    return {"kind": "changed", **made}


def _grounds(book: Book, changes: list[Change]) -> dict[str, Any]:
    reasons = [str(change.facts["reason"]) for change in changes if "reason" in change.facts]
    return {"by": list(dict.fromkeys(change.layer for change in changes)), "reasons": reasons}


def _lines(old: Entry, new: Entry) -> Iterator[str]:
    if "rows" in old.body and "rows" in new.body:
        yield from _table(old.body, new.body)
    elif words_of(old.body) and words_of(new.body) and old.section in ("terms", "series"):
        yield from _words(old, new)
    left, right = dict(_flat(old)), dict(_flat(new))
    for path in dict.fromkeys([*left, *right]):
        a, b = left.get(path), right.get(path)
        if a == b:
            continue
        if a is None:
            yield f"{path} is new: {b}"
        elif b is None:
            yield f"{path} is gone; it was: {a}"
        else:
            yield f"{path}: {a} became {b}"


def _flat(entry: Entry) -> Iterator[tuple[str, str]]:
    """The properties of an entry by dotted path, apart from tables, lists of words and how they were read."""

    def walk(value: Any, path: str) -> Iterator[tuple[str, str]]:
        if isinstance(value, dict):
            for key, inner in value.items():
                if key not in ASIDE:
                    yield from walk(inner, f"{path}.{key}" if path else str(key))
        elif isinstance(value, list) and any(isinstance(item, dict) for item in value):
            for index, item in enumerate(value):
                yield from walk(item, f"{path}[{index}]")
        else:
            yield path, said_of(value)

    skipped = {"rows", "columns"}
    if entry.section in ("terms", "series"):
        skipped |= {"words", "members", "is", "properties"}
    yield from walk({key: value for key, value in entry.body.items() if key not in skipped}, "")


def _table(old: dict[str, Any], new: dict[str, Any]) -> Iterator[str]:
    left, right = _cells(old), _cells(new)
    rows = [set(body["rows"]) for body in (old, new)]
    for row in new["rows"]:
        if row not in rows[0]:
            yield f"row {row} is new: {', '.join(new['rows'][row])}"
    for row in old["rows"]:
        if row not in rows[1]:
            yield f"row {row} is gone; it was: {', '.join(old['rows'][row])}"
    for at in dict.fromkeys([*left, *right]):
        if at[0] not in rows[0] & rows[1] or left.get(at) == right.get(at):
            continue
        yield f"[{', '.join(at)}]: {left.get(at, 'no cell')} became {right.get(at, 'no cell')}"


def _cells(body: dict[str, Any]) -> dict[tuple[str, ...], str]:
    columns = body.get("columns") or [[]]
    return {
        (row, *column): cell
        for row, cells in body["rows"].items()
        for column, cell in zip(columns, cells, strict=False)
    }


def _words(old: Entry, new: Entry) -> Iterator[str]:
    left, right = ([str(word) for word in words_of(entry.body)] for entry in (old, new))
    for word in right:
        if word not in left:
            yield f"{word} is new"
    for word in left:
        if word not in right:
            yield f"{word} is gone"
    kept = [word for word in left if word in right]
    if kept != [word for word in right if word in left]:
        yield f"the order changed: {', '.join(right)}"
    for name in dict.fromkeys([*(old.body.get("properties") or {}), *(new.body.get("properties") or {})]):
        a, b = (_property(entry, name) for entry in (old, new))
        for word in kept:
            if a.get(word) != b.get(word):
                yield f"{name} of {word}: {a.get(word, 'nothing')} became {b.get(word, 'nothing')}"


def _property(entry: Entry, name: str) -> dict[str, str]:
    values = as_list(((entry.body.get("properties") or {}).get(name) or {}).get("values"))
    return {str(word): str(value) for word, value in zip(words_of(entry.body), values, strict=False)}


TITLES = {
    "added": "Added",
    "removed": "Removed",
    "changed": "Changed",
    "recited": "Renumbered, otherwise the same",
}


def page(one: str, other: str, found: list[dict[str, Any]]) -> list[Block]:
    """The differences for people."""
    counts = {kind: sum(item["kind"] == kind for item in found) for kind in TITLES}
    told = ", ".join(f"{count} {kind}" for kind, count in counts.items() if count) or "no entry differs"
    made: list[Block] = [Heading(f"From {one} to {other}: {told}", 1)]
    for kind, title in TITLES.items():
        items = [_item(item) for item in found if item["kind"] == kind]
        if items:
            made += [Heading(f"{title} ({len(items)})"), Items(items)]
    return made


def _item(item: dict[str, Any]) -> str:
    said = "; ".join(item["lines"])
    cites = "; ".join(item["cites"])
    reasons = " ".join(item["reasons"])
    parts = [f"{item['entry']} ({item['title']})", f": {said}" if said else ""]
    parts += [f" [{cites}]" if cites else "", f" {reasons}" if reasons else ""]
    return "".join(parts)
