"""The functions of the rule language: one registration each.

A function is pure. `result` answers the type of a call from the types of its arguments, None when they do
not fit. `run` names what computes it in `runtime`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from .kinds import NUMBER
from .model import Type


class Function(NamedTuple):
    """A function of the rule language."""

    run: str
    takes: str
    result: Callable[[Sequence[Type]], Type | None]
    exact: bool


def _same_numbers_or_members(types: Sequence[Type]) -> Type | None:
    if not types or types[0].sort not in ("number", "member"):
        return None
    first = types[0]
    for other in types[1:]:
        if other.sort != first.sort:
            return None
        if first.sort == "number" and first.detail != other.detail:
            return None
        if first.sort == "member" and first.detail != other.detail:
            return None
    return first._replace(optional=False)


def _number_and_step(types: Sequence[Type]) -> Type | None:
    if len(types) != 2 or any(type.sort != "number" for type in types):
        return None
    value, step = types
    if value.detail.point or value.detail != step.detail:
        return None
    return value._replace(optional=False)


def _root(types: Sequence[Type]) -> Type | None:
    if len(types) != 1 or types[0].sort != "number":
        return None
    kind = types[0].detail.root(2)
    return Type("number", kind) if kind else None


def _plain_power(types: Sequence[Type]) -> Type | None:
    plain = Type("number", NUMBER)
    fits = len(types) == 2 and all(type._replace(optional=False) == plain for type in types)
    return plain if fits else None


def _one_number(types: Sequence[Type]) -> Type | None:
    if len(types) != 1 or types[0].sort != "number" or types[0].detail.point:
        return None
    return types[0]._replace(optional=False)


FUNCTIONS: dict[str, Function] = {
    "greatest": Function("greatest", "values of one kind", _same_numbers_or_members, True),
    "least": Function("least", "values of one kind", _same_numbers_or_members, True),
    "square_root": Function("square_root", "one number", _root, False),
    "power": Function("power", "two plain numbers", _plain_power, False),
    "absolute": Function("abs", "one number", _one_number, True),
    "round_up": Function("round_up", "a number and a step of the same kind", _number_and_step, True),
    "round_down": Function("round_down", "a number and a step of the same kind", _number_and_step, True),
    "round_nearest": Function("round_nearest", "a number and a step of the same kind", _number_and_step, True),
}
