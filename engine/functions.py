"""The functions of the rule language: one registration each, and those that plugins lend.

A function is pure. `result` answers the type of a call from the types of its arguments, None when they do
not fit. `run` names what computes it in `runtime`, or, for a function with a `lender`, in what plugins lend.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache
from typing import NamedTuple

from .declared import TRUTH, Type
from .diagnostics import GaugebookError
from .extending import Extensions, extensions
from .grammar import SyntaxProblem, parse, tree
from .hooks import LanguageFunction
from .kinds import NUMBER
from .lending import FLAG, SERIES, TERMS, Sort
from .loading import shipped_units


class Function(NamedTuple):
    """A function of the rule language."""

    run: str
    takes: str
    result: Callable[[Sequence[Type]], Type | None]
    exact: bool
    lender: str = ""


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


STEPPED = "a number and a step of the same kind"

FUNCTIONS: dict[str, Function] = {
    "greatest": Function("greatest", "values of one kind", _same_numbers_or_members, True),
    "least": Function("least", "values of one kind", _same_numbers_or_members, True),
    "square_root": Function("square_root", "one number", _root, False),
    "power": Function("power", "two plain numbers", _plain_power, False),
    "absolute": Function("abs", "one number", _one_number, True),
    "round_up": Function("round_up", STEPPED, _number_and_step, True),
    "round_down": Function("round_down", STEPPED, _number_and_step, True),
    "round_nearest": Function("round_nearest", STEPPED, _number_and_step, True),
}


def known_functions() -> dict[str, Function]:
    """Every function a rule may call, by name; a plugin cannot take the place of one of ours."""
    return _known(extensions())


@cache
def _known(held_by: Extensions) -> dict[str, Function]:
    known = dict(FUNCTIONS)
    for plugin, offered in held_by.functions():
        try:
            made = _lent(offered, str(plugin))
        except _Unfit as unfit:
            fault = {"function": offered.name, "part": unfit.part, "reason": unfit}
            held_by.reject(plugin, "plugin-bad-signature", **fault)
            continue
        if offered.name in FUNCTIONS:
            held_by.reject(plugin, "plugin-duplicate", adds="function", item=offered.name, other="gaugebook")
            continue
        known[offered.name] = made
    return known


class _Unfit(Exception):
    """A part of a plugin's function that cannot be understood."""

    def __init__(self, part: str, reason: str) -> None:
        super().__init__(reason)
        self.part = part


def _lent(offered: LanguageFunction, lender: str) -> Function:
    """A function of a plugin, its arguments and its result understood; raises `_Unfit`."""
    try:
        node = parse(f"{offered.name}(1)")
    except SyntaxProblem as error:
        raise _Unfit(offered.name, error.message) from None
    if not isinstance(node, tree.Call) or not callable(offered.call):
        raise _Unfit(offered.name, offered.about)
    wanted = [_type(text) for text in offered.takes]
    result = _type(offered.gives)

    def check(types: Sequence[Type]) -> Type | None:
        return result if [type._replace(optional=False) for type in types] == wanted else None

    return Function(offered.name, f"({', '.join(offered.takes)})", check, offered.exact, lender)


def _type(text: str) -> Type:
    sort = Sort.of(str(text))
    if sort.sort in (SERIES, TERMS):
        return Type("member" if sort.sort == SERIES else "word", sort.detail)
    if sort.sort == FLAG:
        return TRUTH
    try:
        return Type("number", shipped_units().unit(sort.detail).kind)
    except GaugebookError as error:
        raise _Unfit(str(text), error.diagnostics[0].message) from None
