"""How much work a plan is: the steps that one row takes at most, known before any row is read."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from math import prod
from typing import Any

from .meaning import Op
from .planning import Key, Plan

MOST_EFFORT = 2_000_000_000
"""Steps that one row may take by a plan: about a minute."""

Reader = int | Key
"""A place by its number, or a check."""


def effort_of(plan: Plan) -> int:
    """The steps that one row takes at most.

    All there are, and for each member tried again those that its checks come to and that lean on it; all of
    that for every way to make the choices that lean back on it, and once more for each other it leans on.
    """
    members = plan.run.rulebook.members
    readers: list[Reader] = [*range(len(plan.places)), *plan.checks]
    steps = {reader: 1 + sum(_steps(op, members) for op in plan.ops(reader)) for reader in readers}
    leaning = {place.number: set(place.leaning) for place in plan.places if place.chosen}
    upon = Counter(other for below in leaning.values() for other in below & leaning.keys())
    total = sum(steps.values())
    for number, below in leaning.items():
        place = plan.places[number]
        mutual = [plan.places[other] for other in below & leaning.keys() if number in leaning[other]]
        tried = prod(len(each.members) for each in (place, *mutual))
        again = len(below) + sum(steps.get(reader, 1) for reader in _asked(plan, place.checks, below))
        total += (1 + upon[number] - len(mutual)) * tried * again
    return total


def _asked(plan: Plan, checks: Sequence[Key], among: set[int]) -> set[Reader]:
    """Some checks and the places among some that they come to, with the checks of choices there."""
    found: set[Reader] = set()
    waiting: list[Reader] = [*checks]
    while waiting:
        reader = waiting.pop()
        if reader in found or (isinstance(reader, int) and reader not in among):
            continue
        found.add(reader)
        waiting += plan.reads.get(reader, ())
        if isinstance(reader, int):
            waiting += plan.places[reader].checks
    return found


def _steps(op: Op, members: Mapping[str, Sequence[Any]]) -> int:
    """The steps of an expression, those of a pick once for each member."""
    inside = sum(_steps(part, members) for part in op.children())
    return 1 + inside * (len(members[op.parts[2]]) if op.code == "pick" else 1)
