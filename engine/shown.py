"""Values of a result as people read them."""

from __future__ import annotations

from decimal import Decimal

from .blocks import TIE
from .units import show_number

TYPE_CHECKING = False

if TYPE_CHECKING:
    from collections.abc import Iterable
    from typing import Any

NONE = "none"
UNSTATED = "unstated"
SIGNS = {"<=": "≤", ">=": "≥"}
"""Signs of a comparison that are printed otherwise than they are written."""

VERDICTS = {True: "PASSES", False: "FAILS", None: "UNDETERMINED"}


def shown(value: Any, unit: str | None) -> str:
    """A value of a result for reading: four digits and the unit, yes or no, or none."""
    if value is None:
        return NONE
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        text = show_number(Decimal(repr(value)))
        return text if unit is None else f"{text}{TIE}{unit}"
    if isinstance(value, list):
        return ", ".join(str(item) for item in value) or NONE
    return str(value).replace(" ", TIE)


def relation(sign: str | None, limit: str) -> str:
    """A limit with the sign by which what is there must stand to it."""
    return f"{SIGNS.get(sign, sign)}{TIE}{limit}" if sign and limit else limit


def spoken(name: str) -> str:
    """A name as words, `maximum_load` as `maximum load`."""
    return name.replace("_", " ")


def share(margin: float | None) -> str:
    """A margin in percent with its sign."""
    if margin is None:
        return ""
    percent = Decimal(repr(margin)) * 100
    return f"{'+' * (percent > 0)}{show_number(percent, 3)}{TIE}%"


def together(names: Iterable[str]) -> str:
    """The names of some things, the place they share said once: `circuits.east, west`."""
    told, before = [], ""
    for name in names:
        place, _, own = name.rpartition(".")
        told.append(own if place and place == before else name)
        before = place
    return ", ".join(told)


def attributes_of(names: Iterable[str]) -> str:
    """Attributes of things in words, those of alike things once: `size, cover of boxes.a, b`."""
    things: dict[str, list[str]] = {}
    for name in names:
        thing, _, attribute = name.rpartition(".")
        things.setdefault(attribute, []).append(thing)
    attributes: dict[str, list[str]] = {}
    for attribute, owners in things.items():
        attributes.setdefault(together(owners), []).append(attribute)
    return "; ".join(f"{', '.join(all_of)} of {owners}" for owners, all_of in attributes.items())
