"""One project as a template: some of its fields vary from row to row, everything else is worked out once.

A row binds its fields for a while (`Run.bound`); what leans on none of them is kept for all rows. Columns
that tie things together change the project itself, so each combination of those gets a graph of its own.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from .diagnostics import GaugebookError, Problems, hint
from .evaluating import UNSTATED, Run, Thing, read_value
from .outcomes import PLAIN, BadRow, Field, Numbered, Outcome, Said, text_of, weight
from .project import MOST_THINGS, breaches, build_run, words_of
from .results import margin
from .rulebook import Attribute, Rulebook
from .runtime import CHECK, Absent
from .source import Source
from .units import Unit

if TYPE_CHECKING:
    from .books import CheckedBook
    from .case_columns import CaseColumns
    from .planning import Plan
    from .specialising import Program
    from .straight import Direct

_HEADER = re.compile(r"\s*(?P<name>[^\[\]\s]+(?:\[\d+\][^\[\]\s]*)*)\s*(?:\[(?P<unit>[^\[\]]+)\])?\s*")


PROGRAM, COLUMNS, NUMPY = "program", "columns", "numpy"
"""What cannot be made of a template."""

STRAIGHT_AFTER = 200
"""After so many rows done by themselves it pays to write the plan as one function."""

COLUMN_STEPS = 7_000_000
"""As many steps a block of columns may take for each of its rows: about a minute."""

MOST_GRAPHS = 64
"""As many graphs are kept at once, of large projects fewer; more combinations are built again."""


class Template:
    """A project under a book, with the fields that vary.

    Raises `Refused` with every header that names no field.
    """

    def __init__(
        self, source: Source, rulebook: Rulebook, settled: dict[str, tuple[str, str]], headers: Sequence[str]
    ) -> None:
        self.source, self.rulebook, self.settled = source, rulebook, settled
        problems = Problems()
        run = build_run(source, rulebook, settled, problems)
        problems.refuse_if_any()
        self.fields: list[Field | None] = []
        for header in headers:
            try:
                self.fields.append(read_header(header, run))
            except GaugebookError as error:
                problems.take(error)
        problems.refuse_if_any()
        self.ties = [place for place, field in enumerate(self.fields) if field is not None and field.ties]
        self._graphs: dict[tuple[str, ...], Graph] = {}
        self._columns: CaseColumns | None = None
        self._worth = 0
        self._most_graphs = max(1, min(MOST_GRAPHS, MOST_THINGS // max(1, len(run.things))))
        first = Graph(run)
        self.names = [f"{thing.path}.{attribute.name}" for thing, attribute in first.choices]
        if not self.ties:
            self._graphs[()] = first

    def specialise(self, checked: CheckedBook, columns: bool = True) -> str | None:
        """Make a program of the project, which pays for many rows, and another for many rows at once.

        Answers what of it cannot be done (`PROGRAM`, `COLUMNS`, `NUMPY`), or None.
        """
        if self.ties:
            return PROGRAM
        graph = self._graphs[()]
        fields = [field for field in self.fields if field is not None]
        values = {(field.thing, field.attribute.name): self._value(field, "", graph.run) for field in fields}
        plan = graph.specialise(checked, values)
        if plan is None:
            return PROGRAM
        if not columns:
            return None
        try:
            from .case_columns import CannotColumn, CaseColumns
        except ImportError:
            return NUMPY
        try:
            with graph.run.exactly():
                self._columns = CaseColumns(
                    plan,
                    self.fields,
                    lambda field, cell: self._value(field, cell, graph.run),
                    graph.choices,
                    graph.checks,
                    graph.settled,
                )
        except (CannotColumn, GaugebookError):
            return COLUMNS
        self._worth = 1 + graph.effort // COLUMN_STEPS
        return None

    @property
    def columns(self) -> int:
        """How many columns are held where many rows are worked out at once; 0 where each is by itself."""
        return len(self._columns.plan.places) if self._columns is not None else 0

    def outcomes(self, rows: Sequence[Sequence[str]]) -> Iterator[Outcome | GaugebookError | BadRow]:
        """What each row comes to, or what is wrong with it; every row has as many cells as there are headers."""
        known: Sequence[Outcome | None] = [None] * len(rows)
        if self._columns is not None and len(rows) >= self._worth:
            try:
                known = self._columns.outcomes(rows)
            except RecursionError:
                self._columns = None
        for outcome, cells in zip(known, rows, strict=True):
            if outcome is None:
                try:
                    yield self.outcome(cells)
                except (BadRow, GaugebookError) as error:
                    yield error
            else:
                yield outcome

    def outcome(self, cells: Sequence[str]) -> Outcome:
        """What a row comes to; an empty cell leaves the field as the template has it.

        Raises `BadRow` for cells that cannot be read, `GaugebookError` where the row cannot be evaluated.
        """
        graph = self._graph(tuple(cells[place].strip() for place in self.ties))
        values = {}
        faults: list[tuple[str, str]] = []
        for field, cell in zip(self.fields, cells, strict=True):
            if field is None or field.ties:
                continue
            try:
                values[field.thing, field.attribute.name] = self._value(field, cell.strip(), graph.run)
            except GaugebookError as error:
                faults += [(field.header, diagnostic.message) for diagnostic in error.diagnostics]
        if faults:
            raise BadRow(faults)
        return graph.outcome(values)

    def _value(self, field: Field, cell: str, run: Run) -> Any:
        """The value of a cell; raises `GaugebookError` when it has none."""
        if not cell:
            thing, name = run.things[field.thing], field.attribute.name
            return thing.memo[name] if name in thing.stated else UNSTATED
        text = f"{_digits(cell)} {field.unit}" if field.unit and PLAIN.fullmatch(cell) else cell
        try:
            value = read_value(self.rulebook, field.attribute, text)
        except ValueError:
            known = words_of(self.rulebook, field.attribute)
            among = ", ".join(known[:16])
            raise GaugebookError.because(
                "unknown-word", word=cell, among=among, nearest=hint(cell, known)
            ) from None
        for side, bound in breaches(self.rulebook, field.attribute, value):
            raise GaugebookError.because(
                "out-of-range", key=".".join(field.attribute.steps), side=side, bound=bound
            )
        return value

    def _graph(self, ties: tuple[str, ...]) -> Graph:
        """The graph in which the columns that tie things together say so."""
        known = self._graphs.get(ties)
        if known is not None:
            return known
        source = copy.copy(self.source)
        source.data = copy.deepcopy(self.source.data)
        for place, cell in zip(self.ties, ties, strict=True):
            field = self.fields[place]
            if field is not None and cell:
                names: Any = [name.strip() for name in cell.split(";")]
                _put(source.data, field.path, names if field.attribute.sort == "things" else cell)
        problems = Problems()
        run = build_run(source, self.rulebook, self.settled, problems)
        if len(problems):
            column = " and ".join(field.header for place in self.ties if (field := self.fields[place]))
            raise BadRow([(column, problem.message) for problem in problems])
        if len(self._graphs) >= self._most_graphs:
            del self._graphs[next(iter(self._graphs))]
        self._graphs[ties] = Graph(run)
        return self._graphs[ties]


class Graph:
    """The things of one project, evaluated again and again with other values for some fields."""

    def __init__(self, run: Run) -> None:
        self.run = run
        rulebook = run.rulebook
        self.choices: list[tuple[Thing, Attribute]] = [
            (thing, attribute)
            for thing in run.things.values()
            for attribute in rulebook.attributes[thing.kind].values()
            if attribute.role == "choice"
        ]
        self.checks = [
            (thing, name)
            for thing in run.things.values()
            for name, check in rulebook.checks.items()
            if check["kind"] == thing.kind
        ]
        self._kept: dict[tuple[str, str], Said | None] = {}
        self._program: Program | None = None
        self._plan: Plan | None = None
        self._direct: Direct | None = None
        self._rows = 0
        self.effort = 0
        self.settled: list[Numbered] = []
        self._units: dict[str, Unit | None] = {
            name: rulebook.units.unit(check["unit"]) if check["unit"] else None
            for name, check in rulebook.checks.items()
        }

    def outcome(self, values: Values) -> Outcome:
        """What the project comes to with these values."""
        if self._program is not None:
            try:
                with self.run.exactly():
                    made = self._directly(values)
                    if made is not None:
                        return made
                    self._program.start(values)
                    return self._outcome(self._program.ask, [*self.settled, *self._program.verdicts()])
            except GaugebookError:
                pass  # said better below
        with self.run.exactly(), self.run.bound(values) as trial:
            verdicts = [
                (number, self._verdict(thing, name, trial))
                for number, (thing, name) in enumerate(self.checks)
            ]
            return self._outcome(lambda thing, name: thing.get(name), verdicts)

    def _directly(self, values: Values) -> Outcome | None:
        """The same by one function for the whole plan, where there is one and it can say."""
        self._rows += 1
        if self._rows == STRAIGHT_AFTER and self._plan is not None and self._program is not None:
            from .straight import CannotStraighten, Direct

            with suppress(CannotStraighten):
                judged = [(thing.path, f"{CHECK}{name}") for _, thing, name, _ in self._program.judging]
                self._direct = Direct(self._plan, [*judged, *self._chosen(self._plan)])
        found = self._direct.answers(values) if self._direct is not None else None
        if found is None or self._program is None:
            return None
        known = self._program.answers

        def ask(thing: Thing, name: str) -> Any:
            key = (thing.path, name)
            value = found[key] if key in found else known[key]()
            if isinstance(value, Absent):
                raise value.with_traceback(None)
            return value

        verdicts = [
            (number, self._said(thing, name, found[thing.path, f"{CHECK}{name}"]))
            for number, thing, name, _ in self._program.judging
        ]
        return self._outcome(ask, [*self.settled, *verdicts])

    def _chosen(self, plan: Plan) -> list[tuple[str, str]]:
        """The choices that lean on an open field."""
        keys = [(thing.path, attribute.name) for thing, attribute in self.choices]
        return [key for key in keys if key in plan.numbers]

    def specialise(self, checked: CheckedBook, values: Values) -> Plan | None:
        """Make a program for these fields, and answer its plan; None where that cannot be done."""
        from .effort import MOST_EFFORT, effort_of
        from .planning import CannotPlan, plan_project
        from .specialising import Program

        try:
            plan = plan_project(self.run, checked, values)
        except (CannotPlan, GaugebookError):
            return None
        self.effort = effort_of(plan)
        if self.effort > MOST_EFFORT:
            return None
        self._program, self._plan = Program(plan, self.checks, self._said), plan
        with self.run.exactly():
            known = [
                (number, self._said(thing, name, plan.answers[key]))
                for number, (thing, name) in enumerate(self.checks)
                if (key := (thing.path, f"{CHECK}{name}")) in plan.answers
            ]
        self.settled = sorted((verdict for verdict in known if verdict[1] is not None), key=weight)[:1]
        return plan

    def _outcome(self, ask: Callable[[Thing, str], Any], verdicts: list[Numbered]) -> Outcome:
        """What the values of the choices and the verdicts of the checks come to."""
        choices: list[str | None] = []
        for number, (thing, attribute) in enumerate(self.choices, -len(self.choices)):
            try:
                choices.append(text_of(ask(thing, attribute.name), attribute.unit))
            except Absent as absent:
                choices.append(None)
                said = (False if absent.void else None, None, f"{thing.path} {attribute.name}")
                verdicts.append((number, said))
        _, worst = min(verdicts, key=weight, default=(0, None))
        return Outcome(worst[0], worst[2], worst[1], choices) if worst else Outcome(True, None, None, choices)

    def _verdict(self, thing: Thing, name: str, trial: int) -> Said | None:
        key = (thing.path, name)
        if key in self._kept:
            return self._kept[key]
        answer, leans = self.run.leaning(lambda: self.run.check(thing, name))
        made = self._said(thing, name, answer)
        if trial not in leans:
            self._kept[key] = made
        return made

    def _said(self, thing: Thing, name: str, answer: Any) -> Said | None:
        """What the answer of a check says."""
        if answer is None:
            return None
        said = f"{thing.path} {name}"
        if isinstance(answer, Absent):
            return False if answer.void else None, None, said
        check = self.run.rulebook.checks[name]
        taken = thing.route.get(f"{CHECK}{name}", -1)
        ways = check.get("ways", [])
        sign = ways[taken]["sign"] if 0 <= taken < len(ways) else check["sign"]
        return answer[0], margin(sign, answer[1], answer[2], self._units[name]), said


Values = dict[tuple[str, str], Any]
"""(Thing, field) -> value."""


def _digits(cell: str) -> str:
    """A plain number without an exponent, or a fraction as it is."""
    return cell if "/" in cell else f"{Decimal(cell):f}"


# --- headers --------------------------------------------------------------------------------------


def read_header(header: str, run: Run) -> Field | None:
    """The field a header names, with its unit; None for a label, which has no dot in it.

    Raises `GaugebookError` when it names no field, or a unit of another kind.
    """
    if "." not in header.partition("[")[0]:
        return None
    found = _HEADER.fullmatch(header)
    known = dict(_fields(run))
    name = found["name"] if found else header
    if found is None or name not in known:
        raise GaugebookError.because("unknown-case-field", name=name, nearest=hint(name, known))
    thing, attribute = known[name]
    unit = found["unit"]
    if unit is not None:
        if attribute.unit is None:
            raise GaugebookError.because("case-field-without-unit", name=name, unit=unit)
        run.rulebook.units.quantity_as(f"1 {unit.strip()}", attribute.unit)
        unit = unit.strip()
    elif attribute.unit is not None and attribute.unit.text == "1":
        unit = "1"
    return Field(header.strip(), thing.path, attribute, unit, (*_path(thing), *attribute.steps))


def _fields(run: Run) -> Iterator[tuple[str, tuple[Thing, Attribute]]]:
    """Every field of every thing, by the name a project would state it under."""
    for thing in run.things.values():
        for attribute in run.rulebook.attributes[thing.kind].values():
            if attribute.field is not None:
                yield f"{thing.path}.{'.'.join(attribute.steps)}", (thing, attribute)


def _path(thing: Thing) -> tuple[str | int, ...]:
    """Where a thing stands in the data of its project."""
    if thing.parent is not None:
        section, _, index = thing.name.rstrip("]").partition("[")
        return (*_path(thing.parent), section, int(index))
    section = thing.path.removesuffix(f".{thing.name}")
    return (section,) if section == thing.path else (section, thing.name)


def _put(data: Any, path: tuple[str | int, ...], value: Any) -> None:
    for step in path[:-1]:
        data = data.setdefault(step, {}) if isinstance(data, dict) else data[step]
    data[path[-1]] = value
