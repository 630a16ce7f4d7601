"""Lists of what is allowed or forbidden, as a layer writes them, to the checks they mean."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from .diagnostics import Problems, hint
from .entries import Book, Entry, Layer, Operation, Path, Place
from .facets import words_of
from .loading import as_list, new_entry
from .operations import change_of

AS_IS = ("title", "source", "transcription", "note", "labels")


def checks_of(book: Book, layer: Layer, operation: Operation, problems: Problems) -> Iterator[Entry]:
    """One check for each attribute the list is about: a field, a choice, or every field that holds a word of
    a list."""
    target = book.entries.get(operation.target)
    if target is None:
        near = hint(operation.target, book.entries)
        problems.add("target-not-found", operation.place.span(), entry=operation.target, nearest=near)
        return
    source = _source(book, target)
    holders = _holders(book, target)
    if source is None or not holders:
        problems.add("nothing-to-allow", operation.place.span(), entry=target.id)
        return
    if not _words_known(operation, source, problems):
        return
    for holder in holders:
        yield _check(layer, operation, holder, source, len(holders) > 1)


def _source(book: Book, target: Entry) -> Entry | None:
    """The list of words or series that the target is, or takes its values from."""
    if target.section in ("terms", "series"):
        return target
    for key, section in (("terms", "terms"), ("series", "series"), ("from", "series")):
        if key in target.body:
            return book.entries.get(f"{section}/{target.body[key]}")
    return None


def _holders(book: Book, target: Entry) -> list[Entry]:
    if target.section in ("fields", "choices", "rules"):
        return [target]
    if target.section not in ("terms", "series"):
        return []
    fields = [
        entry for entry in book.section("fields").values() if entry.body.get(target.section) == target.name
    ]
    choices = [entry for entry in book.section("choices").values() if entry.body.get("from") == target.name]
    stated = {owner_of(entry) for entry in choices}
    return choices + [entry for entry in fields if owner_of(entry) not in stated]


def owner_of(entry: Entry) -> tuple[str, str]:
    """The kind and the name of the attribute an entry gives."""
    kind, _, attribute = entry.name.rpartition(".")
    return kind or str(entry.body.get("of", "")), attribute


def _words_known(operation: Operation, source: Entry, problems: Problems) -> bool:
    known = [str(word) for word in words_of(source.body)]
    unknown = [word for word in as_list(operation.body["words"]) if _bare(str(word), source) not in known]
    for word in unknown:
        problems.add(
            "unknown-word",
            operation.place.below("words").span(),
            word=word,
            among=", ".join(known[:12]),
            nearest=hint(str(word), known),
        )
    return not unknown


def _bare(word: str, source: Entry) -> str:
    """A word as the list has it; sizes of a list with a unit may be given with it."""
    return word.removesuffix(f" {source.body['unit']}") if "unit" in source.body else word


def _told(word: str, source: Entry) -> str:
    """A word as an expression writes it."""
    return f"{_bare(word, source)} {source.body['unit']}" if "unit" in source.body else word


def _may_be_none(holder: Entry) -> bool:
    return holder.body.get("may_be_none") == "yes" or (holder.section == "choices" and "when" in holder.body)


def _check(layer: Layer, operation: Operation, holder: Entry, source: Entry, several: bool) -> Entry:
    kind, attribute = owner_of(holder)
    name = str(operation.body.get("name", f"{attribute}_{operation.kind}"))
    negated = "not " if operation.kind == "forbid" else ""
    listed = ", ".join(_told(str(word), source) for word in as_list(operation.body["words"]))
    body: dict[str, Any] = {key: operation.body[key] for key in AS_IS if key in operation.body}
    nothing = f"{attribute} is none or " if operation.kind == "allow" and _may_be_none(holder) else ""
    body |= {"of": kind, "require": f"{nothing}{attribute} is {negated}one of ({listed})"}
    constrained = [str(one) for one in as_list(operation.body.get("constrains"))]
    if holder.section == "choices":
        constrained = list(dict.fromkeys([attribute, *constrained]))
    if constrained:
        body["constrains"] = constrained
    places: dict[Path, Place] = {(): operation.place, ("require",): operation.place.below("words")}
    if "when" in operation.body:
        body["when"] = operation.body["when"]
    check = new_entry("checks", f"{name}_{kind}_{attribute}" if several else name, body, layer.id, places)
    said = "allowed" if operation.kind == "allow" else "forbidden"
    change = change_of(layer, operation, f"{said}: {listed}")
    check.cites = list(change.cites)
    check.history.append(change)
    return check
