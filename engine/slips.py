"""Slips of the hand: every cell of a ruleset's tables is changed in turn, and who notices is written down.

A change is noticed by a case that then comes to something else, or by the checksum of what wrote the cell. The
compiled table is patched and only the cases that read the cell run again, so nothing is loaded twice.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, NamedTuple

from .books import CheckedBook, check_book
from .casework import Case, Cell, Outcome, Ran
from .diagnostics import GaugebookError, Problems, Span, hint
from .entries import Book, Entry
from .loading import as_list, canonical_table, cell_key
from .model import Model, TableModel
from .progress import Bar
from .resources import PathLike
from .runtime import DASH, MISSING

FIRST_NUMBER = re.compile(r"-?\d+(\.\d+)?")

CASE, BY_CHECKSUM, NOBODY = "case", "checksum", "nobody"
"""Who notices a change."""


class Slip(NamedTuple):
    """One changed cell: where it was last written, its printed keys, what it says and what it said instead."""

    table: str
    at: str
    said: str
    instead: str
    span: Span

    def __str__(self) -> str:
        return f"{self.span}: {self.table} [{self.at}]: nobody notices {self.instead} in place of {self.said}"


@dataclass
class Slips:
    """Who noticed how many changes, table by table, and the changes nobody noticed."""

    noticed: dict[str, Counter[str]] = field(default_factory=dict)
    unnoticed: list[Slip] = field(default_factory=list)

    def lines(self) -> Iterator[str]:
        """The report, line by line."""
        yield from map(str, self.unnoticed)
        total = sum(self.noticed.values(), Counter[str]())
        yield f"{total.total()} cells changed by one unit in the last place: {_shares(total)}"
        for table, counts in self.noticed.items():
            yield f"  {table}: {_shares(counts)}"


def _shares(counts: Counter[str]) -> str:
    return f"a case notices {counts[CASE]}, a checksum alone {counts[BY_CHECKSUM]}, nobody {counts[NOBODY]}"


def change_cells(
    id: str, folders: Sequence[PathLike], outcome: Outcome, entries: Sequence[str] | None = None
) -> Slips:
    """Change the cells of a ruleset's tables, or of the tables named, after its cases ran to `outcome`.

    Raises `GaugebookError` for a name that is no table.
    """
    checked = check_book([id], folders)
    tables = _wanted(checked, entries)
    by_cell: dict[Cell, list[Ran]] = {}
    for ran in sorted(outcome.ran, key=lambda ran: len(ran.read)):
        for cell in ran.read:
            by_cell.setdefault(cell, []).append(ran)
    slips = Slips()
    bar = Bar(sum(len(row) for table in tables for row in table.entry.body["rows"].values()), what="cells")
    done = 0
    try:
        for table in tables:
            guarded = _guarded(checked.book, table.entry)
            counts = slips.noticed.setdefault(table.entry.id, Counter())
            for cell, slip, was, to in _slips(checked.model, table):
                if _noticed(outcome, cell, was, to, by_cell.get(cell, ())):
                    counts[CASE] += 1
                elif slip.at in guarded:
                    counts[BY_CHECKSUM] += 1
                else:
                    counts[NOBODY] += 1
                    slips.unnoticed.append(slip)
                done += 1
                bar.show(done)
    finally:
        bar.clear()
    return slips


def _wanted(checked: CheckedBook, entries: Sequence[str] | None) -> list[TableModel]:
    known = {table.entry.id: table for table in checked.model.tables.values() if table.entry.body.get("rows")}
    if entries is None:
        return list(known.values())
    wanted = []
    for text in entries:
        name = text if text in known else f"tables/{text}"
        if name not in known:
            near = hint(name, known)
            raise GaugebookError.because(
                "no-such-table", ruleset=checked.book.layers[-1].id, name=text, nearest=near
            )
        wanted.append(known[name])
    return wanted


def _slips(model: Model, table: TableModel) -> Iterator[tuple[Cell, Slip, Any, Any]]:
    """Each cell that can be changed: its keys, the change in words, what it is and what it becomes."""
    entry, body = table.entry, table.entry.body
    columns = body.get("columns") or [[]]
    written = [
        (row, number, text) for row, texts in body["rows"].items() for number, text in enumerate(texts)
    ]
    axes, cells = model.table_cells(table)
    for (places, value), (row, number, text) in zip(cells.items(), written, strict=True):
        instead = None if text in (DASH, MISSING) else _instead(model, table, text)
        if instead is None:
            continue
        keys = tuple(axis[place] for axis, place in zip(axes, places, strict=True))
        to = model.value(entry, table.type, table.unit, instead, "rows", row, number)
        at = _at([row, *columns[number]])
        span = entry.place("rows", row, number).span()
        yield (table.name, keys), Slip(entry.id, at, text, instead, span), value, to


def _at(keys: Sequence[str]) -> str:
    return ", ".join(keys)


def _instead(model: Model, table: TableModel, text: str) -> str | None:
    """What a slip makes of a cell: one more in the last place of a number, the next word of a list."""
    sort, detail = table.type.sort, table.type.detail
    if sort == "number":
        return FIRST_NUMBER.sub(_one_more, text, count=1)
    if sort == "truth":
        return "no" if text == "yes" else "yes"
    words: list[str] = (
        model.terms[detail] if sort == "word" else model.series[detail].labels if sort == "member" else []
    )
    after = words.index(text) + 1 if text in words else 0
    return words[after % len(words)] if len(words) > 1 else None


def _one_more(found: re.Match[str]) -> str:
    number = Decimal(found[0])
    last = number.as_tuple().exponent
    assert isinstance(last, int)
    return f"{number + Decimal(1).scaleb(last):f}"


def _noticed(outcome: Outcome, cell: Cell, was: Any, to: Any, readers: Sequence[Ran]) -> bool:
    """Whether a case that read the cell comes to something else when it says `to`."""
    tables = [book.tables[cell[0]] for book in outcome.books.by_day.values() if cell[0] in book.tables]
    changed = [table for table in tables if table.change(cell[1], was, to)]
    try:
        return any(_differs(outcome, ran) for ran in readers)
    finally:
        for table in changed:
            table.change(cell[1], to, was)


def _differs(outcome: Outcome, ran: Ran) -> bool:
    problems = Problems()
    misses = list(Case(ran.document, ran.number, outcome.books.on(ran.day), problems).misses())
    return bool(len(problems)) or misses != ran.misses


def _guarded(book: Book, entry: Entry) -> set[str]:
    """The cells whose last writing states a checksum."""
    body = entry.body
    applied = [change.place for change in entry.changes]
    columns = body.get("columns") or [[]]
    guarded = {_at([row, *column]) for row in body["rows"] for column in columns if "checksum" in body}
    for layer in book.layers:
        for operation in layer.operations:
            if operation.place not in applied or operation.kind != "set":
                continue
            rows = canonical_table({"rows": operation.body.get("add_rows") or {}})["rows"]
            cells = [cell_key(cell["at"]) for cell in as_list(operation.body.get("cells"))]
            cells += [[row, *column] for row in rows for column in columns]
            change = guarded.update if "checksum" in operation.body else guarded.difference_update
            change(map(_at, cells))
    return guarded
