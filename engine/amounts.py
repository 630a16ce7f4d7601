"""What designs add up to side by side, as far as their books say what to add up (`totals`)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from .evaluating import Thing
from .results import plain, unit_text
from .runtime import EXACT, Absent
from .sides import Side
from .tracing import TracedRun
from .units import Unit

Group = tuple[tuple[str, Any], ...]
"""The attributes a total is split by, with the values of one part."""


@dataclass
class Line:
    """One part of a total in every design: amounts in base units, None where something in it has no value.

    `each` names what the amount recurs in; None for what is there once.
    """

    name: str
    title: str
    group: Group
    unit: Unit | None
    each: str | None
    amounts: list[Decimal | None] = field(default_factory=list)

    def to_data(self) -> dict[str, Any]:
        """As JSON data, the amounts in the unit named."""
        return {
            "name": self.name,
            "title": self.title,
            "group": dict(self.group),
            "unit": unit_text(self.unit),
            "each": self.each,
            "amounts": [None if amount is None else plain(amount, self.unit) for amount in self.amounts],
        }


def add_up(sides: Sequence[Side]) -> list[Line]:
    """A line per total and group, with the amount of each side; in the order of the book and of its series.

    Parts that come to nothing on every side are left out.
    """
    lines: dict[tuple[str, Group], Line] = {}
    places: dict[tuple[str, Group], tuple[float, ...]] = {}
    for number, side in enumerate(sides):
        run = side.run(())
        for name, total in side.rulebook.frozen["totals"].items():
            for thing in run.by_kind[total["of"]]:
                group = tuple((by, _group_value(side, run, thing, by)) for by in total["by"])
                if (name, group) not in lines:
                    names = list(dict.fromkeys([*(known for known, _ in lines), name]))
                    places[name, group] = names.index(name), *_ranks(side, thing, group)
                    lines[name, group] = _empty_line(side, name, total, group, len(sides))
                amounts, value = lines[name, group].amounts, run.ask(thing, total["sum"])
                amounts[number] = _plus(amounts[number], value)
    ordered = [lines[key] for key in sorted(lines, key=lambda key: places[key])]
    return [line for line in ordered if any(amount is None or amount for amount in line.amounts)]


def _plus(so_far: Decimal | None, value: Any) -> Decimal | None:
    """A sum with one more part; not known where one of them is not."""
    return EXACT.add(so_far, value) if so_far is not None and isinstance(value, Decimal) else None


def _empty_line(side: Side, name: str, total: dict[str, Any], group: Group, columns: int) -> Line:
    declared = side.rulebook.attributes[total["of"]][total["sum"]]
    return Line(name, total["title"], group, declared.unit, total["each"], [Decimal(0)] * columns)


def _group_value(side: Side, run: TracedRun, thing: Thing, name: str) -> Any:
    value, declared = run.ask(thing, name), side.attribute(thing, name)
    return None if isinstance(value, Absent) else plain(value, declared.unit if declared else None)


def _ranks(side: Side, thing: Thing, group: Group) -> Iterator[float]:
    """Where each value of a group stands among its like: a number by itself, a member in its series."""
    for name, value in group:
        declared = side.attribute(thing, name)
        ranks = side.rulebook.ranks.get(str(declared.detail), {}) if declared else {}
        yield value if isinstance(value, float) else ranks.get(value, -1)
