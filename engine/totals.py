"""What a comparison adds up: an attribute over all things of a kind, split by the values of others."""

from __future__ import annotations

from typing import Any

from .diagnostics import Problems, hint
from .entries import Entry
from .loading import as_list
from .model import Model


def totals_of(model: Model, problems: Problems) -> dict[str, dict[str, Any]]:
    """The `totals` of a book as plain data; names that mean nothing go to `problems`."""
    made: dict[str, dict[str, Any]] = {}
    for name, entry in model.book.section("totals").items():
        kind, body = str(entry.body["of"]), entry.body
        if kind not in model.kinds:
            span = entry.place("of").span()
            problems.add("unknown-name", span, what="kind", name=kind, nearest=hint(kind, model.kinds))
            continue
        by = [str(attribute) for attribute in as_list(body.get("by"))]
        _known(model, entry, kind, str(body["sum"]), problems, "sum")
        for number, attribute in enumerate(by):
            _known(model, entry, kind, attribute, problems, "by", number)
        title = str(body.get("title", name.replace("_", " ")))
        each = str(body["each"]) if "each" in body else None
        made[name] = {"of": kind, "sum": str(body["sum"]), "by": by, "title": title, "each": each}
    return made


def _known(model: Model, entry: Entry, kind: str, name: str, problems: Problems, *path: str | int) -> None:
    attribute = model.attributes.get((kind, name))
    if attribute is None:
        near = hint(name, model.names_of(kind))
        problems.add("unknown-attribute", entry.place(*path).span(), name=name, kind=kind, nearest=near)
    elif path == ("sum",) and (attribute.type.sort != "number" or attribute.type.detail.point):
        problems.add("not-an-amount", entry.place(*path).span(), name=name)
