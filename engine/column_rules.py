"""The rules and checks of a plan as functions that answer for a frame of rows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np

from .arrays import (
    ORDER,
    UNKNOWN,
    Column,
    blend,
    every,
    first,
    here,
    lacking,
    opposite,
    plain,
    single,
    some,
    where,
)
from .column_steps import TRUE, Ask, Frame
from .column_tables import TableSteps
from .grids import Codes
from .meaning import Op
from .planning import Plan
from .programs import Check, Route
from .runtime import MOST_FIGURES, Absent
from .spans import Spans


class Verdict(NamedTuple):
    """What a check says in each row: whether it applies, whether it passes, both sides, and which way spoke."""

    applies: Any
    passes: Any
    actual: Column
    limit: Column
    way: Any
    gone: Any


Judge = Callable[[Any], Verdict]


class RuleSteps(TableSteps):
    """Makes the functions of rules, conditions and checks."""

    def __init__(self, plan: Plan, codes: Codes) -> None:
        super().__init__(plan, codes)
        self.spans = Spans(plan)

    def condition(self, op: Op | None) -> Ask:
        """Whether a condition holds; always where there is none."""
        return self.make(op) if op is not None else lambda frame: TRUE

    def routes(self, routes: Sequence[Route]) -> Ask:
        """The value of the first way whose condition holds."""
        nothing = self.codes.column(Absent([], void=True), routes[0].value.type)
        whens = [None if route.when is None else self.make(route.when) for route in routes]
        values = [self.make(route.value) for route in routes]
        alone = self._alone(routes, whens)
        held = all(self.spans.bounded(route.value) for route in routes)

        def made(frame: Frame) -> Column:
            lost = alone(frame)
            left: Any = True
            gone: Any = 0
            parts: list[tuple[Any, Column]] = []
            for when, value in zip(whens, values, strict=True):
                test = TRUE if when is None else when(frame)
                taken = left & test.data
                if not here(test.gone):
                    gone = first(gone, where(left, test.gone, 0))
                    taken = taken & (test.gone == 0)
                if some(taken):
                    parts.append((taken, value(frame)))
                    left = left & opposite(test.data)
                if not some(left):
                    break
            answer = nothing
            for taken, column in reversed(parts):
                answer = column if every(taken) else blend(taken, column, answer)
            if not held:
                frame.refuse(_extreme(answer.data))
            return answer._replace(gone=first(lost, gone, answer.gone))

        return made

    def _alone(self, routes: Sequence[Route], whens: Sequence[Ask | None]) -> Callable[[Any], Any]:
        """Why there is no value because of a condition among exceptions of one rank; rows where several of
        them hold are refused."""
        groups = []
        for rank in dict.fromkeys(route.rank for route in routes if route.rank is not None):
            same = [when for route, when in zip(routes, whens, strict=True) if route.rank == rank]
            if len(same) > 1:
                groups.append(same)

        def made(frame: Frame) -> Any:
            gone: Any = 0
            for group in groups:
                holding: Any = 0
                for when in group:
                    test = TRUE if when is None else when(frame)
                    gone = first(gone, test.gone)
                    holding = holding + np.asarray(test.data, np.uint8)
                clash = holding > 1
                if some(clash):
                    frame.refuse(clash)
            return gone

        return made

    def judge(self, check: Check) -> Judge:
        """What a check says."""
        when = self.condition(check.when)
        alone = self._alone(
            check.exceptions, [None if w.when is None else self.make(w.when) for w in check.exceptions]
        )
        exceptions = [(self.condition(way.when), self._sides(way.value)) for way in check.exceptions]
        if check.plain is None and check.alternatives:
            rest = self._enough(check, len(exceptions))
        else:
            rest = self._sides(check.require if check.plain is None else check.plain)

        def made(frame: Frame) -> Verdict:
            applies = when(frame)
            gone = alone(frame) if exceptions else 0
            said = rest(frame)
            for number, (test, answer) in reversed(list(enumerate(exceptions))):
                holds = test(frame)
                own = answer(frame)._replace(way=number)
                said = _between(holds.data, own, said)
                said = said._replace(gone=first(holds.gone, said.gone))
            spoken = first(gone, said.gone)
            if applies.data is not True and not here(spoken):
                spoken = where(applies.data, spoken, 0)
            return said._replace(applies=applies.data, gone=first(applies.gone, plain(spoken)))

        return made

    def _sides(self, require: Op) -> Judge:
        """A requirement that is one comparison shows both its sides."""
        if require.code != "compare" or require.parts[0] not in ORDER:
            ask = self.make(require)
            nothing = Column(0, True)

            def truth(frame: Frame) -> Verdict:
                found = ask(frame)
                return Verdict(True, found.data, nothing, nothing, -1, found.gone)

            return truth
        sign, left, right = require.parts
        a, b = self.part(left, self.leans(require)), self.part(right, self.leans(require))
        order, slack = ORDER[sign], self.slack(left, right)
        numbers = left.type.sort == "number"

        def made(frame: Frame) -> Verdict:
            x, y = a(frame), b(frame)
            gone = first(lacking(x), lacking(y))
            sides = (x, y) if numbers else (Column(0, True), Column(0, True))
            return Verdict(True, single(order(x.data, y.data, slack)), *sides, -1, gone)

        return made

    def _enough(self, check: Check, before: int) -> Judge:
        """The first of several ways that passes, else the first that is open."""
        ways = [(self.condition(way.when), self._sides(way.value)) for way in check.alternatives]
        nothing = Verdict(True, False, Column(0, True), Column(0, True), -1, 0)

        def made(frame: Frame) -> Verdict:
            passed: list[tuple[Any, Verdict]] = []
            failed: list[tuple[Any, Verdict]] = []
            unknown: Any = False
            done: Any = False
            for number, (test, answer) in enumerate(ways, before):
                open = test(frame)
                said = answer(frame)._replace(way=number)
                gone = first(open.gone, where(open.data, said.gone, 0))
                there = open.data & (np.asarray(gone) == 0)
                passes = there & said.passes
                unknown = unknown | (np.asarray(gone) == UNKNOWN)
                passed.append((passes, said._replace(gone=0)))
                failed.append((there & opposite(passes), said._replace(gone=0)))
                done = done | passes
            answer_ = nothing
            for mask, said in reversed(failed):
                answer_ = _between(single(mask), said, answer_)
            for mask, said in reversed(passed):
                answer_ = _between(single(mask), said, answer_)
            lost = unknown & opposite(done)
            return answer_._replace(gone=plain(single(where(lost, UNKNOWN, 0))))

        return made


def _extreme(data: Any) -> Any:
    """Where a number comes close to one that is too great or too small (see `runtime.bounded`)."""
    size = abs(data)
    return (size != 0) & ((size < 10.0 ** (1 - MOST_FIGURES)) | (size > 10.0**MOST_FIGURES))


def _between(mask: Any, one: Verdict, other: Verdict) -> Verdict:
    """`one` where the mask holds, else `other`."""
    if not isinstance(mask, np.ndarray):
        return one if mask else other
    actual, limit = blend(mask, one.actual, other.actual), blend(mask, one.limit, other.limit)
    passes, way, gone, applies = (
        where(mask, a, b)
        for a, b in (
            (one.passes, other.passes),
            (one.way, other.way),
            (one.gone, other.gone),
            (one.applies, other.applies),
        )
    )
    return Verdict(applies, passes, actual, limit, way, plain(gone))
