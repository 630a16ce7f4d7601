"""A first layer for an author: written from what the layer below says, commented, and sound as it stands."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from .diagnostics import GaugebookError
from .entries import Book, Entry
from .facets import words_of
from .filing import write_whole
from .resources import packaged
from .runtime import DASH, MISSING
from .shelf import HEADER_FILE

TEMPLATE = "layer.txt"
"""The text of a first layer, beside the rulesets; a template of `str.format`."""

MANY = 2
"""A list of so few words is a poor example of what can be forbidden."""


def start(id: str, parent: str, book: Book, folder: Path) -> Path:
    """Write a ruleset folder that extends `parent` (stacked as `book`); its place.

    Raises `GaugebookError` when the folder exists already or cannot be written.
    """
    place = folder / id
    if place.exists():
        raise GaugebookError.because("ruleset-exists", path=place)
    text = packaged("rulesets", TEMPLATE).read_text("utf-8").format(id=id, parent=parent, **_examples(book))
    try:
        place.mkdir(parents=True)
        write_whole(place / HEADER_FILE, text.encode())
    except OSError as error:
        raise GaugebookError.because("cannot-write", path=place, reason=error.strerror or error) from None
    return place


def _examples(book: Book) -> dict[str, str]:
    """Names and figures of the layer below for the examples in the comments."""
    table = _first(book, "tables", lambda entry: len(entry.body.get("rows") or {}) > 0)
    constant = _first(book, "constants", lambda entry: "value" in entry.body)
    check = _first(book, "checks", lambda entry: "require" in entry.body)
    asked = {field.body.get("terms") for field in book.section("fields").values()}
    words = _first(book, "terms", lambda entry: entry.name in asked and len(words_of(entry.body)) > MANY)
    row, cell = _cell(table)
    return {
        "table": table.id if table else "tables/NAME",
        "at": row,
        "cell": cell,
        "constant": constant.id if constant else "constants/NAME",
        "value": str(constant.body["value"]) if constant else "1",
        "check": check.id if check else "checks/NAME",
        "of": str(check.body["of"]) if check else "KIND",
        "terms": words.id if words else "terms/NAME",
        "word": str(words_of(words.body)[0]) if words else "WORD",
        "kind": next(iter(book.section("kinds")), "KIND"),
    }


def _first(book: Book, section: str, fits: Callable[[Entry], bool]) -> Entry | None:
    return next((entry for entry in book.section(section).values() if fits(entry)), None)


def _cell(table: Entry | None) -> tuple[str, str]:
    """The address and the content of a table's first cell."""
    if table is None:
        return "KEY", "1"
    columns = table.body.get("columns") or [[]]
    for row, cells in table.body["rows"].items():
        for column, cell in zip(columns, cells, strict=False):
            if cell not in (DASH, MISSING):
                return ", ".join([row, *column]), cell
    return "KEY", "1"
