"""The outcomes of many rows of cases at once: cells to columns, columns through a plan, verdicts to outcomes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal
from typing import Any

import numpy as np

from .arrays import VOID, Column, first, here, opposite, where
from .column_rules import Verdict
from .column_steps import CannotColumn
from .columns import Block, Columns, Given
from .diagnostics import GaugebookError
from .evaluating import UNSTATED, Thing, read_value
from .outcomes import NONE, PLAIN, Field, Numbered, Outcome, Said, text_of
from .planning import Plan
from .rulebook import Attribute
from .runtime import CHECK, Absent
from .spans import fits

__all__ = ["CannotColumn", "CaseColumns"]

FAILS, OPEN, PASSES, SILENT = 0, 1, 2, 3
"""What a check says, the worst first; `SILENT` where it does not apply."""
ANSWERS = {FAILS: False, OPEN: None, PASSES: True, SILENT: True}

SAME_SHARE = 1e-11
"""Margins as close as this are one: the check that comes first governs, as in decimals."""

MOST_TEXTS = 1 << 16
"""So many different cells of a column are remembered."""

MOST_DIGITS = 14
"""A number written with more characters is looked at in decimals only."""

Value = Callable[[Field, str], Any]


class CellReader:
    """Reads the cells of one column; what is not plain is asked of `value`, which raises what is wrong."""

    def __init__(self, field: Field, columns: Columns, number: int | None, value: Value) -> None:
        self.field, self.columns, self.value = field, columns, value
        self.number = number
        self.place = None if number is None else columns.plan.places[number]
        self.known: dict[str, Any] = {}
        self.scale: tuple[float, float] | None = None
        self.texts: dict[Any, str] = {}
        """What a choice that is stated is called."""
        rulebook, attribute = columns.plan.run.rulebook, field.attribute
        if field.unit is not None and attribute.unit is not None and attribute.role != "choice":
            start, one = (rulebook.units.quantity_as(f"{step} {field.unit}", attribute.unit) for step in "01")
            self.scale = float(start), float(one - start)
            bounds = attribute.field or {}
            self.bounds = [
                float(read_value(rulebook, attribute, str(bounds[side]))) if side in bounds else None
                for side in ("least", "most")
            ]

    def read(self, cells: Sequence[str], bad: Any) -> Given | None:
        """The values of some cells; rows that cannot be read are marked in `bad`."""
        known, data = self.known, []
        if len(known) > MOST_TEXTS:
            known.clear()
        for row, cell in enumerate(cells):
            code = known.get(cell, self)
            if code is self:
                code = known[cell] = self._code(cell.strip())
            if code is None:
                bad[row] = True
                code = UNSTATED
            data.append(code)
        if self.place is None:
            return None
        loose = [code is UNSTATED or code is NONE for code in set(data)]
        if not any(loose):
            return Given(Column(np.array(data)), True)
        stated = np.array([code is not UNSTATED for code in data])
        none = np.array([code is NONE for code in data])
        filler: Any = next((code for code in data if code is not UNSTATED and code is not NONE), 0)
        made = np.array([filler if code is UNSTATED or code is NONE else code for code in data])
        return Given(Column(made, none if none.any() else False), stated)

    def _code(self, cell: str) -> Any:
        """What a cell becomes: a code, `UNSTATED`, `NONE`, or nothing where the row is to be done alone."""
        if self.scale is not None and PLAIN.fullmatch(cell) and "/" not in cell:
            code = self.scale[0] + self.scale[1] * float(cell)
            if len(cell) <= MOST_DIGITS and self._sound(code):
                return code
        try:
            value = self.value(self.field, cell)
        except GaugebookError:
            return None
        if value is UNSTATED:
            return UNSTATED
        if value is None:
            return NONE
        if isinstance(value, Decimal) and not (len(cell) <= MOST_DIGITS and fits(value)):
            return None
        if self.place is None:
            return 0
        code = self.columns.code(self.place, value)
        self.texts[code] = text_of(value, self.field.attribute.unit)
        return code

    def _sound(self, code: float) -> bool:
        """True for a number well inside its bounds."""
        least, most = self.bounds
        dust = 1e-9 * abs(code)
        return fits(code) and (least is None or code > least + dust) and (most is None or code < most - dust)


class CaseColumns:
    """A template made for many rows. Raises `CannotColumn` when that cannot be done.

    `choices` and `checks` are those of the project in their order, `settled` the governing one of the checks
    that no row changes, `signs` the order of each check and of each of its ways (None: it has no margin).
    """

    def __init__(
        self,
        plan: Plan,
        fields: Sequence[Field | None],
        value: Value,
        choices: Sequence[tuple[Thing, Attribute]],
        checks: Sequence[tuple[Thing, str]],
        settled: Sequence[Numbered],
    ) -> None:
        self.plan, self.choices, self.checks, self.settled = plan, choices, checks, settled
        self.columns = Columns(plan)
        self.readers = [
            None
            if field is None
            else CellReader(field, self.columns, plan.numbers.get((field.thing, field.attribute.name)), value)
            for field in fields
        ]
        self.texts = {
            place.number: {
                code: text_of(member, place.attribute.unit)
                for code, member in zip(self.columns.members[place.number], place.members, strict=True)
            }
            for place in plan.places
            if place.chosen
        }

    def outcomes(self, rows: Sequence[Sequence[str]]) -> list[Outcome | None]:
        """What each row comes to; None for a row that has to be done alone."""
        bad = np.zeros(len(rows), bool)
        given: dict[int, Given] = {}
        for reader, cells in zip(self.readers, zip(*rows, strict=True), strict=True):
            if reader is None:
                continue
            found = reader.read(cells, bad)
            if found is not None and reader.number is not None:
                given[reader.number] = found
                if reader.number in self.texts:
                    self.texts[reader.number].update(reader.texts)
        block = Block(self.columns, len(rows), given)
        with np.errstate(all="ignore"):
            tally = Tally(self, block)
        alone = (bad | block.refused | tally.unsure).tolist()
        return [None if skip else outcome for skip, outcome in zip(alone, tally.outcomes(), strict=True)]


class Tally:
    """The outcomes of a block: choices as texts, and the check that governs in each row."""

    def __init__(self, made: CaseColumns, block: Block) -> None:
        self.whole = block.whole()
        count = self.whole.count
        self.rank = np.full(count, SILENT, np.int8)
        self.share = np.full(count, np.inf)
        self.worst = np.full(count, -1, np.intp)
        self.unsure = np.zeros(count, bool)
        self.names: list[str] = []
        self.choices = [self._choice(made, thing, attribute) for thing, attribute in made.choices]
        settled = dict(made.settled)
        for number, (thing, name) in enumerate(made.checks):
            key = (thing.path, f"{CHECK}{name}")
            if number in settled:
                self._settled(settled[number])
            elif key in made.plan.checks:
                self._judged(made, thing, name, made.columns.judges[key](self.whole))

    def _choice(self, made: CaseColumns, thing: Thing, attribute: Attribute) -> list[str | None]:
        """What is chosen, row by row."""
        count = self.whole.count
        number = made.plan.numbers.get((thing.path, attribute.name))
        name = f"{thing.path} {attribute.name}"
        if number is None:
            answer = made.plan.answers[thing.path, attribute.name]
            if isinstance(answer, Absent):
                self._offer(FAILS if answer.void else OPEN, -np.inf, name)
                return [None] * count
            return [text_of(answer, attribute.unit)] * count
        column = self.whole.read(number)
        texts = made.texts[number]
        data = np.broadcast_to(column.data, count).tolist()
        chosen: list[str | None] = [texts.get(code) for code in data]
        if column.none is not False:
            none = np.broadcast_to(column.none, count).tolist()
            chosen = [NONE if empty else text for empty, text in zip(none, chosen, strict=True)]
        if not here(column.gone):
            gone = np.broadcast_to(column.gone, count)
            self._offer(where(gone == 0, SILENT, _fate(gone)), where(gone == 0, np.inf, -np.inf), name)
            chosen = [None if why else text for why, text in zip(gone.tolist(), chosen, strict=True)]
        return chosen

    def _settled(self, said: Said | None) -> None:
        if said is not None:
            passes, share, name = said
            rank = {False: FAILS, None: OPEN, True: PASSES}[passes]
            self._offer(rank, share if share is not None else np.inf if passes else -np.inf, name)

    def _judged(self, made: CaseColumns, thing: Thing, name: str, said: Verdict) -> None:
        rank: Any = where(said.passes, PASSES, FAILS)
        share: Any = where(said.passes, np.inf, -np.inf)
        body = made.plan.run.rulebook.checks[name]
        unit = made.plan.run.rulebook.units.unit(body["unit"]) if body["unit"] else None
        if unit is None or not unit.kind.point:
            signs = [*(way["sign"] for way in body.get("ways", [])), body["sign"]]
            directions = np.array([_DIRECTION.get(sign, 0) for sign in signs])
            direction = directions.take(said.way)
            limit = said.limit.data
            known = (direction != 0) & (limit != 0) & opposite(said.actual.none) & opposite(said.limit.none)
            room = (said.actual.data - limit) * direction / where(limit == 0, 1.0, abs(limit))
            room = where(abs(room) < SAME_SHARE / 100, 0.0, room)
            share = where(known, room, share)
        if not here(said.gone):
            rank = where(said.gone == 0, rank, _fate(said.gone))
            share = where(said.gone == 0, share, -np.inf)
        if said.applies is not True:
            # what does not apply says nothing, unless that itself is not known
            silent = opposite(said.applies) & (first(said.gone) == 0)
            rank, share = where(silent, SILENT, rank), where(silent, np.inf, share)
        self.unsure |= np.isnan(share)
        self._offer(rank, share, f"{thing.path} {name}")

    def _offer(self, rank: Any, share: Any, name: str) -> None:
        """Let a check govern where it is worse than what was seen before it."""
        tighter = (rank == self.rank) & (share < self.share - SAME_SHARE)
        worse = (rank < self.rank) | tighter
        self.rank = where(worse, rank, self.rank)
        self.share = where(worse, share, self.share)
        self.worst = where(worse, len(self.names), self.worst)
        self.names.append(name)

    def outcomes(self) -> list[Outcome]:
        """Row by row."""
        names: list[str | None] = [*self.names, None]
        shares = [share if abs(share) != np.inf else None for share in self.share.tolist()]
        return [
            Outcome(ANSWERS[rank], names[worst], share, list(choices))
            for rank, worst, share, *choices in zip(
                self.rank.tolist(), self.worst.tolist(), shares, *self.choices, strict=True
            )
        ]


_DIRECTION = {">": 1, ">=": 1, "<": -1, "<=": -1}


def _fate(gone: Any) -> Any:
    """What a missing value means: it fails where the rules say so."""
    return where(gone == VOID, FAILS, OPEN)
