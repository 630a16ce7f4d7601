"""What a row of a table of cases comes to, and how that is said."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal
from typing import Any, NamedTuple

from .rulebook import Attribute
from .units import Unit

NONE = "none"
PLAIN = re.compile(r"[-+]?(?:(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d{1,3})?|(?:\d+ +)?\d+/\d+)", re.ASCII)
"""A number as a cell may hold it: with a fraction or an exponent, without a unit."""


class Field(NamedTuple):
    """A column of a table of cases: the field it varies, and the unit of its plain numbers, if one is said."""

    header: str
    thing: str
    attribute: Attribute
    unit: str | None
    path: tuple[str | int, ...]

    @property
    def ties(self) -> bool:
        """True where the column ties things together."""
        return self.attribute.role == "relation"


class Outcome(NamedTuple):
    """What a row comes to: passes, the check that governs, its margin, and each choice as text."""

    passes: bool | None
    governing: str | None
    margin: float | None
    choices: list[str | None]


class BadRow(Exception):
    """A row that makes no project: for each column at fault its header and the reason."""

    def __init__(self, faults: Sequence[tuple[str, str]]) -> None:
        super().__init__("; ".join(f"{column}: {reason}" for column, reason in faults))
        self.faults = list(faults)


Said = tuple[bool | None, float | None, str]
"""Whether a check passes, its margin, and its name with that of its thing."""

Numbered = tuple[int, Said | None]
"""What a check says (None: it does not apply), with its number in the order of the project and the book."""

_RANK = {False: 0, None: 1, True: 2}


def weight(verdict: Numbered) -> tuple[int, float, int]:
    """What fails comes first, then what is undetermined, then by the margin, then in the order of the book."""
    number, said = verdict
    if said is None:
        return len(_RANK), 0, number
    passes, share, _ = said
    return _RANK[passes], share if share is not None else float("inf") if passes else float("-inf"), number


def share_text(share: float) -> str:
    """A margin to six digits; what lies in the middle goes up, whichever way it was worked out."""
    return f"{share * (1 + 1e-12):.6g}"


def text_of(value: Any, unit: Unit | None) -> str:
    """A choice as a project would state it."""
    if value is None:
        return NONE
    if isinstance(value, Decimal):
        number = unit.from_base(value) if unit else value
        shown = f"{number.normalize():f}"
        return f"{shown} {unit.text}" if unit and unit.text != "1" else shown
    return str(value)
