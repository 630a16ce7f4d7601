"""A stack of layers to one book: each operation meets exactly one target, or the load is refused."""

from __future__ import annotations

import copy
from collections.abc import Callable
from pathlib import Path as FilePath
from typing import Any

from .diagnostics import Problems, hint
from .entries import Book, Change, Citation, Entry, Layer, Operation, Path, Place
from .loading import Shelf, as_list, canonical_table, cell_key, load_layer, new_entry

FACTS = ("reason", "instrument", "section", "source", "transcription", "note", "in_force")
"""Properties of an operation that say on what authority it stands."""


def stack_of(ids: list[str], shelf: Shelf, problems: Problems) -> list[Layer]:
    """The layers named, each with its parents below it, bottom first."""
    places = shelf.places()
    loaded: dict[str, Layer] = {}

    def take(id: str, chain: tuple[str, ...], asked: Place | None) -> None:
        if id in loaded:
            return
        span = asked.span() if asked else None
        if id in chain:
            problems.add("rulesets-extend-each-other", span, chain=" -> ".join((*chain, id)))
            return
        if id not in places:
            problems.add("unknown-ruleset", span, id=id, nearest=hint(id, places))
            return
        layer = load_layer(places[id], problems)
        if layer is None:
            return
        if layer.id != id:
            problems.add("ruleset-misnamed", layer.place.below("id").span(), id=layer.id, folder=id)
        for parent in as_list(layer.header.get("extends")):
            take(str(parent), (*chain, id), layer.place.below("extends"))
        loaded[id] = layer

    for id in ids:
        take(id, (), None)
    return list(loaded.values())


def build(ids: list[str], folders: list[FilePath], problems: Problems) -> Book:
    """Load the named rulesets with their parents and stack them.

    `problems` holds whatever is wrong; the book is only complete when there is none.
    """
    return stacked(stack_of(ids, Shelf(folders), problems), problems)


def stacked(layers: list[Layer], problems: Problems) -> Book:
    """Apply each layer, bottom first."""
    book = Book(layers, {}, {})
    for layer in layers:
        _apply_layer(book, layer, problems)
    return book


def _apply_layer(book: Book, layer: Layer, problems: Problems) -> None:
    for entry in layer.entries:
        if entry.id in book.entries:
            problems.add(
                "entry-exists-below", entry.place().key_span(), entry=entry.id, layer=book.entries[entry.id].layer
            )
            continue
        added = copy.deepcopy(entry)
        added.history.append(Change(layer.id, "add", "added", list(entry.cites), _facts(entry.body)))
        book.entries[entry.id] = added
    touched: dict[tuple[str, str], Operation] = {}
    for operation in layer.operations:
        _apply_operation(book, layer, operation, touched, problems)


def _apply_operation(
    book: Book,
    layer: Layer,
    operation: Operation,
    touched: dict[tuple[str, str], Operation],
    problems: Problems,
) -> None:
    entry = book.entries.get(operation.target)
    if entry is None:
        gone = book.removed.get(operation.target)
        if gone is not None:
            problems.add(
                "target-removed", operation.place.span(), entry=operation.target, layer=gone.layer, what=gone.what
            )
        else:
            near = hint(operation.target, book.entries)
            problems.add("target-not-found", operation.place.span(), entry=operation.target, nearest=near)
        return
    for aspect in _aspects(operation):
        if (entry.id, aspect) in touched:
            problems.add("target-touched-twice", operation.place.span(), entry=entry.id, aspect=aspect)
            return
        touched[entry.id, aspect] = operation
    _OPERATIONS[operation.kind](book, entry, layer, operation, problems)


def _aspects(operation: Operation) -> list[str]:
    """What part of its target an operation lays hands on."""
    if operation.kind in ("set", "remove") and "property" in operation.body:
        return [f"property {operation.body['property']}"]
    if operation.kind == "set" and "cells" in operation.body:
        return [f"cell {', '.join(cell_key(cell['at']))}" for cell in operation.body["cells"]]
    if operation.kind == "except":
        return [f"exception {operation.body.get('name')}"]
    return [operation.kind]


def _facts(body: dict[str, Any]) -> dict[str, Any]:
    return {key: body[key] for key in FACTS if key in body}


def _record(book: Book, entry: Entry, layer: Layer, operation: Operation, what: str) -> None:
    """Remember the change and let it speak in the citations: a later edition of the same publication
    renumbers the clause, any other authority adds its own."""
    cites = [Citation(layer.id, str(clause)) for clause in as_list(operation.body.get("cites"))]
    if cites:
        documents = book.documents()
        same = {id for id in documents if documents[id] == documents[layer.id]}
        entry.cites = [cite for cite in entry.cites if cite.layer not in same] + cites
    for name in ("source", "transcription"):
        if name in operation.body and "cells" not in operation.body:
            entry.body[name] = operation.body[name]
    entry.history.append(Change(layer.id, operation.kind, what, cites, _facts(operation.body)))


def _set(book: Book, entry: Entry, layer: Layer, operation: Operation, problems: Problems) -> None:
    body = operation.body
    if "cells" in body:
        what = _set_cells(entry, layer, operation, problems)
    elif "property" in body:
        what = _set_property(entry, operation, problems)
    else:
        what = "provenance restated"
    _record(book, entry, layer, operation, what)


def _set_property(entry: Entry, operation: Operation, problems: Problems) -> str:
    found = _holder(entry, operation, problems)
    if found is None:
        return ""
    holder, last = found
    path = str(operation.body["property"]).split(".")
    old, new = holder.get(last), operation.body.get("to")
    _expect(entry, operation.body, operation.place, old, problems)
    holder[last] = new
    entry.places[tuple(path)] = operation.place.below("to")
    if entry.section == "tables":
        entry.body = canonical_table(entry.body)
    return f"{'.'.join(path)}: {_said(old)} became {_said(new)}"


def _holder(entry: Entry, operation: Operation, problems: Problems) -> tuple[dict[str, Any], str] | None:
    """The mapping that holds the property an operation names, and its last step; a new property may be
    set, but not changed or removed."""
    path = str(operation.body["property"]).split(".")
    holder: Any = entry.body
    for step in path[:-1]:
        holder = holder.get(step) if isinstance(holder, dict) else None
    last = path[-1]
    must_exist = operation.kind == "remove" or "was" in operation.body
    if not isinstance(holder, dict) or (last not in holder and must_exist):
        known = list(holder) if isinstance(holder, dict) else list(entry.body)
        problems.add(
            "property-not-found", operation.place.below("property").span(), entry=entry.id,
            property=".".join(path), nearest=hint(last, known),
        )
        return None
    return holder, last


def _set_cells(entry: Entry, layer: Layer, operation: Operation, problems: Problems) -> str:
    rows: dict[str, list[str]] = entry.body.get("rows") or {}
    columns: list[list[str]] = entry.body.get("columns") or [[]]
    said = []
    for index, cell in enumerate(operation.body["cells"]):
        place = operation.place.below("cells", index)
        at = cell_key(cell["at"])
        if at[0] not in rows or at[1:] not in columns:
            known = list(rows) if at[0] not in rows else [", ".join(column) for column in columns]
            wanted = at[0] if at[0] not in rows else ", ".join(at[1:])
            problems.add("cell-not-found", place.span(), table=entry.id, cell=", ".join(at), nearest=hint(wanted, known))
            continue
        column = columns.index(at[1:])
        old = rows[at[0]][column]
        _expect(entry, cell, place, old, problems)
        rows[at[0]][column] = str(cell["to"])
        entry.places["rows", at[0], column] = place.below("to")
        facts = {name: cell.get(name, operation.body.get(name)) for name in ("source", "transcription", "note")}
        known_cells = [known for known in entry.body.get("cells", []) if known["at"] != at]
        known_cells.append({"at": at, "layer": layer.id, **{k: v for k, v in facts.items() if v is not None}})
        entry.body["cells"] = known_cells
        said.append(f"[{', '.join(at)}]: {old} became {cell['to']}")
    return "; ".join(said)


def _expect(entry: Entry, body: dict[str, Any], place: Place, old: Any, problems: Problems) -> None:
    """Refuse a change whose `was` no longer holds: the parent moved under it."""
    if "was" in body and _said(body["was"]) != _said(old):
        problems.add(
            "parent-says-otherwise", place.below("was").span(), entry=entry.id, was=_said(body["was"]), now=_said(old)
        )


def _said(value: Any) -> str:
    return "nothing" if value is None else str(value).strip()


def _replace(book: Book, entry: Entry, layer: Layer, operation: Operation, problems: Problems) -> None:
    fresh = new_entry(entry.section, entry.name, operation.body["with"], layer.id, {(): operation.place.below("with")})
    entry.body, entry.places = fresh.body, fresh.places
    operation.body.setdefault("cites", [cite.clause for cite in fresh.cites])
    _record(book, entry, layer, operation, "replaced")


def _remove(book: Book, entry: Entry, layer: Layer, operation: Operation, problems: Problems) -> None:
    if "property" in operation.body:
        found = _holder(entry, operation, problems)
        if found is not None:
            holder, last = found
            del holder[last]
            _record(book, entry, layer, operation, f"{operation.body['property']} removed")
        return
    del book.entries[entry.id]
    cites = [Citation(layer.id, str(clause)) for clause in as_list(operation.body.get("cites"))]
    book.removed[entry.id] = Change(layer.id, "remove", "removed", cites, _facts(operation.body))


def _recite(book: Book, entry: Entry, layer: Layer, operation: Operation, problems: Problems) -> None:
    cites = ", ".join(str(clause) for clause in as_list(operation.body["cites"]))
    _record(book, entry, layer, operation, f"now {cites}")


def _except(book: Book, entry: Entry, layer: Layer, operation: Operation, problems: Problems) -> None:
    name = str(operation.body["name"])
    exceptions = entry.body.setdefault("exceptions", {})
    if name in exceptions:
        problems.add("exception-exists", operation.place.span(), entry=entry.id, exception=name)
        return
    body = {key: operation.body[key] for key in ("when", "is", "rank", "cites", "note") if key in operation.body}
    exceptions[name] = {**body, "layer": layer.id}
    path: Path = ("exceptions", name)
    entry.places[path] = operation.place
    entry.history.append(
        Change(
            layer.id, "except", f"exception {name}",
            [Citation(layer.id, str(clause)) for clause in as_list(body.get("cites"))], _facts(operation.body),
        )
    )


_OPERATIONS: dict[str, Callable[[Book, Entry, Layer, Operation, Problems], None]] = {
    "set": _set,
    "replace": _replace,
    "remove": _remove,
    "recite": _recite,
    "except": _except,
}
