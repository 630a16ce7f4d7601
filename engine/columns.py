"""A plan over many rows at once: every place is a column, worked out when it is asked for.

A choice is made by walking its series: each member in turn is bound for the rows that have found none yet, in
a frame of its own, and only what leans on the choice is worked out anew there. Rows that would be refused are
left to be done one by one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from .arrays import UNKNOWN, VOID, Column, blend, every, gather, here, opposite, rows_of, some
from .column_rules import Judge
from .column_starts import Start, StartSteps
from .column_steps import Ask
from .grids import Codes
from .planning import Key, Place, Plan
from .runtime import Absent

Rows = Any
"""The numbers of some rows, or None for all of them."""


class Given(NamedTuple):
    """The values of an open field: a column, and where it is stated at all."""

    column: Column
    stated: Any


class Frame:
    """Some rows of a block, with what is known of them.

    `rows` are their numbers in the frame around it. Places of `leaning` are worked out here; everything else
    is what it is around, and so is whatever is known there when the frame only `narrows` the one around it.
    """

    __slots__ = ("around", "block", "bound", "count", "known", "leaning", "narrows", "rows")

    def __init__(self, block: Block, count: int, around: Frame | None = None, rows: Rows = None) -> None:
        self.block, self.count, self.around, self.rows = block, count, around, rows
        self.leaning: frozenset[int] = frozenset()
        self.bound: frozenset[int] = frozenset()
        self.narrows = False
        self.known: dict[int, Column] = {}

    def read(self, number: int) -> Column:
        """The column of a place or of a step with a place of its own."""
        known = self.known.get(number)
        if known is None:
            around = self.around
            if around is None or (number in self.leaning and not (self.narrows and number in around.known)):
                known = self.block.work_out(number, self)
            elif self.narrows and number not in around.known and number not in self.leaning:
                known = around.passed_over(number, self.rows)
            else:
                known = around.read(number)
                if self.rows is not None:
                    known = known.take(self.rows)
            self.known[number] = known
        return known

    def passed_over(self, number: int, rows: Rows) -> Column:
        """A column that does not lean on what is bound here, for some rows: fetched from where it is known."""
        frame, at = self, rows
        while frame.around is not None and number not in frame.known and number not in frame.leaning:
            at = at if frame.rows is None else frame.rows.take(at)
            frame = frame.around
        return frame.read(number).take(at)

    def _within(self, rows: Rows) -> Frame:
        return Frame(self.block, self.count if rows is None else len(rows), self, rows)

    def narrowed(self, rows: Rows) -> Frame:
        """Some of these rows."""
        made = self._within(rows)
        made.leaning, made.bound, made.narrows = self.leaning, self.bound, True
        return made

    def bind(self, number: int, value: Any, rows: Rows) -> Frame:
        """Some of these rows with a value for a place; what is bound around them stays so."""
        made = self._within(rows)
        made.bound = self.bound | {number}
        made.leaning = self.block.columns.leaning[number] - made.bound
        made.known[number] = Column(value)
        return made

    def outermost(self, rows: Rows) -> Rows:
        """The numbers of some of these rows in the whole block."""
        frame: Frame | None = self
        while frame is not None:
            if frame.rows is not None:
                rows = frame.rows if rows is None else frame.rows.take(rows)
            frame = frame.around
        return rows

    def refuse(self, mask: Any) -> None:
        """Leave the rows where a mask holds to be done one by one."""
        rows = rows_of(mask, self.count)
        self.block.refused[self.outermost(rows)] = True


class Columns:
    """The functions of a plan. Raises `CannotColumn` when a step of it can only be worked out row by row."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.codes = Codes(plan.run.rulebook.ranks)
        steps = StartSteps(plan, self.codes)
        self.asks: list[Ask | None] = [
            steps.routes(place.rule.routes)
            if place.rule is not None
            else steps.condition(place.when)
            if place.chosen
            else None
            for place in plan.places
        ]
        self.judges: dict[Key, Judge] = {key: steps.judge(check) for key, (_, check) in plan.checks.items()}
        self.starts: dict[int, Start] = {}
        """For each choice that need not begin with its first member."""
        for place in plan.places:
            start = steps.start(place) if place.chosen else None
            if start is not None:
                self.starts[place.number] = start
        self.extra = steps.asks
        self.leaning = {number: frozenset(places) for number, places in steps.leaning.items()}
        self.members: dict[int, Any] = {}
        """For each choice the codes of its members."""
        self.defaults: dict[int, Column] = {}
        """For each open field what it is where a row does not state it."""
        for place in plan.places:
            if place.chosen:
                self.members[place.number] = np.array([self.code(place, member) for member in place.members])
            elif place.rule is None:
                self.defaults[place.number] = self._default(place)

    def code(self, place: Place, value: Any) -> Any:
        """A value of a place as a column holds it."""
        return self.codes.code(
            value, self.plan.model.attributes[place.attribute.kind, place.attribute.name].type
        )

    def column(self, place: Place, value: Any) -> Column:
        """One value of a place for all rows."""
        type = self.plan.model.attributes[place.attribute.kind, place.attribute.name].type
        return self.codes.column(value, type)

    def _default(self, place: Place) -> Column:
        try:
            return self.column(place, self.plan.run.default_of(place.thing, place.attribute))
        except Absent as absent:
            return self.column(place, absent)


class Block:
    """Some rows under a plan: `given` are the values of the open fields. `refused` are to be done one by one.

    It does not hold the frames made of it: what was worked out of a block goes when nobody asks it any more.
    """

    def __init__(self, columns: Columns, count: int, given: Mapping[int, Given]) -> None:
        self.columns, self.given = columns, given
        self.places = columns.plan.places
        self.refused = np.zeros(count, bool)

    def whole(self) -> Frame:
        """All rows, nothing known of them yet."""
        return Frame(self, len(self.refused))

    def work_out(self, number: int, frame: Frame) -> Column:
        """A place for the rows of a frame."""
        if number >= len(self.places):
            return self.columns.extra[number](frame)
        place = self.places[number]
        given = self.given.get(number)
        if given is None:
            return self._unstated(place, frame)
        rows = frame.outermost(None)
        column = given.column if rows is None else given.column.take(rows)
        stated = given.stated if rows is None or given.stated is True else given.stated.take(rows)
        if every(stated):
            return column
        return blend(stated, column, self._unstated(place, frame, opposite(stated)))

    def _unstated(self, place: Place, frame: Frame, wanted: Any = True) -> Column:
        if place.chosen:
            return self._choose(place, frame, wanted)
        ask = self.columns.asks[place.number]
        return ask(frame) if ask is not None else self.columns.defaults[place.number]

    def _choose(self, place: Place, frame: Frame, wanted: Any) -> Column:
        """For each row the first member that passes every check while it stands in the place."""
        when = self.columns.asks[place.number]
        assert when is not None
        asked = when(frame)
        gone = np.zeros(frame.count, np.uint8)
        if not here(asked.gone):
            gone[:] = asked.gone
        choosing = wanted & asked.data & (gone == 0)
        none = False if every(asked.data) else opposite(asked.data)
        data = self._walk(place, frame, choosing, gone)
        return Column(data, none, gone if gone.any() else 0)

    def _walk(self, place: Place, frame: Frame, choosing: Any, gone: Any) -> Any:
        """The members chosen, each row at a member of its own; what has none is marked in `gone`."""
        members = self.columns.members[place.number]
        most = len(members)
        checks: Sequence[Key] = place.checks
        start = self.columns.starts.get(place.number)
        spots: Any = 0
        if start is not None:
            spots, unsure = start.begin(frame)
            if not some(unsure):
                checks = start.rest
        left = rows_of(choosing, frame.count)
        data = np.zeros(frame.count, members.dtype)
        if isinstance(spots, np.ndarray):
            spots = spots.take(left).astype(np.intp)
        while len(left):
            if isinstance(spots, np.ndarray):
                there = spots < most
                if not there.all():
                    gone[left[~there]] = VOID
                    rows = np.flatnonzero(there)
                    left, spots = left.take(rows), spots.take(rows)
                    if not len(rows):
                        break
                member = gather(members, spots)
            elif spots >= most:
                gone[left] = VOID
                break
            else:
                member = members[spots].item()
            passing, unknown = self._passing(
                checks, frame.bind(place.number, member, None if len(left) == frame.count else left)
            )
            if passing is None:
                data[left] = member
                break
            data[left.take(passing)] = member.take(passing) if isinstance(member, np.ndarray) else member
            failing = np.ones(len(left), bool)
            failing[passing] = False
            if unknown is not None:
                gone[left.take(unknown)] = UNKNOWN
                failing[unknown] = False
            rows = np.flatnonzero(failing)
            left, spots = left.take(rows), (spots.take(rows) if isinstance(spots, np.ndarray) else spots) + 1
        return data

    def _passing(self, checks: Sequence[Key], frame: Frame) -> tuple[Rows, Rows]:
        """The rows that pass every check (None: all of them), and those where that is not known."""
        kept: Rows = None
        unknown: list[Any] = []
        for key in checks:
            answer = self.columns.plan.answers.get(key, self)
            if answer is not self:
                if isinstance(answer, Absent):
                    passes: Any = False
                    lost: Any = not answer.void
                else:
                    passes, lost = answer is None or answer[0], False
            else:
                said = self.columns.judges[key](frame)
                passes = said.passes if said.applies is True else said.passes | opposite(said.applies)
                lost = said.gone == UNKNOWN
                if not here(said.gone):
                    passes = passes & (said.gone == 0)
            if some(lost):
                rows = rows_of(lost, frame.count)
                unknown.append(rows if kept is None else kept.take(rows))
            if every(passes):
                continue
            rows = rows_of(passes, frame.count)
            kept = rows if kept is None else kept.take(rows)
            if not len(rows):
                break
            frame = frame.narrowed(rows)
        return kept, np.concatenate(unknown) if unknown else None
