"""A stated size judged: what the choice would have come to, and how much the stated one could take."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from .diagnostics import Problems
from .evaluating import Run, Thing
from .project import fill_run
from .records import Record
from .rulebook import Attribute
from .runtime import Absent
from .source import Source

TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any

    from .searching import Point

REACH = 10**6
"""How many times what a member takes now it is tried with."""


def unstated(run: Run, source: Source, thing: Thing, name: str) -> Any:
    """What the rules would choose for an attribute that the project states, or the `Absent` in its place.

    `run` is left as it is; everything else the project states stays stated.
    """
    fresh = _afresh(run, source)
    other = fresh.things[thing.path]
    other.stated.discard(name)
    other.memo.pop(name, None)
    with fresh.exactly():
        try:
            return other.get(name)
        except Absent as absent:
            return absent


class Most(Record):
    """How much a stated member could take: `value` is the bound, `included` says whether the bound itself passes.

    `value` is None where it passes with everything that was tried (`included`), or with nothing.
    """

    value: Decimal | None
    included: bool


def could_take(run: Run, source: Source, thing: Thing, load: Attribute, checks: Sequence[str]) -> Most | None:
    """The greatest value of an attribute with which a thing passes some checks, everything else as it is.

    Where it passes now, that is the first bound above which it does not; else the first below which it does.
    None where the attribute has no value to begin from.
    """
    from .searching import Search, roundest

    unit = load.unit
    try:
        now = thing.get(load.name)
    except Absent:
        return None
    if not isinstance(now, Decimal) or unit is None or now <= 0:
        return None
    fresh = _afresh(run, source)

    def evaluate(value: Decimal) -> Point:
        with fresh.bound({(thing.path, load.name): value}):
            return _judged(fresh.things[thing.path], value, checks)

    with fresh.exactly():
        search = Search(evaluate, now, now, False, lambda value, within: roundest(unit, value, within))
        passing = search.at(now).outcomes
        for change in search.outward(now * REACH if all(passing) else Decimal(0)):
            if change.far.outcomes != passing:
                return Most(change.bound.value, all(change.bound.outcomes))
    return Most(None, all(passing))


def _judged(thing: Thing, value: Decimal, checks: Sequence[str]) -> Point:
    """Whether a thing passes the checks with a value, and how far it is from each limit."""
    from .searching import Point
    from .watching import ZERO, Decision

    def verdicts() -> Iterator[Decision]:
        for check in checks:
            try:
                verdict = thing.run.check(thing, check)
            except Absent as absent:
                yield Decision(False if absent.void else None)
                continue
            passes, actual, limit = verdict or (True, None, None)
            apart = actual - limit if isinstance(actual, Decimal) and isinstance(limit, Decimal) else None
            yield Decision(passes, apart, ZERO)

    decisions = tuple(verdicts())
    return Point(value, (all(decision.result for decision in decisions),), decisions)


def _afresh(run: Run, source: Source) -> Run:
    fresh = Run(run.rulebook, run.settled)
    fill_run(fresh, source, Problems())
    return fresh
