"""Layouts times rulesets: every choice and every failed check side by side, and what made them differ.

A column is a project with one of its layouts applied, under one stack of rulesets. Neighbouring columns are
compared: along the rulesets within a layout, and along the layouts under a stack.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from . import __version__
from .amounts import add_up
from .causes import Cause, Causes, Cell, Walk
from .entries import PROVENANCE, RESTATED
from .evaluating import Run
from .pricing import PriceList
from .results import plain, unit_text
from .rulebook import Rulebook
from .runtime import Absent
from .sides import Side
from .source import Source
from .tracing import Recorder, TracedRulebook
from .units import show

FORMAT = "compare/1"

Data = dict[str, Any]


@dataclass
class Column:
    """One project under one book: `stack` names the rulesets asked for, `result` is its result as data."""

    stack: tuple[str, ...]
    side: Side
    result: Data

    @property
    def layout(self) -> str | None:
        """The layout applied; None for the project as written."""
        return self.side.source.layout

    def describe(self) -> Data:
        """The head of the column."""
        ruleset = self.result["ruleset"]
        return {
            "layout": self.layout,
            "rulesets": list(self.stack),
            "passes": self.result["passes"],
            "digest": ruleset["digest"],
            "stack": ruleset["stack"],
        }


class Columns:
    """Gathers finished runs as columns whose evaluations can be walked side by side."""

    def __init__(self) -> None:
        self.made: list[Column] = []
        self._recorder = Recorder()
        self._books: dict[str, TracedRulebook] = {}

    @property
    def rulebooks(self) -> list[TracedRulebook]:
        """The books of the columns, each once."""
        return list(self._books.values())

    def add(self, stack: Sequence[str], run: Run, source: Source, result: Data) -> None:
        """Add the column of a run of the project `source` under the rulesets asked for, with its result."""
        frozen = run.rulebook.frozen
        digest = str(frozen["digest"])
        if digest not in self._books:
            self._books[digest] = TracedRulebook(frozen, self._recorder, run.rulebook.code)
        self.made.append(Column(tuple(stack), Side(self._books[digest], source, run.settled), result))


def compare_columns(
    columns: Sequence[Column], everything: bool = False, values: bool = False, prices: PriceList | None = None
) -> Data:
    """The comparison as JSON data (see `rulesets/schema/compare.json`).

    Rows are every choice and every check that fails somewhere, as far as they differ; `everything` also
    keeps the rows that agree and the checks that pass, `values` adds every other derived value. `prices` turn
    the totals into money.
    """
    rows = [row for row in _rows(columns, everything, values) if everything or row["differs"]]
    first = columns[0].result
    lines = add_up([column.side for column in columns])
    return {
        "format": FORMAT,
        "gaugebook": __version__,
        "project": first["project"],
        "passes": [column.result["passes"] for column in columns],
        "columns": [column.describe() for column in columns],
        "rows": rows,
        "differences": [_difference(columns, one, other, rows) for one, other in neighbours(columns)],
        "totals": [line.to_data() for line in lines],
        "costs": prices.cost(lines, len(columns)) if prices is not None else None,
    }


def neighbours(columns: Sequence[Column]) -> Iterator[tuple[int, int]]:
    """The pairs of columns to explain: next stack of the same layout, next layout of the same stack."""
    for groups in ([column.layout for column in columns], [column.stack for column in columns]):
        last: dict[Any, int] = {}
        for number, group in enumerate(groups):
            if group in last:
                yield last[group], number
            last[group] = number


# -- rows


def _rows(columns: Sequence[Column], everything: bool, values: bool) -> Iterator[Data]:
    yield from _value_rows(columns, values)
    found: dict[tuple[str, str], list[Data | None]] = {}
    for number, column in enumerate(columns):
        for check in column.result["checks"]:
            if check["check"] in column.side.rulebook.checks:
                cells = found.setdefault((check["thing"], check["check"]), [None] * len(columns))
                cells[number] = {
                    key: check[key] for key in ("passes", "actual", "limit", "margin", "why") if key in check
                }
    for (thing, name), cells in found.items():
        verdicts = [cell is None or cell["passes"] for cell in cells]
        if everything or not all(verdicts):
            yield _row(columns, "check", thing, name, cells, len(set(verdicts)) > 1)


def _value_rows(columns: Sequence[Column], values: bool) -> Iterator[Data]:
    found: dict[str, list[Data | None]] = {}
    choices: set[str] = set()
    for number, column in enumerate(columns):
        for name, value in column.result["values"].items():
            if "rejected" in value:
                choices.add(name)
            cells = found.setdefault(name, [None] * len(columns))
            cells[number] = {
                key: value[key] for key in ("value", "unit", "stated", "why", "undetermined") if key in value
            }
    for name, cells in found.items():
        if values or name in choices:
            thing, _, attribute = name.rpartition(".")
            outcomes = [
                None if cell is None else (cell["value"], "why" in cell, cell.get("undetermined"))
                for cell in cells
            ]
            differs = any(outcome != outcomes[0] for outcome in outcomes)
            yield _row(columns, "choice" if name in choices else "value", thing, attribute, cells, differs)


def _row(
    columns: Sequence[Column], kind: str, thing: str, name: str, cells: list[Data | None], differs: bool
) -> Data:
    made = {"name": f"{thing}.{name}", "kind": kind, "thing": thing, "attribute": name}
    return {**made, "title": _title(columns, kind, thing, name), "differs": differs, "cells": cells}


def _title(columns: Sequence[Column], kind: str, thing: str, name: str) -> str:
    for column in columns:
        book, found = column.side.rulebook, column.side.run(()).things.get(thing)
        if found is None:
            continue
        declared = book.attributes[found.kind].get(name)
        entry = book.checks[name]["entry"] if kind == "check" and name in book.checks else None
        if entry is None and declared is not None:
            entry = declared.entry
        if entry is not None and "title" in book.entries[entry]:
            return str(book.entries[entry]["title"])
    return name.replace("_", " ")


# -- differences


def _difference(columns: Sequence[Column], one: int, other: int, rows: list[Data]) -> Data:
    """Why two columns differ: each cause once, with the rows it explains."""
    before, after = columns[one], columns[other]
    walk = Walk(before.side, after.side)
    told: Causes = {}
    explains: dict[tuple[str, str], list[str]] = {}
    differing = []
    for row in rows:
        causes = (walk.check if row["kind"] == "check" else walk.value)(row["thing"], row["attribute"])
        if causes:
            differing.append(row["name"])
        for key, cause in causes.items():
            told.setdefault(key, Cause(*key)).meet(cause)
            explains.setdefault(key, []).append(row["name"])
    _leave_to_the_whole(explains)
    causes_told = [
        {**_cause(before.side, after.side, told[key]), "explains": names} for key, names in explains.items()
    ]
    causes_told.sort(key=lambda cause: -len(cause["explains"]))
    return {"from": one, "to": other, "rows": differing, "causes": causes_told}


def _leave_to_the_whole(explains: dict[tuple[str, str], list[str]]) -> None:
    """A thing that only one side has explains for all that lies within it."""
    inputs = [name for kind, name in explains if kind == "input"]
    for inner in inputs:
        around = [outer for outer in inputs if inner.startswith((f"{outer}.", f"{outer}["))]
        if around:
            rows = explains["input", min(around, key=len)]
            rows += [row for row in explains.pop(("input", inner)) if row not in rows]


def _cause(before: Side, after: Side, cause: Cause) -> Data:
    if cause.kind == "input":
        return {
            "kind": "input",
            "name": cause.name,
            "values": [_input(side, cause.name) for side in (before, after)],
        }
    entries = [side.rulebook.entries.get(cause.name) for side in (before, after)]
    known = next(entry for entry in reversed(entries) if entry is not None)
    made = {
        "kind": "entry",
        "name": cause.name,
        "title": known.get("title", cause.name.partition("/")[2].replace("_", " ")),
        "entries": [entry and entry["full"] for entry in entries],
        "cites": [entry["cites"] if entry else [] for entry in entries],
        "changes": _changes(*entries),
    }
    if cause.cells:
        made["cells"] = [_cell(before.rulebook, after.rulebook, cell) for cell in cause.cells]
    return made


def _changes(before: Data | None, after: Data | None) -> list[Data]:
    """What the layers of one column said about an entry that those of the other did not."""
    was, now = ((entry or {}).get("changed", []) for entry in (before, after))
    told = [change for change in now if change not in was] + [change for change in was if change not in now]
    return [
        {"layer": change["layer"], "what": change["what"]}
        for change in told
        if change["operation"] != "recite" and _decides(str(change["what"]))
    ]


def _decides(what: str) -> bool:
    """Whether a change is of more than words and provenance."""
    path, sign, _ = what.partition(":")
    told = {*PROVENANCE, "cells"}
    return what != RESTATED and not (sign and path.rpartition(".")[2] in told)


def _input(side: Side, name: str) -> Any:
    """An input as a column has it; None where it is not stated or its thing does not exist."""
    run = side.run(())
    path, _, attribute = name.rpartition(".")
    thing = run.things.get(path)
    if name in run.things:
        return run.things[name].kind
    declared = side.attribute(thing, attribute) if thing is not None else None
    if thing is None or declared is None:
        return None
    value = run.ask(thing, attribute)
    if isinstance(value, Absent) or value is None:
        return None
    return {"value": plain(value, declared.unit), "unit": unit_text(declared.unit)}


def _cell(before: Rulebook, after: Rulebook, cell: Cell) -> Data:
    """A table cell that says something else: the keys asked for and the two answers, as text."""
    book = before if cell.table in before.tables else after
    data = book.frozen["tables"][cell.table]
    keys = [
        show(key, book.units.unit(axis["unit"])) if axis["number"] and axis["unit"] else str(key)
        for axis, key in zip(data["axes"], cell.keys, strict=True)
    ]
    made: Data = {"at": keys}
    for word, side, value in (("from", before, cell.before), ("to", after, cell.after)):
        unit = side.frozen["tables"].get(cell.table, {}).get("unit")
        made[word] = {
            "value": plain(value, side.units.unit(unit) if unit else None),
            "unit": unit if unit != "1" else None,
        }
    return made
