"""What deserves a look in a layer that is not wrong: gaps, odd steps, unused entries, missing sources."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from itertools import pairwise
from typing import Any

from .books import CheckedBook
from .diagnostics import Diagnostic, Span, diagnose
from .entries import Entry, Layer
from .grammar import print_tree, tree
from .loading import as_list
from .meaning import Op
from .model import TableModel
from .programs import Route

GROUNDED = ("tables", "constants", "rules", "checks", "choices", "readings", "outputs")
"""Sections whose entries say something of a text, and so name it."""

USED = ("tables", "constants", "series", "terms", "readings")
"""Sections whose entries only matter when something leans on them."""

LISTS = {"word": "terms", "member": "series"}
"""Sorts of keys that are listed, and the section of the list."""

ROWS = {"property", "add_rows", "remove_rows"}
"""What of a `set` changes which rows and columns there are."""

MOST_ODD = 5
"""One odd step in so many is a slip of the pen; more are the nature of the table."""

Found = tuple[str, Span, dict[str, Any]]


def lint(checked: CheckedBook, layer: Layer) -> list[Diagnostic]:
    """Everything about the entries that the layer gives or changes, in the order of its files."""
    return Linter(checked, layer).run()


class Linter:
    """Looks at one layer on top of what it is built upon."""

    def __init__(self, checked: CheckedBook, layer: Layer) -> None:
        self.checked, self.layer, self.book = checked, layer, checked.book
        self.mine = [
            entry
            for entry in self.book.entries.values()
            if entry.layer == layer.id or any(change.layer == layer.id for change in entry.history)
        ]

    def run(self) -> list[Diagnostic]:
        """Every warning."""
        found = [*self._grounds(), *self._unused(), *self._programs(), *self._days()]
        for table in self.checked.model.tables.values():
            axes, cells = self.checked.model.table_cells(table)
            span = table.entry.place("rows").key_span()
            found += self._gaps(table, axes, span)
            if table.entry in self.mine:
                found += self._steps(table, axes, cells, span)
        told = {diagnose(name, span, **values): None for name, span, values in found}
        notices = [notice for notice in self.book.notices if notice not in told]
        return sorted([*told, *notices], key=lambda d: (d.span.file, d.span.line) if d.span else ("", 0))

    # -- where it comes from

    def _grounds(self) -> Iterator[Found]:
        for entry in self.layer.entries:
            if entry.section in GROUNDED:
                yield from self._grounded(entry, entry.place().key_span())
        for operation in self.layer.operations:
            body = operation.body
            inner = body["with"] if isinstance(body.get("with"), dict) else {}
            silent = operation.kind not in ("retire", "substitute") and not body.get(
                "cites", inner.get("cites")
            )
            if silent and "edition_of" not in self.layer.header:
                yield "operation-without-cites", operation.place.span(), {"target": operation.target}
            yield from self._sources(body.get("source"), operation.place.span())

    def _grounded(self, entry: Entry, span: Span) -> Iterator[Found]:
        if not entry.cites:
            yield "no-citation", span, {"entry": entry.id}
        for key in ("source", "transcription"):
            if key not in entry.body:
                yield "no-provenance", span, {"entry": entry.id, "key": key}
        yield from self._sources(entry.body.get("source"), span)

    def _sources(self, stated: Any, span: Span) -> Iterator[Found]:
        """A source is a key of the header's list, or free text of several words."""
        known = {str(key) for layer in self.book.layers for key in layer.header.get("sources") or {}}
        for key in map(str, as_list(stated)):
            if " " not in key and key not in known:
                yield "unknown-source", span, {"key": key}

    # -- what is used

    def _unused(self) -> Iterator[Found]:
        used = self._used()
        for entry in self.layer.entries:
            if entry.section in USED and entry.id not in used:
                yield "unused", entry.place().key_span(), {"entry": entry.id}

    def _used(self) -> set[str]:
        programs = self.checked.programs
        parts: list[Any] = [
            *programs.rules.values(),
            *programs.choices.values(),
            *programs.checks,
            *programs.cautions,
            *programs.outputs,
        ]
        codes = {"lookup": "tables", "constant": "constants", "reading": "readings"}
        used = {f"series/{choice.series}" for choice in programs.choices.values()}
        for op in (op for part in parts for whole in part.ops() for op in whole.walk()):
            if op.code in codes:
                used.add(f"{codes[op.code]}/{op.parts[0]}")
            elif op.code == "pick":
                used.add(f"series/{op.parts[2]}")
        for entry in self.book.entries.values():
            for body in [
                entry.body,
                *as_list(entry.body.get("keys")),
                *(entry.body.get("properties") or {}).values(),
            ]:
                if isinstance(body, dict):
                    used |= {f"{word}/{body[word]}" for word in ("terms", "series") if word in body}
        return used

    # -- conditions

    def _programs(self) -> Iterator[Found]:
        mine = {entry.id for entry in self.mine}
        for rule in self.checked.programs.rules.values():
            if rule.entry.id in mine:
                yield from self._routes(rule.entry, rule.routes)
        for check in self.checked.programs.checks:
            if check.entry.id in mine:
                yield from self._routes(check.entry, check.ways)
                if check.when is not None and never(check.when):
                    yield "never-applies", check.entry.place("when").span(), {"entry": check.entry.id}

    def _routes(self, entry: Entry, routes: list[Route]) -> Iterator[Found]:
        seen: dict[tuple[int | None, str], Route] = {}
        for route in routes:
            if route.when is None:
                continue
            span = entry.place().key_span()
            for part in ("exceptions", "branches", "any_of"):
                if route.name in (entry.body.get(part) or {}):
                    span = entry.place(part, route.name).span()
            if never(route.when):
                yield "way-never-holds", span, {"entry": entry.id, "way": route.name}
            key = route.rank, print_tree(route.when.node)
            if key in seen:
                name = "ways-always-clash" if route.rank is not None else "way-shadowed"
                yield name, span, {"entry": entry.id, "way": route.name, "other": seen[key].name}
            seen.setdefault(key, route)

    # -- tables

    def _gaps(self, table: TableModel, axes: list[list[Any]], span: Span) -> Iterator[Found]:
        """Words without a row or column: all of a table whose rows the layer wrote, else those it added itself."""
        for index, (name, type, _) in enumerate(table.keys):
            known = self._listed(type.sort, type.detail)
            printed = [known.index(key) for key in axes[index] if key in known]
            if type.sort == "word" and "rest" not in axes[index]:
                lacking = [word for word in known if word not in axes[index]]
            elif type.sort == "member" and printed:
                between = known[min(printed) : max(printed) + 1]
                lacking = [word for word in between if word not in axes[index] and "rest" not in axes[index]]
            else:
                lacking = []
            if not self._wrote_rows(table):
                added = self._added_words(f"{LISTS.get(type.sort)}/{type.detail}")
                lacking = [word for word in lacking if word in added]
            if lacking:
                yield "table-gap", span, {"table": table.name, "key": name, "lacking": ", ".join(lacking)}

    def _wrote_rows(self, table: TableModel) -> bool:
        return table.entry.layer == self.layer.id or any(
            operation.target == table.entry.id
            and (operation.kind != "set" or not ROWS.isdisjoint(operation.body))
            for operation in self.layer.operations
        )

    def _added_words(self, entry: str) -> set[str]:
        return {
            str(word)
            for operation in self.layer.operations
            if operation.target == entry
            for word in as_list(operation.body.get("add_words"))
        }

    def _listed(self, sort: str, detail: Any) -> list[str]:
        if sort == "word":
            return self.checked.model.terms.get(detail, [])
        return self.checked.model.series[detail].labels if sort == "member" else []

    def _steps(
        self, table: TableModel, axes: list[list[Any]], cells: dict[tuple[int, ...], Any], span: Span
    ) -> Iterator[Found]:
        """Columns that rise or fall all the way but for a single cell."""
        down = axes[0]
        known = self._listed(table.keys[0][1].sort, table.keys[0][1].detail)
        if table.keys[0][1].sort == "member":
            order = sorted(
                (i for i, key in enumerate(down) if key in known), key=lambda i: known.index(down[i])
            )
        else:
            order = sorted(
                (i for i, key in enumerate(down) if isinstance(key, Decimal)), key=lambda i: down[i]
            )
        for column in dict.fromkeys(at[1:] for at in cells):
            values = [(i, cells[i, *column]) for i in order if isinstance(cells.get((i, *column)), Decimal)]
            steps = [(b[0], (b[1] > a[1]) - (b[1] < a[1])) for a, b in pairwise(values)]
            signs = [step for _, step in steps if step]
            if not signs:
                continue
            main = 1 if sum(signs) > 0 else -1
            odd = [place for place, step in steps if step == -main]
            if odd and len(odd) * MOST_ODD <= len(signs):
                printed = _printed(table)
                at = ", ".join(keys[place] for keys, place in zip(printed, (odd[0], *column), strict=True))
                yield "odd-step", span, {"table": table.name, "cell": at}

    # -- days

    def _days(self) -> Iterator[Found]:
        for operation in self.layer.operations:
            days = operation.body.get("in_force") or {}
            if str(days.get("from", "")) > str(days.get("until", "9")):
                yield "days-reversed", operation.place.below("in_force").span(), {"target": operation.target}


def _printed(table: TableModel) -> list[list[str]]:
    """The keys of each axis as they are written, in the order of `Model.table_cells`."""
    body = table.entry.body
    across = zip(*(body.get("columns") or [[]]), strict=True)
    return [list(body["rows"]), *(list(dict.fromkeys(keys)) for keys in across)]


def never(condition: Op) -> bool:
    """True when a condition contradicts itself by its words alone: x is a and x is b, x < 2 and x > 3, no."""
    parts = list(_joined(condition.node))
    if any(part == tree.Truth(False) for part in parts):
        return True
    allowed: dict[str, set[str]] = {}
    bounds: dict[tuple[str, str], list[tuple[str, Decimal]]] = {}
    for part in parts:
        if isinstance(part, tree.Not) and part.operand in parts:
            return True
        if isinstance(part, tree.Comparison) and part.op == "is":
            words = {print_tree(part.right)}
        elif isinstance(part, tree.OneOf) and not part.negated:
            words = {print_tree(option) for option in part.options}
        else:
            _bound(part, bounds)
            continue
        subject = print_tree(part.left if isinstance(part, tree.Comparison) else part.operand)
        allowed[subject] = allowed.get(subject, words) & words
    return any(not words for words in allowed.values()) or any(_empty(pair) for pair in bounds.values())


def _joined(node: tree.Node) -> Iterator[tree.Node]:
    if isinstance(node, tree.Logic) and node.op == "and":
        yield from _joined(node.left)
        yield from _joined(node.right)
    else:
        yield node


def _bound(part: tree.Node, bounds: dict[tuple[str, str], list[tuple[str, Decimal]]]) -> None:
    if not isinstance(part, tree.Comparison) or part.op not in ("<", "<=", ">", ">="):
        return
    if isinstance(part.right, tree.Number):
        amount, unit = part.right.text, "1"
    elif isinstance(part.right, tree.Quantity):
        amount, unit = part.right.amount, part.right.unit
    else:
        return
    try:
        bounds.setdefault((print_tree(part.left), unit), []).append((part.op, Decimal(amount)))
    except ArithmeticError:
        return


def _empty(pair: list[tuple[str, Decimal]]) -> bool:
    floor = max((value for op, value in pair if op[0] == ">"), default=None)
    ceiling = min((value for op, value in pair if op[0] == "<"), default=None)
    if floor is None or ceiling is None:
        return False
    touching = (">=", floor) in pair and ("<=", ceiling) in pair
    return floor > ceiling or (floor == ceiling and not touching)
