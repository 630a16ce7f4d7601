"""What each operation of a layer does to the book below it; `layers` decides which are heard, and when."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from .diagnostics import Problems, hint
from .documents import copied
from .entries import RESTATED, Book, Change, Citation, Entry, Layer, Operation, Path
from .facets import WHOLE, facets_of
from .loading import as_list, canonical_table, new_entry
from .tabling import expect, said_of, set_inside

FACTS = (
    "reason",
    "instrument",
    "section",
    "source",
    "transcription",
    "note",
    "in_force",
    "read",
    "force",
    "said",
)
"""Properties of an operation that say on what authority it stands."""

WORDING = ("title", "say", "note", "ask", "assume", "question", "says")
"""Properties that are prose: what a substitution of words may touch."""

EXCEPTIONS = {"rules": "is", "checks": "require", "cautions": None, "outputs": None}
"""The sections whose entries can have exceptions, and the property by which one says something else."""


def facts_of(body: dict[str, Any]) -> dict[str, Any]:
    """The provenance stated in the body of an operation or an entry."""
    return {key: body[key] for key in FACTS if key in body}


def has_force(operation: Operation) -> bool:
    """Whether an operation binds anybody; its layer may say otherwise of all it says."""
    return operation.body.get("force") != "no"


def change_of(layer: Layer, operation: Operation, what: str, **more: Any) -> Change:
    """The record of an operation."""
    force = has_force(operation)
    cites = [Citation(layer.id, str(clause), force=force) for clause in as_list(operation.body.get("cites"))]
    return Change(
        layer.id, operation.kind, what, cites, facts_of(operation.body), place=operation.place, **more
    )


def record(book: Book, entry: Entry, layer: Layer, operation: Operation, what: str) -> None:
    """Remember the change and let it speak in the citations: a later edition of the same publication
    renumbers the clause, any other authority adds its own."""
    change = change_of(layer, operation, what)
    if change.cites:
        documents = book.documents
        same = {id for id in documents if documents[id] == documents[layer.id]}
        entry.cites = [cite for cite in entry.cites if cite.layer not in same or cite.document] + change.cites
    if facets_of(operation) in ([WHOLE], [("provenance",)]) or "property" in operation.body:
        for name in ("source", "transcription"):
            if name in operation.body:
                entry.body[name] = operation.body[name]
    entry.history.append(change)


def _set(book: Book, entry: Entry, layer: Layer, operation: Operation, problems: Problems) -> None:
    if "property" in operation.body:
        what = _set_property(entry, operation, problems)
    else:
        what = set_inside(entry, layer, operation, problems) or RESTATED
    record(book, entry, layer, operation, what)


def _set_property(entry: Entry, operation: Operation, problems: Problems) -> str:
    found = _holder(entry, operation, problems)
    if found is None:
        return ""
    holder, last = found
    path = str(operation.body["property"]).split(".")
    old, new = holder.get(last), operation.body.get("to")
    expect(entry, operation.body, operation.place, old, problems)
    holder[last] = new
    entry.places[tuple(path)] = operation.place.below("to")
    if entry.section == "tables":
        entry.body = canonical_table(entry.body)
    return f"{'.'.join(path)}: {said_of(old)} became {said_of(new)}"


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
            "property-not-found",
            operation.place.below("property").span(),
            entry=entry.id,
            property=".".join(path),
            nearest=hint(last, known),
        )
        return None
    return holder, last


def _replace(book: Book, entry: Entry, layer: Layer, operation: Operation, problems: Problems) -> None:
    fresh = _written(entry.section, entry.name, layer, operation)
    entry.body, entry.places = fresh.body, fresh.places
    operation.body.setdefault("cites", [cite.clause for cite in fresh.cites])
    for name in ("source", "transcription"):
        if name in fresh.body:
            operation.body.setdefault(name, fresh.body[name])
    record(book, entry, layer, operation, "replaced")


def _written(section: str, name: str, layer: Layer, operation: Operation) -> Entry:
    """The entry an operation writes out under `with`."""
    body = copied(operation.body["with"])
    body = body if isinstance(body, dict) else {"is": body}
    return new_entry(section, name, body, layer.id, {(): operation.place.below("with")})


def add_entry(book: Book, layer: Layer, operation: Operation) -> None:
    """Put an entry into the book that was not there, on the authority of the operation."""
    section, _, name = operation.target.partition("/")
    entry = _written(section, name, layer, operation)
    for key in ("source", "transcription", "note"):
        if key in operation.body:
            entry.body.setdefault(key, operation.body[key])
    change = change_of(layer, operation, "added")
    entry.cites = [replace(cite, force=has_force(operation)) for cite in entry.cites] or change.cites
    facts = facts_of(entry.body) | change.facts
    entry.history.append(replace(change, cites=list(entry.cites), facts=facts))
    book.removed.pop(entry.id, None)
    book.entries[entry.id] = entry


def borrow_entry(book: Book, layer: Layer, operation: Operation, source: Entry, other: Book) -> None:
    """Put a copy of another book's entry in place, citing both that book and the borrower."""
    section, _, name = operation.target.partition("/")
    documents = other.documents
    cites = [
        Citation(cite.layer, cite.clause, cite.document or documents.get(cite.layer, cite.layer))
        for cite in source.cites
    ]
    change = change_of(layer, operation, f"borrowed from {operation.body['from']}")
    entry = Entry(
        section,
        name,
        copied(source.body),
        source.layer,
        [*cites, *change.cites],
        dict(source.places),
        document=other.prefix(source),
    )
    below = book.entries.get(entry.id)
    first = Change(source.layer, "add", "added", list(cites), facts_of(source.body))
    entry.history = [*(below.history if below else [first]), change]
    book.removed.pop(entry.id, None)
    book.entries[entry.id] = entry


def _remove(book: Book, entry: Entry, layer: Layer, operation: Operation, problems: Problems) -> None:
    if "property" in operation.body:
        found = _holder(entry, operation, problems)
        if found is not None:
            holder, last = found
            expect(entry, operation.body, operation.place, holder[last], problems)
            del holder[last]
            record(book, entry, layer, operation, f"{operation.body['property']} removed")
        return
    del book.entries[entry.id]
    change = change_of(layer, operation, "removed")
    entry.history.append(change)
    book.removed[entry.id], book.gone[entry.id] = change, entry


def _recite(book: Book, entry: Entry, layer: Layer, operation: Operation, problems: Problems) -> None:
    cites = ", ".join(str(clause) for clause in as_list(operation.body["cites"]))
    record(book, entry, layer, operation, f"now {cites}")


def _except(book: Book, entry: Entry, layer: Layer, operation: Operation, problems: Problems) -> None:
    if not _exception_fits(entry, operation, problems):
        return
    keys = ("when", "is", "require", "rank", "cites", "note", "force")
    _put_way(entry, layer, operation, "exceptions", keys, problems)
    entry.history.append(change_of(layer, operation, f"exception {operation.body['name']}"))


def _exception_fits(entry: Entry, operation: Operation, problems: Problems) -> bool:
    """Whether an entry of this section can have the exception as it is written."""
    fault = _exception_fault(entry, operation)
    if fault is not None:
        name, values = fault
        problems.add(name, operation.place.span(), entry=entry.id, **values)
    return fault is None


def _exception_fault(entry: Entry, operation: Operation) -> tuple[str, dict[str, str]] | None:
    if entry.section not in EXCEPTIONS:
        return "exception-not-here", {"sections": ", ".join(EXCEPTIONS)}
    allowed = EXCEPTIONS[entry.section]
    wrong = [key for key in ("is", "require") if key in operation.body and key != allowed]
    if wrong:
        return "exception-says-wrongly", {"key": wrong[0], "section": entry.section}
    if allowed == "is" and "is" not in operation.body:
        return "exception-says-nothing", {"exception": operation.body["name"]}
    if allowed != "is" and "when" not in operation.body:
        return "exception-without-condition", {"exception": operation.body["name"]}
    return None


def _put_way(
    entry: Entry, layer: Layer, operation: Operation, part: str, keys: tuple[str, ...], problems: Problems
) -> None:
    """Add a named way to an entry's exceptions or alternatives."""
    name = str(operation.body["name"])
    ways = entry.body.setdefault(part, {})
    if name in ways:
        problems.add("exception-exists", operation.place.span(), entry=entry.id, exception=name)
        return
    ways[name] = {**{key: operation.body[key] for key in keys if key in operation.body}, "layer": layer.id}
    path: Path = (part, name)
    entry.places[path] = operation.place


def _alternative(book: Book, entry: Entry, layer: Layer, operation: Operation, problems: Problems) -> None:
    """Let another requirement be enough; what was required so far becomes the first alternative."""
    if entry.section != "checks":
        problems.add("alternative-not-here", operation.place.span(), entry=entry.id)
        return
    if "require" in entry.body:
        first: Path = ("any_of", AS_WRITTEN, "require")
        entry.places[first] = entry.place("require")
        entry.body["any_of"] = {AS_WRITTEN: {"require": entry.body.pop("require")}}
    _put_way(entry, layer, operation, "any_of", ("when", "require", "cites", "note", "force"), problems)
    entry.history.append(change_of(layer, operation, f"alternative {operation.body['name']}"))


AS_WRITTEN = "as_written"
"""The name of the requirement a check had before alternatives were added."""


def substitute(book: Book, layer: Layer, operation: Operation, problems: Problems) -> None:
    """Put other words into the prose of entries: titles, messages, questions; never into a rule."""
    among = [str(id) for id in as_list(operation.body.get("in"))]
    for id in among:
        if id not in book.entries:
            place = operation.place.below("in")
            problems.add("target-not-found", place.span(), entry=id, nearest=hint(id, book.entries))
    entries = (
        [book.entries[id] for id in among if id in book.entries] if among else list(book.entries.values())
    )
    for old, new in operation.body["words"].items():
        touched = [entry for entry in entries if _reword(entry.body, str(old), str(new))]
        if not touched:
            problems.add("text-not-found", operation.place.below("substitute", old).key_span(), text=old)
        for entry in touched:
            entry.history.append(change_of(layer, operation, f"'{old}' reads '{new}'"))


def _reword(body: dict[str, Any], old: str, new: str) -> bool:
    """Substitute in the prose of a body and of what lies inside it; True when the words were there."""
    found = False
    for key, value in body.items():
        if key in WORDING and isinstance(value, str) and old in value:
            body[key], found = value.replace(old, new), True
        elif key == "options" and isinstance(value, dict):
            touched = [_reword(option, old, new) for option in value.values()]
            found = any(touched) or found
    return found


VERBS: dict[str, Callable[[Book, Entry, Layer, Operation, Problems], None]] = {
    "set": _set,
    "replace": _replace,
    "remove": _remove,
    "recite": _recite,
    "except": _except,
    "alternative": _alternative,
}
"""The operations that change an entry that is there."""
