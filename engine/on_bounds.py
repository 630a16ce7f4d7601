"""Values that sit exactly on a bound of a table, and checks that stand right at their limit."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from .results import plain, unit_text
from .runtime import Absent, near
from .searching import RESOLUTION
from .studying import Data, Outcome, Study, quantity
from .tracing import Frame, Read


def on_bounds(study: Study) -> Iterator[Data]:
    """Every number right on a bound of a table it was looked up in, and every check right at its limit."""
    traced = study.traced
    for thing in traced.things.values():
        for attribute in study.book.attributes[thing.kind].values():
            if attribute.role in ("rule", "choice"):
                traced.ask(thing, attribute.name)
    frames: dict[str, tuple[Frame, Read | Outcome]] = {}
    for read, frame in traced.frames.items():
        if traced.rulebook.attributes[traced.things[read[0]].kind][read[1]].role == "rule":
            frames[".".join(read)] = frame, read
    for outcome, frame in study.frames.items():
        if outcome.kind == "check":
            frames[outcome.label] = frame, outcome
    for label, (frame, node) in frames.items():
        leaning = study.leaning(node) if not isinstance(node, Outcome) else {node}
        outcomes = [outcome.label for outcome in study.outcomes if outcome in leaning]
        for table, keys in frame.lookups:
            for place in _bounds_met(study, table, keys):
                yield {"kind": "table", "value_of": label, **place, "outcomes": outcomes}
    for outcome in study.outcomes:
        if outcome.kind == "check":
            yield from _at_limit(study, outcome)


def _bounds_met(study: Study, table: str, keys: tuple[Any, ...]) -> Iterator[Data]:
    made = study.traced.rulebook.tables[table]
    data = study.book.frozen["tables"][table]
    unit = study.book.units.unit(data["unit"]) if data["unit"] else None
    for number, (axis, key) in enumerate(zip(made.axes, keys, strict=True)):
        if axis.match in ("exact", "linear") or not isinstance(key, Decimal):
            continue
        if not any(near(bound, key) for bound in axis.bounds):
            continue
        sides = {}
        key_unit = study.book.units.unit(data["axes"][number]["unit"] or "1")
        nudge = RESOLUTION * (abs(key) or 1)
        for word, value in (("at", key), ("below", key - nudge), ("above", key + nudge)):
            moved = (*keys[:number], value, *keys[number + 1 :])
            try:
                with study.run.exactly():
                    sides[word] = plain(made(*moved), unit)
            except Absent:
                sides[word] = None
        yield {
            "entry": study.book.entries[f"tables/{table}"]["full"],
            "key": axis.name,
            "bound": quantity(key, key_unit),
            **sides,
            "unit": unit_text(unit),
        }


def _at_limit(study: Study, outcome: Outcome) -> Iterator[Data]:
    """A check whose two sides are equal."""
    told, _ = study.traced.call(f"check {outcome.name}", study.traced.things[outcome.thing])
    if (
        isinstance(told, Absent)
        or told is None
        or not isinstance(told[1], Decimal)
        or not isinstance(told[2], Decimal)
    ):
        return
    if near(told[1], told[2]):
        check = study.book.checks[outcome.name]
        unit = study.book.units.unit(check["unit"]) if check["unit"] else None
        yield {
            "kind": "check",
            "value_of": outcome.label,
            "entry": study.book.entries[check["entry"]]["full"],
            "bound": quantity(told[2], unit),
            "at": "passes" if told[0] else "fails",
            "outcomes": [outcome.label],
        }
