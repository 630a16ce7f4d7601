"""Which part of its target an operation changes, so that two texts about it can be set side by side."""

from __future__ import annotations

from typing import Any

from .entries import Entry, Operation
from .loading import as_list, canonical_table, cell_key, key_text

Facet = tuple[str, ...]
"""What kind of part, then its address: ("property", "is"), ("cell", "10", "red"), ("whole",)."""

WHOLE: Facet = ("whole",)
ASIDE = ("provenance", "citation", "text", "list")
"""Parts that say nothing about the work itself; layers may speak about them side by side."""


def facets_of(operation: Operation) -> list[Facet]:
    """The parts of the target that an operation changes."""
    kind, body = operation.kind, operation.body
    if kind in ("set", "remove") and "property" in body:
        return [("property", str(body["property"]))]
    if kind == "set":
        found: list[Facet] = [("cell", *cell_key(cell["at"])) for cell in body.get("cells", [])]
        found += [
            ("row", key_text(key)) for key in [*body.get("add_rows", {}), *as_list(body.get("remove_rows"))]
        ]
        words = [*as_list(body.get("add_words")), *as_list(body.get("remove_words"))]
        return found + [("word", str(word)) for word in words] or [("provenance",)]
    if kind == "recite":
        return [("citation",)]
    if kind == "except":
        return [("exception", str(body["name"]))]
    if kind == "alternative":
        return [("alternative", str(body["name"]))]
    if kind in ("allow", "forbid"):
        return [("list", str(body.get("name", kind)))]
    if kind == "substitute":
        return [("text", word) for word in body["words"]]
    return [WHOLE]


def clash(one: Facet, other: Facet) -> bool:
    """True when the two speak about the same part of an entry."""
    if one[0] in ASIDE or other[0] in ASIDE:
        return one == other
    if WHOLE in (one, other) or one == other:
        return True
    row, cell = sorted((one, other), key=lambda facet: facet[0] != "row")
    return row[0] == "row" and cell[0] == "cell" and row[1] == cell[1]


def in_words(facet: Facet) -> str:
    """A part as a message names it."""
    if facet == WHOLE:
        return "the whole entry"
    return f"{facet[0]} [{', '.join(facet[1:])}]" if facet[0] == "cell" else " ".join(facet)


def read_facet(entry: Entry, facet: Facet) -> Any:
    """What an entry says in that part; None where it says nothing."""
    kind, at = facet[0], facet[1:]
    body = entry.body
    if kind == "whole":
        return body
    if kind == "property":
        holder: Any = body
        for step in at[0].split("."):
            holder = holder.get(step) if isinstance(holder, dict) else None
        return holder
    if kind == "row":
        return (body.get("rows") or {}).get(at[0])
    if kind == "cell":
        columns = body.get("columns") or [[]]
        row = (body.get("rows") or {}).get(at[0])
        return row[columns.index(list(at[1:]))] if row is not None and list(at[1:]) in columns else None
    if kind == "word":
        return at[0] if at[0] in map(str, words_of(body)) else None
    if kind in ("exception", "alternative"):
        return (body.get("exceptions" if kind == "exception" else "any_of") or {}).get(at[0])
    return None


def words_of(body: dict[str, Any]) -> list[Any]:
    """The words of a list, or the members of a series."""
    return as_list(body.get("words", body.get("members", body.get("is"))))


def proposed(operation: Operation, facet: Facet) -> Any:
    """What an operation would make of that part; None where it takes it away."""
    body, kind = operation.body, facet[0]
    if kind == "property":
        return body.get("to")
    if kind == "cell":
        return next(str(cell["to"]) for cell in body["cells"] if cell_key(cell["at"]) == list(facet[1:]))
    if kind == "row":
        rows = canonical_table({"rows": body.get("add_rows") or {}})["rows"]
        return rows.get(facet[1])
    if kind == "word":
        return facet[1] if facet[1] in map(str, as_list(body.get("add_words"))) else None
    if kind in ("exception", "alternative"):
        return {key: body[key] for key in ("when", "is", "require", "rank") if key in body}
    if kind == "whole" and "with" in body:
        return canonical_table(body["with"]) if isinstance(body["with"], dict) else body["with"]
    return None
