"""Many values at once: a column of numbers, of truths or of codes, with what is none and what is absent beside it.

Words are coded by the order they were met in, members of a series by their rank. Numbers are binary, so that
every comparison has the declared slack (see LANGUAGE.md). A part of a column that is one value for all rows is
kept as that value, not as an array.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np

from .runtime import DUST, TINY

VOID, UNKNOWN = 1, 2
"""Why there is no value: the rules say so, or an input or a figure is unknown. 0: there is one."""


class Column(NamedTuple):
    """Values row by row: `data`, where it is `none` and why it is `gone`; each an array or one value for all."""

    data: Any
    none: Any = False
    gone: Any = 0

    def take(self, rows: Any) -> Column:
        """Some of the rows."""
        if self.none is False and here(self.gone):
            return Column(_taken(self.data, rows))
        return Column(_taken(self.data, rows), _taken(self.none, rows), _taken(self.gone, rows))


Rows = Any
"""The numbers of some rows, or None for all of them."""


def _taken(part: Any, rows: Any) -> Any:
    return gather(part, rows) if isinstance(part, np.ndarray) else part


def gather(values: Any, places: Any) -> Any:
    """The values at some places, all of which there are: not to check them is the faster way."""
    return values.take(places, mode="clip")


def where(mask: Any, one: Any, other: Any) -> Any:
    """`one` where the mask holds, else `other`; one value for all rows stays one."""
    if not isinstance(mask, np.ndarray):
        return one if mask else other
    return one if one is other else np.where(mask, one, other)


def here(gone: Any) -> bool:
    """True where a reason says that nothing is gone in any row, without looking at rows."""
    return gone.__class__ is int and gone == 0


def single(data: Any) -> Any:
    """One value for all rows where an operation made a number of numpy of it."""
    scalar = isinstance(data, np.generic) or (isinstance(data, np.ndarray) and not data.ndim)
    return data.item() if scalar else data


def some(mask: Any) -> bool:
    """True where a mask holds in any row."""
    return bool(mask.any()) if isinstance(mask, np.ndarray) else bool(mask)


def every(mask: Any) -> bool:
    """True where a mask holds in all rows."""
    return bool(mask.all()) if isinstance(mask, np.ndarray) else bool(mask)


def rows_of(mask: Any, count: int) -> Any:
    """The numbers of the rows where a mask holds."""
    if isinstance(mask, np.ndarray):
        return np.flatnonzero(mask)
    return np.arange(count if mask else 0)


def plain(mask: Any) -> Any:
    """The same, as one value where it holds nowhere: what is asked of it later is then cheap."""
    return mask if some(mask) else 0


def first(*gone: Any) -> Any:
    """Why there is no value, the leftmost reason first."""
    made: Any = 0
    for later in reversed(gone):
        if isinstance(later, np.ndarray):
            made = later if here(made) else where(later != 0, later, made)
        elif later:
            made = later
    return made


def lacking(column: Column) -> Any:
    """Why there is no value where one is due: none will not do."""
    if column.none is False:
        return column.gone
    return first(column.gone, where(column.none, VOID, 0))


def blend(mask: Any, one: Column, other: Column) -> Column:
    """`one` where the mask holds, else `other`."""
    if not isinstance(mask, np.ndarray):
        return one if mask else other
    parts = [where(mask, a, b) for a, b in zip(one, other, strict=True)]
    return Column(parts[0], parts[1] if some(parts[1]) else False, plain(parts[2]))


def opposite(mask: Any) -> Any:
    """Where a mask does not hold."""
    return np.logical_not(mask) if isinstance(mask, np.ndarray) else not mask


# --- comparing with slack -------------------------------------------------------------------------------


def at_least(a: Any, b: Any, slack: float) -> Any:
    """a >= b, or short of it by no more than the slack."""
    return a >= b - slack * abs(b)


def above(a: Any, b: Any, slack: float) -> Any:
    """a > b by more than the slack."""
    return a > b + slack * abs(b)


def near(a: Any, b: Any, slack: float) -> Any:
    """Equal within the slack."""
    return abs(a - b) <= slack * np.maximum(abs(a), abs(b))


ORDER: dict[str, Callable[[Any, Any, float], Any]] = {
    ">=": at_least,
    ">": above,
    "<=": lambda a, b, slack: at_least(b, a, slack),
    "<": lambda a, b, slack: above(b, a, slack),
}


# --- functions of the language --------------------------------------------------------------------------


def add(a: Any, b: Any) -> Any:
    """a + b; what is left of two numbers that cancel is nothing, not the dust of their digits."""
    made = a + b
    dust = abs(made) <= DUST * abs(a)
    return where(dust, 0.0, made) if some(dust) else made


def divide(a: Column, b: Column) -> Column:
    """a / b; a zero divisor leaves nothing."""
    gone = first(lacking(a), lacking(b))
    zero = b.data == 0
    if not some(zero):
        return Column(a.data / b.data, False, gone)
    return Column(a.data / where(zero, 1.0, b.data), False, first(gone, _void(zero)))


def _void(mask: Any) -> Any:
    return where(mask, VOID, 0)


def square_root(value: Any) -> tuple[Any, Any]:
    """The root; a negative number has none."""
    return np.sqrt(np.maximum(value, 0.0)), _void(value < 0)


def power(base: Any, exponent: Any) -> tuple[Any, Any]:
    """base to any exponent; only a positive base has one."""
    bad = base <= 0
    return where(bad, 1.0, base) ** exponent, _void(bad)


def absolute(value: Any) -> tuple[Any, Any]:
    """Without its sign."""
    return abs(value), 0


def _rounded(value: Any, step: Any, rounding: Callable[[Any], Any]) -> tuple[Any, Any]:
    bad = step <= 0
    step = where(bad, 1.0, step)
    ratio = value / step
    whole = np.rint(ratio)
    rough = opposite(near(ratio, whole, TINY)) | (whole == 0)
    return where(rough, rounding(ratio), whole) * step, _void(bad)


def round_up(value: Any, step: Any) -> tuple[Any, Any]:
    """To the next multiple of the step; a multiple stays."""
    return _rounded(value, step, np.ceil)


def round_down(value: Any, step: Any) -> tuple[Any, Any]:
    """To the multiple of the step at or below."""
    return _rounded(value, step, np.floor)


def round_nearest(value: Any, step: Any) -> tuple[Any, Any]:
    """To the nearest multiple of the step, halves away from zero."""
    return _rounded(value, step, lambda ratio: np.copysign(np.floor(abs(ratio) * (1 + TINY) + 0.5), ratio))


FUNCTIONS: dict[str, Callable[..., tuple[Any, Any]]] = {
    "square_root": square_root,
    "power": power,
    "absolute": absolute,
    "round_up": round_up,
    "round_down": round_down,
    "round_nearest": round_nearest,
}
"""What can be worked out for a whole column, by the name a rule calls it; each answers data and why it is gone."""
