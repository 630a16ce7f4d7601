"""Where a choice can begin: members that a check is bound to refuse are passed over unseen.

A check that holds a figure of each member, times what no member changes, against a limit that none changes either, is
turned round: the first member whose figure reaches the limit is found by address, whatever the order of the figures.
Where they are in order, every later member meets the check too, and it need not be asked again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np

from .arrays import UNKNOWN, every, first, gather, here, lacking, opposite, rows_of, some, where
from .column_rules import RuleSteps
from .column_steps import Ask, Frame
from .grids import Finder, strides
from .ladders import Ladder
from .meaning import Op
from .planning import MIRRORED, Key, Place
from .programs import Check, Route
from .runtime import Absent

Beginning = tuple[Any, Any]
"""The number of a member for each row, and where that is not known (a mask, or one truth for all rows)."""

Reach = Callable[[Frame], Beginning]
"""Tells for a check the first member that meets it."""

MOST_STEPS = 1 << 20
"""A check that would take more cells than this is not turned round."""


class Start(NamedTuple):
    """Some checks of a choice turned round, by `reaches`; that holds where none of `doubts` is unknown.

    `rest` are the checks that a member from there on may still fail.
    """

    reaches: Sequence[Reach]
    doubts: Sequence[Ask]
    rest: Sequence[Key]

    def begin(self, frame: Frame) -> Beginning:
        """The first member that can be chosen; where it is not known, that is the first of all."""
        spots: Any = None
        unsure: Any = False
        for reach in self.reaches:
            found, lost = reach(frame)
            spots = found if spots is None else np.maximum(spots, found)
            unsure = unsure | lost
        for doubt in self.doubts:
            gone = doubt(frame).gone
            if not here(gone):
                unsure = unsure | (gone == UNKNOWN)
        if some(unsure):
            spots = np.array(np.broadcast_to(spots, frame.count))
            spots[rows_of(unsure, frame.count)] = 0
            return spots, unsure
        return spots, False


class Figures(NamedTuple):
    """What a check holds against a limit: the figures of the members in each row of a table, apart from factors.

    `values` has a row for each place `spot` can answer and a column for each member, `there` where one is.
    """

    values: Any
    there: Any
    spot: Callable[[int], Ask] | None
    """Makes what tells the row, each of them being so wide."""
    factors: list[Op]


class StartSteps(RuleSteps):
    """Makes the functions that tell where choices begin."""

    def start(self, place: Place) -> Start | None:
        """Where a choice can begin; None where every member has to be looked at."""
        reaches: list[Reach] = []
        doubts: list[Op] = []
        met: set[Key] = set()
        pending: list[Op] = []
        for key in place.checks:
            if key in self.plan.answers:
                answer = self.plan.answers[key]
                if isinstance(answer, Absent) and not answer.void:
                    break
                continue
            _, check = self.plan.checks[key]
            if _clash(check.exceptions) or not all(
                self._sure(op, place.number, pending, set()) for op in _parts(check)
            ):
                break
            turned = self._turned(check, place)
            if turned is None:
                continue
            doubts, pending = [*doubts, *pending], []
            reaches.append(turned[0])
            if turned[1]:
                met.add(key)
        if not reaches:
            return None
        asks = [self.part(op, frozenset({place.number})) for op in {id(op): op for op in doubts}.values()]
        return Start(reaches, asks, [key for key in place.checks if key not in met])

    # -- what has to be known

    def _sure(self, op: Op, number: int, doubts: list[Op], seen: set[int]) -> bool:
        """True where a step is known for every member if `doubts` are, which lean on none of them."""
        leans = self.leans(op)
        if number not in leans and not self.loose(leans):
            doubts.append(op)
            return True
        if op.code == "place" and op.parts[0] != number and op.parts[0] not in seen:
            seen.add(op.parts[0])
            rule = self.plan.places[op.parts[0]].rule
            if rule is None or _clash(rule.routes):
                return False
            return all(
                self.spans.bounded(route.value)
                and (route.when is None or self._sure(route.when, number, doubts, seen))
                and self._sure(route.value, number, doubts, seen)
                for route in rule.routes
            )
        if op.code == "lookup":
            table, *keys = op.parts
            if (self.grid(table, keys, op.type).gone == UNKNOWN).any():
                return False
        elif op.code == "property":
            _, series, name = op.parts
            if (self.cells(series, name, op.type)[1] == UNKNOWN).any():
                return False
        return all(self._sure(child, number, doubts, seen) for child in op.children())

    # -- checks turned round

    def _turned(self, check: Check, place: Place) -> tuple[Reach, bool] | None:
        """The first member that meets a check, and whether all that follow meet it too."""
        number, op = place.number, check.require
        if check.ways or op.code != "compare" or op.parts[0] not in MIRRORED:
            return None
        if check.when is not None and number in self.leans(check.when):
            return None
        sign, left, right = op.parts
        if number in self.leans(right):
            sign, left, right = MIRRORED[sign], right, left
        if number in self.leans(right):
            return None
        figures = self._figures(left, place)
        if figures is None:
            return None
        rising = sign in (">", ">=")
        best = np.where(figures.there, figures.values, -np.inf if rising else np.inf)
        ordered = (np.maximum if rising else np.minimum).accumulate(best, axis=1)
        bounds = np.unique(figures.values[figures.there]).tolist()
        ladder = Ladder(bounds, self.slack(left, right), below=sign in (">", "<="))
        firsts = _firsts(ordered, ladder, rising)
        if firsts is None:
            return None
        reach = self._reach(check, right, figures, ladder, firsts, len(place.members))
        return reach, bool((best == ordered).all())

    def _reach(
        self, check: Check, right: Op, figures: Figures, ladder: Ladder, firsts: Any, most: int
    ) -> Reach:
        """Tells the first member by the limit, over the factors, in the row of the figures."""
        nothing: frozenset[int] = frozenset({-1})
        when = None if check.when is None else self.part(check.when, nothing)
        limit = self.part(right, nothing)
        factors = [self.part(factor, nothing) for factor in figures.factors]
        spot = None if figures.spot is None else figures.spot(len(ladder.passed))

        def made(frame: Frame) -> Beginning:
            column = limit(frame)
            value, gone, unsure = column.data, lacking(column), False
            scale: Any = None
            for factor in factors:
                column = factor(frame)
                scale = column.data if scale is None else scale * column.data
                gone = first(gone, lacking(column))
            if scale is not None:
                if not every(scale > 0):
                    unsure = opposite(scale > 0)
                value = value / scale
            address = ladder.address(value)
            if spot is not None:
                row = spot(frame)
                address = row.data + address
                gone = first(gone, row.gone)
            spots = gather(firsts, address) if isinstance(address, np.ndarray) else firsts[address]
            if not here(gone):
                spots = where(gone == 0, spots, most)
                unsure = unsure & (gone == 0)
            if when is not None:
                test = when(frame)
                spots = where(test.data, spots, 0)
                if not here(test.gone):
                    spots = where(test.gone == 0, spots, most)
            return spots, unsure

        return made

    def _figures(self, op: Op, place: Place) -> Figures | None:
        """The figures that a step has for the members of a choice."""
        if op.code == "place" and op.parts[0] != place.number:
            rule = self.plan.places[op.parts[0]].rule
            if rule is None or len(rule.routes) != 1 or rule.routes[0].when is not None:
                return None
            return self._figures(rule.routes[0].value, place)
        if op.code == "arithmetic" and op.parts[0] == "*":
            _, one, other = op.parts
            if place.number in self.leans(other):
                one, other = other, one
            if place.number in self.leans(other):
                return None
            found = self._figures(one, place)
            return found and found._replace(factors=[*found.factors, other])
        if op.code == "place":
            values = self._members(op, place)[np.newaxis]
            return Figures(values, np.ones(values.shape, bool), None, [])
        if op.code == "property" and _is(op.parts[0], place):
            member, series, name = op.parts
            data, gone = self.cells(series, name, op.type)
            codes = self._members(member, place)
            return Figures(data.take(codes)[np.newaxis], gone.take(codes)[np.newaxis] == 0, None, [])
        if op.code == "lookup":
            return self._looked_up(op, place, *op.parts)
        return None

    def _members(self, op: Op, place: Place) -> Any:
        """The codes of the members of a choice, which a step stands for."""
        return np.array([self.codes.code(member, op.type) for member in place.members])

    def _looked_up(self, op: Op, place: Place, table: str, *keys: Op) -> Figures | None:
        """The cells of a table that has the members of the choice along one axis."""
        along = [number for number, key in enumerate(keys) if place.number in self.leans(key)]
        grid = self.grid(table, keys, op.type)
        if len(along) != 1 or grid.linear or not _is(keys[along[0]], place):
            return None
        axis = along[0]
        places = grid.finders[axis].find(self._members(keys[axis], place)) // grid.finders[axis].stride
        values, gone = (
            np.moveaxis(cells.reshape(grid.shape), axis, -1)[..., places] for cells in (grid.data, grid.gone)
        )
        others = [number for number in range(len(keys)) if number != axis]
        steps = strides(values.shape[:-1])

        def spot(width: int) -> Ask:
            return self.spot(
                [
                    (
                        keys[number],
                        Finder(grid.finders[number].axis, keys[number].type, self.codes, step * width),
                    )
                    for number, step in zip(others, steps, strict=True)
                ]
            )

        wide = len(place.members)
        return Figures(values.reshape(-1, wide), gone.reshape(-1, wide) == 0, spot if others else None, [])


def _is(op: Op, place: Place) -> bool:
    """True for the choice itself."""
    return bool(op.code == "place" and op.parts[0] == place.number)


def _parts(check: Check) -> Iterator[Op]:
    """What a check is made of."""
    if check.when is not None:
        yield check.when
    if check.plain is not None or not check.alternatives:
        yield check.require if check.plain is None else check.plain
    for way in check.ways:
        if way.when is not None:
            yield way.when
        yield way.value


def _clash(routes: Sequence[Route]) -> bool:
    """True where exceptions of one rank could contradict each other."""
    ranks = [route.rank for route in routes if route.rank is not None]
    return len(set(ranks)) < len(ranks)


def _firsts(ordered: Any, ladder: Ladder, rising: bool) -> Any:
    """By row and address of a limit the first member to reach it; None where that takes too many cells."""
    rows, most = ordered.shape
    if rows * len(ladder.passed) > MOST_STEPS:
        return None
    sign = 1 if rising else -1
    found = [np.searchsorted(sign * row, sign * ladder.bounds) for row in ordered]
    beyond = np.full((rows, 1), most)
    parts = [np.array(found).reshape(rows, -1), beyond]
    firsts = np.concatenate(parts if rising else parts[::-1], axis=1)
    return firsts[:, ladder.passed].ravel().astype(np.int16)
