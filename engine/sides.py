"""One side of a comparison: a project under a book, evaluated afresh for every candidate under discussion."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from .evaluating import Thing
from .rulebook import Attribute
from .runtime import Absent
from .source import Source
from .tracing import Read, TracedRulebook, TracedRun, traced_run

Context = tuple[tuple[Read, Any], ...]
"""Attributes bound to a candidate, outermost choice first."""

ALIEN = object()
"""Stands for what a program of one book cannot answer about the things of the other."""


@dataclass
class Side:
    """One of the two evaluations: a book, a project with its layout applied, and the readings settled."""

    rulebook: TracedRulebook
    source: Source
    settled: dict[str, tuple[str, str]]
    runs: dict[Context, TracedRun] = field(default_factory=dict)

    def run(self, context: Context) -> TracedRun:
        """The evaluation with the attributes of the context bound."""
        if context not in self.runs:
            self.runs[context] = traced_run(self.source, self.rulebook, self.settled, dict(context))
        return self.runs[context]

    def attribute(self, thing: Thing, name: str) -> Attribute | None:
        """The declaration of an attribute in this book."""
        return self.rulebook.attributes.get(thing.kind, {}).get(name)

    def content(self, id: str) -> str | None:
        """The identity of an entry; None where the book has none of that name."""
        entry = self.rulebook.entries.get(id)
        return None if entry is None else entry["content"]

    def leans(self, key: str) -> list[str]:
        """The entries a program is made of: its own, and the tables, constants and series it names."""
        section, _, name = key.partition(" ")
        frozen = self.rulebook.frozen
        if section == "check":
            check = self.rulebook.checks[name]
            return [check["entry"], *check["leans"]]
        kind, _, attribute = name.partition(".")
        made = frozen["rules" if section == "rule" else "choices"][name]
        return [self.rulebook.attributes[kind][attribute].entry, *made["leans"]]


def same(a: Any, b: Any) -> bool:
    """Whether two values are one, things compared by name and absent values by whether the rules say so."""
    if isinstance(a, Absent) or isinstance(b, Absent):
        return isinstance(a, Absent) and isinstance(b, Absent) and a.void == b.void
    if isinstance(a, Thing) and isinstance(b, Thing):
        return a.path == b.path
    if isinstance(a, list) and isinstance(b, list):
        return len(a) == len(b) and all(same(x, y) for x, y in zip(a, b, strict=True))
    return bool(a == b)


def verdict(outcome: Any) -> bool | None:
    """Whether a check is in order: it passes or does not apply; None where that is open."""
    if isinstance(outcome, Absent):
        return False if outcome.void else None
    return outcome is None or bool(outcome[0])


class kept:
    """Puts back every value of a run when the experiment is over."""

    def __init__(self, run: TracedRun) -> None:
        self.run = run

    def __enter__(self) -> None:
        self.kept = [(thing, dict(thing.memo), dict(thing.route)) for thing in self.run.things.values()]
        self.frames, self.rejected = dict(self.run.frames), dict(self.run.rejected)
        self.readings = dict(self.run.readings_used)
        self.trials = {read: list(trials) for read, trials in self.run.trials.items()}

    def __exit__(self, *_: object) -> None:
        for thing, memo, route in self.kept:
            thing.memo, thing.route = memo, route
        self.run.frames, self.run.rejected, self.run.trials = self.frames, self.rejected, self.trials
        self.run.readings_used = self.readings
