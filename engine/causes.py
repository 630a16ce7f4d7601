"""Why two evaluations of one design differ: their derivations walked side by side to what changed.

A value differs because something it read differs, or because what it leans on says something else. The second
is settled by experiment: the program of the one book is run on the values of the other. Where the answer
stays, the difference is handed down to what was read.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from .diagnostics import GaugebookError
from .evaluating import Thing
from .rulebook import Attribute
from .runtime import Absent
from .sides import ALIEN, Context, Side, kept, same, verdict
from .tracing import Frame, Read, TracedRulebook, TracedRun, TracedTable


class Cell(NamedTuple):
    """The keys a table was asked for, in base units, and what it answered on each side (None: nothing)."""

    table: str
    keys: tuple[Any, ...]
    before: Any
    after: Any


@dataclass
class Cause:
    """One thing that was changed: an entry (by id), or an input (by `thing.field`)."""

    kind: str
    name: str
    cells: list[Cell] = field(default_factory=list)

    def meet(self, other: Cause) -> None:
        """Take in the cells of the same cause found elsewhere."""
        self.cells += [cell for cell in other.cells if cell not in self.cells]


Causes = dict[tuple[str, str], Cause]


class Dispute(NamedTuple):
    """One program asked about one thing on either side: the answers with what they took, compared as `of` says."""

    key: str
    told: list[tuple[Any, Frame]]
    things: list[Thing]
    context: Context
    of: Callable[[Any], Any]


class Walk:
    """Finds the root causes of differences between two sides."""

    def __init__(self, before: Side, after: Side) -> None:
        self.sides = before, after
        self._known: dict[tuple[str, str, Context], Causes] = {}

    def value(self, path: str, name: str) -> Causes:
        """Why an attribute of a thing differs; empty where it does not."""
        return self._value((path, name), ())

    def check(self, path: str, name: str) -> Causes:
        """Why the verdict of a check on a thing differs; empty where it does not."""
        return self._check(path, name, ())

    # -- nodes

    def _runs(self, context: Context) -> tuple[TracedRun, TracedRun]:
        before, after = self.sides
        return before.run(context), after.run(context)

    def _value(self, read: Read, context: Context) -> Causes:
        path, _ = read
        if any(bound == read for bound, _ in context):
            return {}
        there = [path in run.things for run in self._runs(context)]
        if not all(there):
            return _cause("input", path) if any(there) else {}
        key = (*read, context)
        if key not in self._known:
            self._known[key] = {}
            self._known[key] = self._differing(read, context)
        return self._known[key]

    def _differs(self, read: Read, context: Context) -> bool:
        path, name = read
        runs = self._runs(context)
        there = [path in run.things for run in runs]
        if not all(there):
            return any(there)
        return not same(*(self._answer(run, path, name) for run in runs))

    @staticmethod
    def _answer(run: TracedRun, path: str, name: str) -> Any:
        try:
            return run.ask(run.things[path], name)
        except (KeyError, GaugebookError):
            return ALIEN

    def _differing(self, read: Read, context: Context) -> Causes:
        if not self._differs(read, context):
            return {}
        path, name = read
        things = [run.things[path] for run in self._runs(context)]
        declared = [side.attribute(thing, name) for side, thing in zip(self.sides, things, strict=True)]
        before, after = declared
        if before is None or after is None or before.role != after.role:
            return _merged(_cause("entry", one.entry) for one in declared if one is not None)
        if any(name in thing.stated for thing in things) and self._inputs_differ(path, name):
            return _cause("input", f"{path}.{name}")
        if before.role == "rule":
            return self._program(f"rule {before.key}", read, context)
        if before.role == "choice":
            return self._choice(before, after, read, context)
        if before.role == "field" or before.field is not None:
            ids = {(one.field or {}).get("entry", one.entry) for one in (before, after)}
            changed = [id for id in ids if self._changed(id)]
            if changed:
                return _merged(_cause("entry", id) for id in changed)
        return self._related(before, read, context) or _cause("input", f"{path}.{name}")

    def _related(self, attribute: Attribute, read: Read, context: Context) -> Causes:
        """Why a relation nobody states differs: things that come, go, or are linked otherwise."""
        relation = attribute.data.get("relation") or ["link"]
        if relation[0] == "link":
            return {}
        path, name = read
        lists = [run.ask(run.things[path], name) for run in self._runs(context)]
        ways = [{thing.path for thing in things} if isinstance(things, list) else set() for things in lists]
        found = []
        for other in sorted(ways[0] ^ ways[1]):
            link = str(relation[1]) if relation[0] == "inverse" else ""
            found.append(self._value((other, link), context) if link else self._value((other, name), context))
        return _merged(found)

    def _inputs_differ(self, path: str, name: str) -> bool:
        """Whether the two projects state an attribute differently."""
        things = [side.run(()).things[path] for side in self.sides]
        stated = [thing.memo.get(name) if name in thing.stated else ALIEN for thing in things]
        return not same(*stated)

    # -- programs

    def _program(self, key: str, read: Read, context: Context) -> Causes:
        """Why a rule or a condition answers differently: its own content, or what it read."""
        return self._told(self._dispute(key, read[0], context, lambda value: value))

    def _dispute(self, key: str, path: str, context: Context, of: Callable[[Any], Any]) -> Dispute:
        """What a program answers on either side about a thing that both have."""
        runs = self._runs(context)
        things = [run.things[path] for run in runs]
        told = [run.call(key, thing) for run, thing in zip(runs, things, strict=True)]
        return Dispute(key, told, things, context, of)

    def _check(self, path: str, name: str, context: Context) -> Causes:
        there = [path in run.things for run in self._runs(context)]
        if not all(there):
            return _cause("input", path) if any(there) else {}
        known = [side for side in self.sides if name in side.rulebook.checks]
        if len(known) < len(self.sides):
            return _merged(_cause("entry", side.rulebook.checks[name]["entry"]) for side in known)
        return self._told(self._dispute(f"check {name}", path, context, verdict))

    def _told(self, dispute: Dispute) -> Causes:
        """The causes behind two different answers of one program."""
        (was, was_frame), (now, now_frame) = dispute.told
        context = dispute.context
        if same(dispute.of(was), dispute.of(now)):
            return {}
        found = self._own(dispute)
        differing = [read for read in {**was_frame.reads, **now_frame.reads} if self._differs(read, context)]
        if len(differing) + bool(found) > 1:
            telling = [read for read in differing if self._tells(read, dispute)]
            differing = telling or ([] if found else differing)
        found = _merged([found, *(self._value(read, context) for read in differing)])
        found = _merged([found, *self._readings({**was_frame.readings, **now_frame.readings}, context)])
        return found or self._last_resort(dispute.key)

    def _own(self, dispute: Dispute) -> Causes:
        """The entries of a program itself that make it answer differently on the same values."""
        key, told, things, context, of = dispute
        leans = dict.fromkeys(id for side in self.sides for id in side.leans(key))
        changed = [id for id in leans if self._changed(id) and not id.startswith("readings/")]
        if not changed:
            return {}
        fit, differ, by_table, by_rest = False, False, False, False
        frames = [frame for _, frame in told]
        tables = [id.partition("/")[2] for id in changed if id.startswith("tables/")]
        for number, run in enumerate(self._runs(context)):
            here, there = self.sides[number].rulebook, self.sides[1 - number].rulebook
            answer = of(told[number][0])
            foreign, frame = self._foreign(key, run, things[number], there, of)
            frames.append(frame)
            if foreign is ALIEN:
                continue
            fit = True
            if same(foreign, answer):
                continue
            differ = True
            swap = {name: there.traced[name] for name in tables if name in there.traced}
            by_table = by_table or not same(
                self._foreign(key, run, things[number], here, of, swap)[0], answer
            )
            swap = {name: here.traced[name] for name in tables if name in here.traced}
            by_rest = by_rest or not same(self._foreign(key, run, things[number], there, of, swap)[0], answer)
        if fit and not differ:
            return {}
        if not (by_table or by_rest):
            by_table = by_rest = True
        return self._named(
            [id for id in changed if (by_table if id.startswith("tables/") else by_rest)], frames
        )

    def _foreign(
        self,
        key: str,
        run: TracedRun,
        thing: Thing,
        book: TracedRulebook,
        of: Callable[[Any], Any],
        swap: Mapping[str, TracedTable] | None = None,
    ) -> tuple[Any, Frame]:
        """A program of a book on the values of a run, some tables swapped; `ALIEN` where they do not fit."""
        try:
            with kept(run), run.recorder.swap(swap or {}):
                run.readings_used.update(self._own_readings(book, run))
                answer, frame = run.call(key, thing, book)
        except (LookupError, TypeError, AttributeError, ArithmeticError, GaugebookError):
            return ALIEN, Frame()
        return of(answer), frame

    def _own_readings(self, book: TracedRulebook, run: TracedRun) -> Iterator[tuple[str, tuple[str, str]]]:
        """Readings that only the book of a program has, as they are settled on its side."""
        side = next(side for side in self.sides if side.rulebook is book)
        for name, body in book.frozen["readings"].items():
            if name not in run.rulebook.frozen["readings"]:
                yield name, side.settled.get(name) or (str(body["default"]), "default")

    def _named(self, changed: list[str], frames: list[Frame]) -> Causes:
        """The changed entries as causes; a table only where a cell that was asked for changed."""
        found: Causes = {}
        asked = {lookup: None for frame in frames for lookup in frame.lookups}
        tables = [id for id in changed if id.startswith("tables/")]
        for id in tables:
            cells = [
                cell for table, keys in asked if f"tables/{table}" == id for cell in self._cell(table, keys)
            ]
            if cells:
                found["entry", id] = Cause("entry", id, cells)
        others = [id for id in changed if id not in tables]
        kept = [id for id in others if all(side.content(id) for side in self.sides)]
        for id in kept or others:
            found["entry", id] = Cause("entry", id)
        return found or _merged(_cause("entry", id) for id in tables)

    def _cell(self, table: str, keys: tuple[Any, ...]) -> Iterator[Cell]:
        answers = []
        for side in self.sides:
            try:
                answers.append(side.rulebook.tables[table](*keys))
            except (LookupError, TypeError, ArithmeticError, Absent):
                answers.append(None)
        if not same(*answers):
            yield Cell(table, keys, *answers)

    def _changed(self, id: str) -> bool:
        before, after = self.sides
        return before.content(id) != after.content(id)

    def _last_resort(self, key: str) -> Causes:
        """Entries a program leans on without naming them: the order of a series, the words of a list."""
        ids = {id: None for side in self.sides for id in side.rulebook.entries}
        hidden = [id for id in ids if id.startswith(("series/", "terms/", "kinds/")) and self._changed(id)]
        return _merged(_cause("entry", id) for id in hidden or self.sides[0].leans(key)[:1])

    def _tells(self, read: Read, dispute: Dispute) -> bool:
        """Whether exchanging this one value between the sides changes the answer of either."""
        key, told, things, context, of = dispute
        path, name = read
        runs = self._runs(context)
        if not all(path in run.things for run in runs):
            return True
        values = [self._answer(run, path, name) for run in runs]
        if any(value is ALIEN or isinstance(value, (Thing, list)) for value in values):
            return True
        for number, run in enumerate(runs):
            with kept(run):
                run.things[path].memo[name] = values[1 - number]
                answer, _ = self._foreign(key, run, things[number], self.sides[number].rulebook, of)
            if answer is ALIEN or not same(answer, of(told[number][0])):
                return True
        return False

    def _readings(self, names: Iterable[str], context: Context) -> Iterator[Causes]:
        """Readings that are settled differently: by the books, or by somebody."""
        for name in names:
            if not all(name in side.rulebook.frozen["readings"] for side in self.sides):
                continue
            options = [run.reading(name) for run in self._runs(context)]
            if options[0] != options[1]:
                settled = any(name in side.settled for side in self.sides)
                yield _cause("input", f"readings.{name}") if settled else _cause("entry", f"readings/{name}")

    # -- choices

    def _choice(self, before: Attribute, after: Attribute, read: Read, context: Context) -> Causes:
        """Why another member was chosen: the condition, the list, or the checks on a candidate in dispute."""
        runs = self._runs(context)
        found = self._program(f"choice {before.key}", read, context)
        if found:
            return found
        tried = [run.trials.get(read, []) for run in runs]
        for (member, was), (other, now) in zip(*tried, strict=False):
            if member != other:
                break
            if _open(was) != _open(now):
                return self._candidate(before, read, member, context) or _cause("entry", before.entry)
        choices = [side.rulebook.frozen["choices"][before.key] for side in self.sides]
        ids = [one.entry for one in (before, after)] + [f"series/{choice['series']}" for choice in choices]
        changed = dict.fromkeys(id for id in ids if self._changed(id))
        return _merged(_cause("entry", id) for id in changed or [before.entry])

    def _candidate(self, attribute: Attribute, read: Read, member: Any, context: Context) -> Causes:
        """Why the checks judge one candidate differently."""
        path, _ = read
        bound = (*context, (read, member))
        constraining = [side.rulebook.frozen["choices"][attribute.key]["checks"] for side in self.sides]
        found: list[Causes] = []
        for check in dict.fromkeys(name for names in constraining for name in names):
            judges = [check in names for names in constraining]
            if all(judges):
                found.append(self._check(path, check, bound))
                continue
            run = self._runs(bound)[judges.index(True)]
            if verdict(run.call(f"check {check}", run.things[path])[0]) is not True:
                found.append(_cause("entry", run.rulebook.checks[check]["entry"]))
        return _merged(found)


def _open(outcome: Any) -> bool | None:
    """True for a candidate that passed, False for one rejected, None for one left undetermined."""
    return None if isinstance(outcome, Absent) else outcome is None


def _cause(kind: str, name: str) -> Causes:
    return {(kind, name): Cause(kind, name)}


def _merged(many: Iterable[Causes]) -> Causes:
    merged: Causes = {}
    for causes in many:
        for key, cause in causes.items():
            if key in merged:
                merged[key].meet(cause)
            else:
                merged[key] = Cause(cause.kind, cause.name, list(cause.cells))
    return merged
