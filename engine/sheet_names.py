"""The names that a book's sheet uses, looked up before any project is read."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, partial
from typing import Any

from .diagnostics import Problems
from .documents import as_list, plain, read_shipped
from .entries import Book, Entry
from .model import Model
from .templates import FIELD, NAME

SYMBOLS = "symbols.yaml"

Body = dict[str, Any]


def symbols_of(book: Book) -> dict[str, Body]:
    """The symbols that a diagram of the book may name: the shipped ones, and those its sheet draws itself."""
    known: dict[str, Body] = plain(read_shipped("rulesets", SYMBOLS))["symbols"]
    for entry in book.section("sheet").values():
        known |= entry.body.get("draws") or {}
    return {
        name: body | {key: float(body[key]) for key in ("width", "height")} for name, body in known.items()
    }


def check_sheet(model: Model, problems: Problems) -> None:
    """Every name that a sheet declaration uses must be an attribute of the thing it is used on, or a symbol."""
    symbols = cache(partial(symbols_of, model.book))
    for entry in model.book.section("sheet").values():
        Names(model, entry, symbols, problems).check()


class Names:
    """The names used by one sheet declaration; what is unknown goes to `problems`."""

    def __init__(
        self, model: Model, entry: Entry, symbols: Callable[[], dict[str, Body]], problems: Problems
    ) -> None:
        self.model, self.entry, self.symbols, self.problems = model, entry, symbols, problems

    def check(self) -> None:
        """Look every name up."""
        body, kind = self.entry.body, str(self.entry.body.get("of"))
        if kind not in self.model.kinds:
            nearest = self.model.hint(kind, self.model.kinds)
            span = self.entry.place("of").span()
            self.problems.add("unknown-name", span, what="kind", name=kind, nearest=nearest)
            return
        for index, name in enumerate(as_list(body.get("shows"))):
            self.path(kind, str(name), "shows", index)
        for key in ("fed_by", "diameter"):
            self.named(kind, body, key)
        for key in ("name", "text"):
            self.templates(kind, body.get(key), key)
        for index, column in enumerate(as_list(body.get("columns"))):
            self.templates(kind, column["text"], "columns", index, "text")
        for key in ("starts", "along", "ends", "contents"):
            for index, part in enumerate(as_list(body.get(key))):
                self.part(kind, part, key, index)
        if "segments" in body:
            self.part(kind, body["segments"], "segments")

    def symbol(self, part: Body, *at: str | int) -> None:
        """The symbols that a mark may show."""
        known = self.symbols() if "symbol" in part or "symbols" in part else {}
        named = [("symbol", part["symbol"])] if "symbol" in part else []
        named += [("symbols", name) for name in (part.get("symbols") or {}).values()]
        for key, name in named:
            if name not in known:
                nearest = self.model.hint(str(name), known)
                span = self.entry.place(*at, key).span()
                self.problems.add("unknown-name", span, what="symbol", name=name, nearest=nearest)

    def part(self, kind: str, part: Body, *at: str | int) -> None:
        """A mark, a content or the segments of a diagram."""
        self.symbol(part, *at)
        self.named(kind, part, "share", *at)
        inner = self.named(kind, part, "over", *at) or kind
        for key in ("at", "given", "by", "count", "diameter"):
            self.named(inner, part, key, *at)
        self.where(inner, part, *at)
        self.templates(inner, part.get("text"), *at, "text")

    def templates(self, kind: str, templates: Any, *at: str | int) -> None:
        """The names in pieces of text."""
        for template in as_list(templates):
            body = template if isinstance(template, dict) else {"text": template}
            self.where(kind, body, *at)
            for match in FIELD.finditer(str(body["text"])):
                self.path(kind, match[1], *at)

    def where(self, kind: str, part: Body, *at: str | int) -> None:
        """The names in a condition."""
        for path in part.get("where") or {}:
            self.path(kind, str(path), *at)

    def named(self, kind: str, part: Body, key: str, *at: str | int) -> str | None:
        """The kind that a path under `key` leads to, if it is there and leads to things."""
        return self.path(kind, str(part[key]), *at, key) if key in part else None

    def path(self, kind: str, path: str, *at: str | int) -> str | None:
        """The kind a path leads to; a problem where a step of it is unknown."""
        here: str | None = kind
        for step in path.split("."):
            known = self.model.attributes.get((str(here), step))
            if known is not None:
                type = known.type
                here = str(type.detail) if type.sort in ("thing", "things") else None
            elif step != NAME or here is None:
                self.problems.add(
                    "unknown-attribute",
                    self.entry.place(*at).span(),
                    kind=here or "value",
                    name=step,
                    nearest=self.model.hint(step, self.model.names_of(str(here))),
                )
                return None
        return here
