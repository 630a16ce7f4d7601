"""The choices of a plan as statements of one function.

What a check of a choice asks for whatever the member is worked out before the loop over the members; where that is
void, the check rejects every member that comes to it. Members that reach the first check in rising order are found
by bisection.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from decimal import Decimal
from typing import Any, NamedTuple

from .meaning import Op
from .nests import LOST
from .planning import MIRRORED, Place, Plan, rising
from .programs import Check
from .runtime import DUST, TINY, Absent
from .statements import VOID, TooTangled
from .straight_rules import Rules


class Limit(NamedTuple):
    """A first check that holds the members, or a column over them, against a limit they reach in rising order."""

    side: Op
    limit: Op
    sign: str
    swapped: bool


class NotRising(Exception):
    """A column that does not rise."""


class Choices(Rules):
    """Writes rules, checks and choices."""

    def __init__(self, plan: Plan, exact: bool, recorded: bool) -> None:
        super().__init__(plan, exact)
        self.recorded = recorded
        self._makers: dict[tuple[str, bool], Callable[[Sequence[Any]], Any]] = {}

    # -- choices

    def choose(self, place: Place) -> None:
        """The first member that passes every check while it stands in the place."""
        number = place.number
        if number in self.mutual:
            raise TooTangled("choices lean on each other")
        before = dict(self.ready), dict(self.folded), dict(self.columns)
        self.hold_as(f"M{number}", tuple(self.numbers.of(member) for member in place.members))
        with self.block(f"p{number}"):
            if place.when is not None:
                self._begin(number, "()")
                with self.under(f"if not {self.write(place.when)}:"):
                    self.put(f"p{number} = None")
                    self.exits[-1].append({**self.known, number: True})
                    self.put("break")
            limit = self._limit(place)
            if limit is not None:
                self._start(place, limit)
            for spot in range(limit is not None, len(place.checks)):
                check = self._check(place, spot)
                if check is not None:
                    with self._voided(lambda spot=spot: self._none(place, limit, spot)):  # type: ignore[misc]
                        self._prepare(check, place)
            self._walk(place, limit, len(place.checks))
        self.ready, self.folded, self.columns = before

    def hold_as(self, name: str, value: Any) -> None:
        """Something made beforehand, under a name of its own."""
        self.names[name] = value

    def _check(self, place: Place, spot: int) -> Check | None:
        """A check of a choice; None where it leans on nothing open."""
        found = self.plan.checks.get(place.checks[spot])
        return found[1] if found else None

    @contextmanager
    def _voided(self, leave: Callable[[], None]) -> Iterator[None]:
        """What a void does meanwhile."""
        self.voids.append(leave)
        try:
            yield
        finally:
            self.voids.pop()

    def _none(self, place: Place, limit: Limit | None, spot: int) -> None:
        """What a check always asks for is void: it rejects every member that passes the checks before it."""
        if self.unsure(place.checks[spot], place.number):
            self.put("raise Leave")
            return
        known = self.known
        self._walk(place, None if spot == 0 else limit, spot)
        self.known = known
        self.put("break")

    def _walk(self, place: Place, limit: Limit | None, upto: int) -> None:
        """Try the members by the checks before number `upto`, which rejects whatever passes if there is one."""
        number, count = place.number, len(place.members)
        start = f"n{number}" if limit is not None else "0"
        further = range(limit is not None, upto)
        last = upto < len(place.checks)
        if limit is None:
            self._begin(number, "[]")
        if not further:
            if last:
                self.put(f"r{number} += [{self._rejected(upto)}] * ({count} - {start})")
                self.put(f"p{number} = VOID")
            else:
                self.hold_as(f"T{number}", (*self.names[f"M{number}"], VOID))
                self.put(f"p{number} = T{number}[{start}]")
            return
        self.exits.append([])
        known = self.known
        with self.under(f"for i{number} in range({start}, {count}):"):
            self.held[number] = f"M{number}[i{number}]"
            for spot in further:
                with self._voided(lambda spot=spot: self._reject(place, self._rejected(spot))):  # type: ignore[misc]
                    self._try(place, spot)
            if last:
                self.put(f"r{number}.append({self._rejected(upto)})")
            else:
                self.put(f"p{number} = M{number}[i{number}]")
                self._forget(place, self.known)
                self.put("break")
            del self.held[number]
        self.exits.pop()
        if last:
            self.put(f"p{number} = VOID")
            self._forget(place, known)
        else:
            with self.under("else:"):
                self.put(f"p{number} = VOID")
                self._forget(place, known)

    def _forget(self, place: Place, known: Mapping[int, bool]) -> None:
        """A record has no values of members rejected before."""
        if self.recorded:
            stale = [f"p{other}" for other in place.leaning if other not in known]
            if stale:
                self.put(f"{' = '.join(stale)} = None")

    def _rejected(self, spot: int, a: str = "None", b: str = "None") -> str:
        return f"({spot}, {a}, {b})" if self.recorded else str(spot)

    def _reject(self, place: Place, said: str) -> None:
        self.put(f"r{place.number}.append({said})")
        self.put("continue")

    def _try(self, place: Place, spot: int) -> None:
        """Go on to the next member where this one fails a check."""
        check = self._check(place, spot)
        if check is None:
            answer = self.plan.answers[place.checks[spot]]
            if isinstance(answer, Absent) and not answer.void:
                self.put("raise Leave")
            elif isinstance(answer, Absent) or (answer is not None and not answer[0]):
                sides = answer[1:] if not isinstance(answer, Absent) else (None, None)
                self._reject(place, self._rejected(spot, *(self.literal(side) for side in sides)))
            return

        def said(passes: str, a: str, b: str, way: int) -> None:
            with self.under(f"if not {passes}:"):
                self._reject(place, self._rejected(spot, a, b))

        self.judge(check, said, self.recorded)

    # -- what is worked out before the loop

    def invariant(self, op: Op, place: Place) -> bool:
        """True for a step that no member being tried changes."""
        leaning, inside = self.leaning[place.number], set()
        for step in op.walk():
            if step.code == "pick":
                inside.add(step.parts[1])
        return all(
            step.parts[0] not in leaning if step.code == "place" else step.parts[0] in inside
            for step in op.walk()
            if step.code in ("place", "bound")
        )

    def _prepare(self, check: Check, place: Place) -> None:
        """Work out what a check asks for in any case, whatever the member."""
        if check.when is not None or check.ways:
            if check.when is not None:
                self._hoist(check.when, place)
            return
        require = check.require
        self._hoist(require, place)
        if self.exact or require.code != "compare" or require.parts[0] not in MIRRORED:
            return
        sign, left, right = require.parts
        if left.type.sort != "number":
            return
        for side in (right, left):
            if self.invariant(side, place):
                source = self.kept(self.number(side))
                slack = TINY if self.rough(left, right) else DUST
                if (side is right) == (sign in (">=", "<")):
                    slack = -slack
                name = self.fresh("l")
                self.put(f"{name} = {source} * ({1 + slack!r} if {source} > 0 else {1 - slack!r})")
                self.folded[id(require)] = side, name
                return

    def _hoist(self, op: Op, place: Place) -> None:
        """Give what never changes in the loop, and is asked for in any case, a variable before it."""
        if op.code in ("value", "constant", "absent") or id(op) in self.ready:
            return
        if self.invariant(op, place):
            source = self.write(op)
            if op.code != "place":
                self.ready[id(op)] = self.kept(source)
            return
        if op.code == "place":
            rule = self.plan.places[op.parts[0]].rule
            if rule is not None:
                self._hoist(rule.routes[0].when or rule.routes[0].value, place)
            return
        if op.code == "lookup":
            self._hoist_column(op, place)
            return
        parts = [part for part in op.parts if isinstance(part, Op)]
        if op.code in ("if", "logic"):
            parts = parts[:1]
        elif op.code not in ("arithmetic", "compare", "call", "negative", "not", "one_of", "property"):
            parts = []
        for part in parts:
            self._hoist(part, place)

    def _along(self, op: Op, place: Place) -> int | None:
        """Which key of a lookup is the member being tried, where all others stay the same."""
        table, *keys = op.parts
        found = [
            spot
            for spot, key in enumerate(keys)
            if key.code == "place" and key.parts[0] == place.number and key.type.sort == "member"
        ]
        others = [key for spot, key in enumerate(keys) if spot not in found]
        if len(found) != 1 or self.rulebook.tables[table].axes[0].match == "linear":
            return None
        return found[0] if all(self.invariant(key, place) for key in others) else None

    def _hoist_column(self, op: Op, place: Place) -> None:
        along = self._along(op, place)
        if along is None:
            for key in op.parts[1:]:
                self._hoist(key, place)
            return
        source, nest = self.column(op, along=along)
        self.columns[id(op)] = self.kept(source), nest.void, nest.lost

    # -- members that reach a limit in rising order

    def _limit(self, place: Place) -> Limit | None:
        if not place.checks or place.checks[0] not in self.plan.checks:
            return None
        check = self.plan.checks[place.checks[0]][1]
        require = check.require
        if (
            check.when is not None
            or check.ways
            or require.code != "compare"
            or require.parts[0] not in MIRRORED
        ):
            return None
        sign, left, right = require.parts
        for side, other, order in ((left, right, sign), (right, left, MIRRORED[sign])):
            if order not in (">", ">=") or other.type.sort != "number" or not self.invariant(other, place):
                continue
            limit = Limit(side, other, order, side is right)
            if self._member(side, place):
                if rising(place.members):
                    return limit
            elif side.code == "lookup" and (along := self._along(side, place)) is not None:
                try:
                    self.nest(side.parts[0], side.parts[1:], along, self._edges_of(limit))
                except NotRising:
                    continue
                return limit
        return None

    @staticmethod
    def _member(op: Op, place: Place) -> bool:
        return op.code == "place" and op.parts[0] == place.number

    def _edges_of(self, limit: Limit) -> Callable[[Sequence[Any]], Any]:
        """Makes the bounds that a column sets to a limit."""
        key = limit.sign, self.rough(limit.side, limit.limit)
        if key not in self._makers:
            make = self.numbers.high if limit.sign == ">=" else self.numbers.low
            least = Decimal("-Infinity") if self.exact else float("-inf")

            def edges(cells: Sequence[Any]) -> tuple[Any, ...]:
                figures = [cell for cell in cells if cell is not None]
                missing = len(cells) - len(figures)
                if LOST in cells or None in cells[missing:] or figures != sorted(figures):
                    raise NotRising
                exact = [cell if isinstance(cell, Decimal) else Decimal(repr(cell)) for cell in figures]
                return (*[least] * missing, *(make(cell, key[1]) for cell in exact))

            self._makers[key] = edges
        return self._makers[key]

    def _start(self, place: Place, limit: Limit) -> None:
        """How many members fall short of the first check."""
        number = place.number
        with self._voided(lambda: self._none(place, None, 0)):
            if limit.swapped:
                source = self.kept(self.number(limit.limit))
                column, edges = self._rungs(place, limit)
            else:
                column, edges = self._rungs(place, limit)
                source = self.kept(self.number(limit.limit))
        side = "left" if limit.sign == ">=" else "right"
        self.put(f"n{number} = bisect_{side}({edges}, {source})")
        further = len(place.checks) > 1
        if self.recorded:
            a, b = (source, column) if limit.swapped else (column, source)
            self.put(f"a{number} = {a}")
            self.put(f"b{number} = {b}")
            self.put(f"r{number} = {'[]' if further else '()'}")
        elif further:
            self.put(f"r{number} = [0] * n{number}")
        else:
            self.names[f"Z{number}"] = tuple((0,) * count for count in range(len(place.members) + 1))
            self.put(f"r{number} = Z{number}[n{number}]")

    def _begin(self, number: int, rejected: str) -> None:
        """No member has been rejected so far."""
        self.put(f"r{number} = {rejected}")
        if self.recorded:
            self.put(f"n{number} = 0")
            self.put(f"a{number} = b{number} = None")

    def _rungs(self, place: Place, limit: Limit) -> tuple[str, str]:
        """The column held against a limit, and the bounds it sets."""
        if self._member(limit.side, place):
            edges, _ = self.edges(place.members, limit.sign, self.rough(limit.side, limit.limit))
            return f"M{place.number}", edges
        along = self._along(limit.side, place)
        edges, _ = self.column(limit.side, self._edges_of(limit), along)
        edges = self.kept(edges)
        if not self.recorded:
            return "", edges
        return self.kept(self.column(limit.side, along=along)[0]), edges
