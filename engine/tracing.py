"""A run that remembers what every value read: attributes of things, cells of tables, readings.

Ordinary runs pay nothing for it: only a `TracedRun` under a `TracedRulebook` of the same `Recorder` records.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from types import CodeType
from typing import Any, ClassVar

from .diagnostics import Problems
from .evaluating import Rejected, Run, Thing
from .project import fill_run
from .rulebook import Attribute, Rulebook
from .runtime import Absent, Table
from .source import Source

Read = tuple[str, str]
"""The path of a thing and the name of one of its attributes."""

Trial = tuple[Any, Rejected | Absent | None]
"""A candidate, and why it was rejected, what left it open, or None where it passed."""


class Frame:
    """What one computation read itself, each once and in order."""

    __slots__ = ("lookups", "readings", "reads")

    def __init__(self) -> None:
        self.reads: dict[Read, None] = {}
        self.lookups: dict[tuple[str, tuple[Any, ...]], None] = {}
        self.readings: dict[str, None] = {}


class Recorder:
    """The computations under way, innermost last; `swapped` are tables that answer in place of others."""

    def __init__(self) -> None:
        self.open: list[Frame] = []
        self.swapped: dict[str, TracedTable] = {}

    @contextmanager
    def frame(self) -> Iterator[Frame]:
        """Record into a fresh frame."""
        frame = Frame()
        self.open.append(frame)
        try:
            yield frame
        finally:
            self.open.pop()

    @contextmanager
    def swap(self, tables: Mapping[str, TracedTable]) -> Iterator[None]:
        """Let these tables answer in place of those of the same name."""
        self.swapped = dict(tables)
        try:
            yield
        finally:
            self.swapped = {}


class TracedTable(Table):
    """A table that notes the keys it is asked for."""

    __slots__ = ("recorder",)
    recorder: Recorder

    def __call__(self, *keys: Any) -> Any:
        """The cell at `keys`; raises `Absent` as any table does."""
        if self.recorder.open:
            self.recorder.open[-1].lookups[self.name, keys] = None
        stand_in = self.recorder.swapped.get(self.name, self)
        return super(TracedTable, stand_in).__call__(*keys)


class TracedRulebook(Rulebook):
    """A rulebook whose tables note what they are asked for."""

    table_type: ClassVar[type[Table]] = TracedTable

    def __init__(self, frozen: dict[str, Any], recorder: Recorder, code: CodeType | None = None) -> None:
        super().__init__(frozen, code)
        self.recorder = recorder
        self.traced: dict[str, TracedTable] = {}
        for name, table in self.tables.items():
            assert isinstance(table, TracedTable)
            table.recorder = recorder
            self.traced[name] = table


class TracedThing(Thing):
    """A thing that notes what it is asked."""

    __slots__ = ()
    run: TracedRun

    def get(self, name: str) -> Any:
        """The value of an attribute; raises `Absent` when there is none."""
        open_frames = self.run.recorder.open
        if open_frames:
            open_frames[-1].reads[self.path, name] = None
        return super().get(name)


class TracedRun(Run):
    """A run that keeps, for every value, the frame of its last computation, and every candidate tried.

    `edges` gathers whatever a value has read in any of its computations.
    """

    thing_type: ClassVar[type[Thing]] = TracedThing

    def __init__(self, rulebook: TracedRulebook, settled: dict[str, tuple[str, str]] | None = None) -> None:
        super().__init__(rulebook, settled)
        self.recorder = rulebook.recorder
        self.frames: dict[Read, Frame] = {}
        self.edges: dict[Read, dict[Read, None]] = {}
        self.trials: dict[Read, list[Trial]] = {}

    def settle(self, thing: Thing, name: str) -> Any:
        """Compute and keep a value, and what it read."""
        key = (thing.path, name)
        with self.recorder.frame() as frame:
            try:
                return super().settle(thing, name)
            finally:
                self.frames[key] = frame
                self.edges.setdefault(key, {}).update(frame.reads)

    def reading(self, name: str) -> str:
        """The option of a reading in force here."""
        if self.recorder.open:
            self.recorder.open[-1].readings[name] = None
        return super().reading(name)

    def _choose(self, thing: Thing, attribute: Attribute) -> Any:
        self.trials[thing.path, attribute.name] = []
        return super()._choose(thing, attribute)

    def _try(self, thing: Thing, name: str, member: Any, checks: list[str]) -> Rejected | None:
        outcome: Rejected | Absent | None = None
        try:
            outcome = super()._try(thing, name, member, checks)
            return outcome
        except Absent as absent:
            outcome = absent
            raise
        finally:
            self.trials[thing.path, name].append((member, outcome))

    # -- asking from outside

    def ask(self, thing: Thing, name: str) -> Any:
        """The value, or the `Absent` that stands in its place."""
        with self.exactly():
            try:
                return thing.get(name)
            except Absent as absent:
                return absent

    def call(self, key: str, thing: Thing, rulebook: Rulebook | None = None) -> tuple[Any, Frame]:
        """What a compiled program (`rule kind.name`, `check name`, `choice kind.name`) answers and reads.

        It may be that of another book: its own tables and constants then meet the values of this run.
        """
        with self.exactly(), self.recorder.frame() as frame:
            try:
                return (rulebook or self.rulebook).functions[key](thing), frame
            except Absent as absent:
                return absent, frame


def traced_run(
    source: Source,
    rulebook: TracedRulebook,
    settled: dict[str, tuple[str, str]],
    bound: Mapping[Read, Any] | None = None,
) -> TracedRun:
    """A traced run of a project known to be sound, with some attributes bound to given values."""
    run = TracedRun(rulebook, settled)
    problems = Problems()
    fill_run(run, source, problems)
    problems.refuse_if_any()
    for (path, name), value in (bound or {}).items():
        run.things[path].memo[name] = value
    return run


__all__ = ["Frame", "Read", "Recorder", "TracedRulebook", "TracedRun", "TracedTable", "traced_run"]
