"""Worked cases of a ruleset: what a project must come to under it, and which entries no case touches.

A case file (`cases/1`) gives project fragments and the values expected of them. Only what a case expects is
evaluated, so an entry counts as touched when an expected value leaned on it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar, NamedTuple

from .books import open_book
from .diagnostics import Diagnostic, GaugebookError, Problems, Span, diagnose, hint
from .documents import Document, read
from .evaluating import Run, Thing, read_value
from .moments import Moment
from .project import build_run
from .resources import PathLike
from .rulebook import Attribute, Rulebook
from .runtime import DASH, MISSING, SLACK, Absent, Table
from .schema import validate
from .session import Offer, read_stated, settle_readings, stated_readings, with_taken
from .source import Source
from .units import UnitError, show

if TYPE_CHECKING:
    from .runtime import MakeTable

SECTIONS = ("tables", "constants", "readings", "rules", "checks", "choices")
"""The sections whose entries a case can touch."""

UNDETERMINED = "undetermined"
NONE = "none"
NOT_APPLICABLE = "not_applicable"


Cell = tuple[str, tuple[Any, ...]]
"""A cell: the name of its table and its printed keys, which hold on every day."""


class CountedTable(Table):
    """A table that remembers which of its cells were read, and lets one be changed."""

    __slots__ = ("hits",)

    def __init__(self, name: str, make: MakeTable) -> None:
        super().__init__(name, make)
        self.hits: set[tuple[int, ...]] = set()

    def _value(self, places: tuple[int, ...], keys: Sequence[Any]) -> Any:
        self.hits.add(places)
        return super()._value(places, keys)

    def keys_at(self, places: tuple[int, ...]) -> tuple[Any, ...]:
        """The printed keys of a cell."""
        return tuple(axis.keys[place] for axis, place in zip(self.axes, places, strict=True))

    def printed(self) -> set[Cell]:
        """The cells that hold a value."""
        return {
            (self.name, self.keys_at(places))
            for places, value in self.cells.items()
            if value not in (DASH, MISSING)
        }

    def change(self, keys: tuple[Any, ...], was: Any, to: Any) -> bool:
        """Let the cell at these printed keys say something else; False where it does not say `was`."""
        places = tuple(axis.places.get(key, -1) for axis, key in zip(self.axes, keys, strict=True))
        if self.cells.get(places) != was:
            return False
        self.cells[places] = to
        return True


class CountedRulebook(Rulebook):
    """A rulebook whose tables count."""

    table_type: ClassVar[type[Table]] = CountedTable

    def counted(self) -> Iterator[CountedTable]:
        """Its tables."""
        yield from (table for table in self.tables.values() if isinstance(table, CountedTable))

    def cells_read(self) -> frozenset[Cell]:
        """What was read since this was last asked."""
        found = frozenset((table.name, table.keys_at(at)) for table in self.counted() for at in table.hits)
        for table in self.counted():
            table.hits.clear()
        return found


@dataclass(frozen=True)
class Miss:
    """One expectation that did not come true."""

    case: str
    what: str
    expected: str
    found: str
    span: Span

    def __str__(self) -> str:
        return f"{self.span}: {self.case}: {self.what} is {self.found}, expected {self.expected}"


class Ran(NamedTuple):
    """A case that was run: where it stands, the day it is looked at, what did not come true, what it read."""

    document: Document
    number: int
    day: str | None
    misses: list[Miss]
    read: frozenset[Cell]


@dataclass
class Outcome:
    """What came of all cases of a ruleset.

    `untouched` are entry ids no case leaned on; `cells` maps a table to (cells read, cells printed). `books`
    are the rulebooks by day, `ran` the cases one by one.
    """

    books: Books
    ran: list[Ran] = field(default_factory=list)
    cases: int = 0
    failed: int = 0
    misses: list[Miss] = field(default_factory=list)
    notices: list[Diagnostic] = field(default_factory=list)
    untouched: list[str] = field(default_factory=list)
    cells: dict[str, tuple[int, int]] = field(default_factory=dict)


def case_files(place: Path) -> list[Path]:
    """The case files of the ruleset at a folder; a ruleset of one file has none."""
    return sorted((place / "cases").glob("*.yaml")) if place.is_dir() else []


class Books:
    """The rulebooks of one ruleset by the day they are looked at; each is opened when first asked for."""

    def __init__(self, id: str, folders: Sequence[PathLike]) -> None:
        self.id, self.folders = id, folders
        self.by_day: dict[str | None, CountedRulebook] = {}

    def on(self, day: str | None) -> CountedRulebook:
        """The rulebook of a day; None for the ruleset as its layers end up."""
        if day not in self.by_day:
            self.by_day[day] = CountedRulebook(open_book([self.id], self.folders, Moment(day)).frozen)
        return self.by_day[day]


def try_cases(id: str, place: Path, folders: Sequence[PathLike] = ()) -> Outcome:
    """Run the cases of a ruleset under that ruleset.

    Raises `Refused` for faults of the ruleset or of a case file; a case that fails is no fault.
    """
    books = Books(id, folders)
    rulebook = books.on(None)
    outcome = Outcome(books)
    problems = Problems()
    touched: set[str] = set()
    for path in case_files(place):
        document = read(path, problems)
        if document is None or not validate(document, "cases", problems):
            continue
        for index in range(len(document.data["cases"])):
            day = day_of(document, index)
            case = Case(document, index, books.on(day), problems)
            misses = list(case.misses())
            outcome.ran.append(Ran(document, index, day, misses, books.on(day).cells_read()))
            outcome.cases += 1
            outcome.failed += bool(misses)
            outcome.misses += misses
            outcome.notices += [notice for notice in case.notices if notice not in outcome.notices]
            touched |= set(case.touched())
    problems.refuse_if_any()
    hits: set[Cell] = set().union(*(ran.read for ran in outcome.ran))
    touched |= {f"tables/{name}" for name, _ in hits}
    outcome.untouched = [
        id for id in rulebook.entries if id.partition("/")[0] in SECTIONS and id not in touched
    ]
    for table in rulebook.counted():
        printed = table.printed()
        outcome.cells[table.name] = (len(hits & printed), len(printed))
    return outcome


def day_of(document: Document, index: int) -> str | None:
    """The day a case is looked at; None for the ruleset as its layers end up."""
    day = document.data["cases"][index].get("date")
    return None if day is None else str(day)


class Case:
    """One case: a project, the rulebook, and what is expected of them."""

    def __init__(self, document: Document, index: int, rulebook: Rulebook, problems: Problems) -> None:
        self.document, self.rulebook, self.problems = document, rulebook, problems
        self.at = ("cases", index)
        self.body: dict[str, Any] = document.data["cases"][index]
        self.name = str(self.body["name"])
        self.run: Run | None = None
        self.notices: list[Diagnostic] = []
        self.checked: set[str] = set()
        self.tolerance = self._tolerance()

    def misses(self) -> Iterator[Miss]:
        """Run the case; whatever the case itself says wrongly goes to the problems."""
        before = len(self.problems)
        if ("given" in self.body) == ("project" in self.body):
            self.problems.add("case-needs-project", self._span(), case=self.name)
        if not self.body.get("expect") and not self.body.get("checks"):
            self.problems.add("case-without-expectation", self._span(), case=self.name)
        if len(self.problems) > before:
            return
        source = self._source()
        if source is None:
            return
        own = [
            Offer(str(name), str(option), "call", self._span("readings", name))
            for name, option in (self.body.get("readings") or {}).items()
        ]
        offers = [*stated_readings(source, self.problems), *own]
        settled = settle_readings(offers, self.rulebook, self.problems)
        self.run = build_run(source, self.rulebook, settled, self.problems)
        self.notices += self.run.notices
        if len(self.problems) > before:
            return
        with self.run.exactly():
            for key, expected in (self.body.get("expect") or {}).items():
                yield from self._guarded(("expect", key), self._value, str(key), expected)
            for key, expected in (self.body.get("checks") or {}).items():
                yield from self._guarded(("checks", key), self._check, str(key), expected)

    def _guarded(self, at: tuple[str, Any], judge: Any, key: str, expected: Any) -> Iterator[Miss]:
        """What `judge` says of one expectation; a contradiction of the book is reported at it."""
        try:
            found = judge(key, expected, self._span(*at))
        except GaugebookError as error:
            self.problems.take(error, self._span(*at))
            return
        if found is not None:
            yield Miss(self.name, key, _written(expected), found, self.document.key_span((*self.at, *at)))

    def _span(self, *below: Any) -> Span:
        return self.document.span((*self.at, *below))

    def _source(self) -> Source | None:
        layout = self.body.get("layout")
        if "project" in self.body:
            path = Path(self.document.name).parent / str(self.body["project"])
            return read_stated(path, layout, self.problems)
        base = [("base",)] if "base" in self.document.data else []
        source = Source(self.document, layout, self.problems, [*base, (*self.at, "given")])
        return with_taken(source, self.problems)

    # -- expectations: each answers what was found when that is not what is expected

    def _thing(self, path: str, span: Span) -> Thing | None:
        assert self.run is not None
        thing = self.run.things.get(path)
        if thing is None:
            self.problems.add("unknown-place", span, name=path, nearest=hint(path, self.run.things))
        return thing

    def _current(self, thing: Thing, name: str, span: Span) -> str:
        """The name a value or a check has now."""
        now = self.rulebook.current(thing.kind, name)
        if now != name:
            self.notices.append(diagnose("entry-renamed", span, old=name, new=now))
        return now

    def _value(self, key: str, expected: Any, span: Span) -> str | None:
        path, _, said = key.rpartition(".")
        thing = self._thing(path, span)
        if thing is None:
            return None
        name = self._current(thing, said, span)
        attributes = {
            known: attribute
            for known, attribute in self.rulebook.attributes[thing.kind].items()
            if attribute.role != "relation"
        }
        if name not in attributes:
            near = hint(name, attributes)
            self.problems.add("value-not-derived", span, kind=thing.kind, name=name, nearest=near)
            return None
        attribute = attributes[name]
        wanted = self._wanted(attribute, _written(expected), span)
        try:
            value = thing.get(name)
        except Absent as absent:
            word = NONE if absent.void else UNDETERMINED
            return None if wanted == word else f"{word} ({'; '.join(absent.reasons)})"
        if value is None:
            return None if wanted == NONE else NONE
        if isinstance(value, Decimal) and isinstance(wanted, Decimal):
            if abs(value - wanted) <= self.tolerance * max(abs(value), abs(wanted)):
                return None
            unit = attribute.unit or self.rulebook.units.unit("1")
            return show(value, unit, 8)
        return None if value == wanted else _said(value, attribute)

    def _wanted(self, attribute: Attribute, text: str, span: Span) -> Any:
        words = self.rulebook.frozen["terms"].get(attribute.detail, []) if attribute.sort == "word" else []
        if text in (NONE, UNDETERMINED) and text not in words:
            return text
        try:
            return read_value(self.rulebook, attribute, text)
        except UnitError as error:
            self.problems.take(error, span)
        except ValueError:
            labels = self.rulebook.labels.get(str(attribute.detail), {})
            known = words or list(labels.values()) or ["yes", "no"]
            among = ", ".join(known[:16])
            self.problems.add("unknown-word", span, word=text, among=among, nearest=hint(text, known))
        return text

    def _tolerance(self) -> Decimal:
        """The relative tolerance of the case."""
        if "tolerance" not in self.body:
            return SLACK
        try:
            return self.rulebook.units.quantity_as(self.body["tolerance"], self.rulebook.units.unit("1"))
        except UnitError as error:
            self.problems.take(error, self._span("tolerance"))
            return SLACK

    def _check(self, key: str, expected: str, span: Span) -> str | None:
        path, space, said = key.rpartition(" ")
        if not space:
            self.problems.add("bad-check-key", span, key=key)
            return None
        thing = self._thing(path, span)
        if thing is None:
            return None
        name = self._current(thing, said, span)
        known = [check for check, body in self.rulebook.checks.items() if body["kind"] == thing.kind]
        if name not in known:
            self.problems.add("unknown-check", span, name=name, kind=thing.kind, nearest=hint(name, known))
            return None
        assert self.run is not None
        self.checked.add(name)
        try:
            verdict = self.run.check(thing, name)
        except Absent as absent:
            found = "fail" if absent.void else UNDETERMINED
            return None if found == expected else f"{found} ({'; '.join(absent.reasons)})"
        found = NOT_APPLICABLE if verdict is None else "pass" if verdict[0] else "fail"
        return None if found == expected else found

    # -- coverage

    def touched(self) -> Iterator[str]:
        """The entries the expectations of this case leaned on, tables aside (they count for themselves)."""
        if self.run is None:
            return
        frozen = self.rulebook.frozen
        yield from (f"readings/{name}" for name in self.run.readings_used)
        checks = set(self.checked)
        for thing in self.run.things.values():
            for attribute in self.rulebook.attributes[thing.kind].values():
                if attribute.name not in thing.memo or attribute.role not in ("rule", "choice"):
                    continue
                yield attribute.entry
                if attribute.role == "rule":
                    routes = frozen["rules"][attribute.key]["routes"]
                    yield from routes[thing.route.get(attribute.name, 0)]["leans"]
                elif attribute.name not in thing.stated:
                    checks.update(frozen["choices"][attribute.key]["checks"])
        for name in checks:
            yield self.rulebook.checks[name]["entry"]
            yield from (id for id in self.rulebook.checks[name]["leans"] if not id.startswith("tables/"))


def _written(value: Any) -> str:
    with_decimals = isinstance(value, Decimal)
    return f"{value:f}" if with_decimals else NONE if value is None else str(value)


def _said(value: Any, attribute: Attribute) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Decimal) and attribute.unit is not None:
        return show(value, attribute.unit, 8)
    return str(value)
