"""A plan as one function: places are local variables, rules are statements, a choice is a loop over its members.

The third way to run a plan beside `specialising` and `columns`, for one design at a time. Values are exact
decimals or binary numbers with the declared slack; beside the answers the function tells, for each choice, which
check each rejected member failed first, and, `recorded`, also on which sides, and every place on the way.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from typing import Any, NamedTuple

from .evaluating import UNSTATED
from .planning import Key, Place, Plan
from .runtime import Absent
from .spans import fits
from .statements import VOID, CannotStraighten, Leave, TooTangled
from .straight_choices import Choices
from .straight_shared import Sharing

__all__ = ["VOID", "CannotStraighten", "Leave", "Straight", "straighten", "told"]

NO_RECORD = {"n": "0", "a": "None", "b": "None", "r": "()"}
NOTHING = Absent(["the rules give no value"], void=True)


class Straight(NamedTuple):
    """The function of a plan.

    It takes the values of `inputs` in this order and answers one tuple, which `split` takes apart. It raises `Leave`
    for what only the plan's own program can say, and `ArithmeticError` where numbers become too great.
    """

    function: Callable[..., tuple[Any, ...]]
    inputs: list[Key]
    choices: list[Key]
    answers: int
    places: int
    source: str

    def split(self, found: Sequence[Any]) -> tuple[Sequence[Any], Sequence[Any], list[Any]]:
        """The answers to what was wanted, every place by its number if recorded, and what each choice rejected.

        An answer is `VOID` where the rules give none, and for a check None where it does not apply, else passes,
        actual and limit. What a choice rejected are the numbers of the checks that the members before the one
        chosen failed; if recorded, it is as `told` says.
        """
        split = self.answers + self.places
        rejected = found[split:]
        records = list(zip(*[iter(rejected)] * 4, strict=True)) if self.places else list(rejected)
        return found[: self.answers], found[self.answers : split], records


def straighten(plan: Plan, wanted: Sequence[Key], exact: bool = True, recorded: bool = False) -> Straight:
    """Make the function that answers some choices and checks of a plan, asked for in this order.

    Raises `CannotStraighten`.
    """
    try:
        try:
            return _made(Choices(plan, exact, recorded), wanted)
        except TooTangled:
            if recorded:
                raise
            return _made(Sharing(plan, exact), wanted)
    except RecursionError:
        raise CannotStraighten("too deep") from None


def told(record: Sequence[Any]) -> list[tuple[int, Any, Any]]:
    """What a record says of the members rejected: for each the number of the check, actual and limit.

    A record has how many members fell short of the first check, both sides of it, one a column over the members,
    and what became of those after. A void has no sides.
    """
    count, a, b, further = record
    found = []
    for spot in range(count):
        sides = a[spot] if a.__class__ is tuple else a, b[spot] if b.__class__ is tuple else b
        found.append((0, *(sides if None not in sides else (None, None))))
    return [*found, *further]


class Direct:
    """The function of a plan for rows as they come: with defaults for what a row does not state."""

    def __init__(self, plan: Plan, wanted: Sequence[Key], exact: bool = True, recorded: bool = False) -> None:
        self.straight = straighten(plan, wanted, exact, recorded)
        self.wanted, self.exact = list(wanted), exact
        self.defaults: dict[Key, Any] = {}
        for key in self.straight.inputs:
            place = plan.places[plan.numbers[key]]
            try:
                self.defaults[key] = plan.run.default_of(place.thing, place.attribute)
            except Absent:
                self.defaults[key] = UNSTATED
        self._others = plan.numbers.keys() - self.defaults.keys()

    def row(self, values: Mapping[Key, Any]) -> tuple[Any, ...] | None:
        """What the function answers with these values for the open fields; None where it leaves the row."""
        if any(values[key] is not UNSTATED for key in self._others & values.keys()):
            return None  # a choice that the row states
        given = []
        for key, default in self.defaults.items():
            value = values.get(key, UNSTATED)
            if value is UNSTATED:
                value = default
            if value is UNSTATED or not fits(value):
                return None
            given.append(value if self.exact or not isinstance(value, Decimal) else float(value))
        try:
            return self.straight.function(*given)
        except (Leave, ArithmeticError, RecursionError):
            return None

    def answers(self, values: Mapping[Key, Any]) -> dict[Key, Any] | None:
        """What was wanted, an `Absent` where the rules give none; None where the function leaves the row."""
        found = self.row(values)
        if found is None:
            return None
        answers = found[: len(self.wanted)]
        return {
            key: NOTHING if value is VOID else value for key, value in zip(self.wanted, answers, strict=True)
        }


def _made(writer: Choices, wanted: Sequence[Key]) -> Straight:
    """The whole function."""
    plan = writer.plan
    inputs, chosen = (
        [plan.places[number] for number in writer.inputs],
        [place for place in plan.places if place.chosen],
    )
    answers = [writer.answer(key) for key in wanted]
    names = [f"p{place.number}" for place in plan.places] if writer.recorded else []
    parts = "nabr" if writer.recorded else "r"
    rejected = [f"{part}{place.number}" for place in chosen for part in parts]
    writer.put(f"return {_tuple([*answers, *names, *rejected])}")
    unset = [f"p{place.number}" for place in plan.places if place.number not in writer.known]
    first = [f"    {' = '.join([*unset, 'None'])}"] if writer.recorded and unset else []
    first += [f"    {part}{place.number} = {NO_RECORD[part]}" for place in chosen for part in parts]
    first += writer.finish()
    head = f"def straight({', '.join(f'p{place.number}' for place in inputs)}):"
    source = "\n".join([*writer.pool.lines, head, *first, *writer.lines, ""])
    try:
        exec(compile(source, "<plan>", "exec"), writer.names)
    except SyntaxError as error:  # nested deeper than Python takes
        raise CannotStraighten(str(error)) from None
    function = writer.names["straight"]
    return Straight(function, _keys(inputs), _keys(chosen), len(wanted), len(names), source)


def _keys(places: Sequence[Place]) -> list[Key]:
    return [(place.thing.path, place.attribute.name) for place in places]


def _tuple(names: Sequence[str]) -> str:
    return f"({', '.join(names)}{',' if names else ''})"
