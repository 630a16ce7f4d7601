"""Which picks are found by bisection: those where the number tried, by itself, meets what does not lean on it."""

from __future__ import annotations

from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import pytest

from gaugebook.meaning import Op
from gaugebook.planning import met_by

NUMBER: Any = SimpleNamespace(sort="number")
WORD: Any = SimpleNamespace(sort="word")
RISING = [Decimal(10), Decimal(20), Decimal(35)]


def op(code: str, *parts: Any, type: Any = NUMBER) -> Op:
    return Op(code, parts, type, None)  # type: ignore[arg-type]


TRIED, OTHER, LOAD = op("bound", 1), op("bound", 2), op("place", 1)
TWICE, MORE = op("arithmetic", "*", TRIED, LOAD), op("arithmetic", "+", OTHER, LOAD)


def held(left: Op, sign: str, right: Op) -> Op:
    return op("compare", sign, left, right)


@pytest.mark.parametrize("limit", [LOAD, OTHER, MORE])
@pytest.mark.parametrize(
    ("end", "sign", "mirrored"),
    [("first", ">=", "<="), ("first", ">", "<"), ("last", "<=", ">="), ("last", "<", ">")],
)
def test_a_number_that_meets_a_limit_is_found(end: str, sign: str, mirrored: str, limit: Op) -> None:
    """Whichever side it stands on."""
    assert met_by(end, 1, RISING, held(TRIED, sign, limit)) == (sign, limit)
    assert met_by(end, 1, RISING, held(limit, mirrored, TRIED)) == (sign, limit)


@pytest.mark.parametrize(
    ("end", "accept"),
    [
        ("last", held(TRIED, ">=", LOAD)),
        ("last", held(LOAD, "<", TRIED)),
        ("first", held(TRIED, "<=", LOAD)),
        ("first", held(LOAD, ">", TRIED)),
    ],
)
def test_the_end_at_which_all_or_none_will_do_is_looked_for(end: str, accept: Op) -> None:
    assert met_by(end, 1, RISING, accept) is None


@pytest.mark.parametrize(
    "accept",
    [
        held(TRIED, ">=", TWICE),
        held(TWICE, "<=", TRIED),
        held(TRIED, ">=", TRIED),
        held(TWICE, ">=", LOAD),
        held(LOAD, ">=", LOAD),
        held(OTHER, ">=", LOAD),
        held(TRIED, "is", LOAD),
        held(op("bound", 1, type=WORD), ">=", op("place", 1, type=WORD)),
        op("logic", "and", held(TRIED, ">=", LOAD), held(LOAD, ">", LOAD)),
        TRIED,
    ],
)
def test_what_leans_on_the_number_tried_or_says_something_else_is_looked_for(accept: Op) -> None:
    assert met_by("first", 1, RISING, accept) is None


@pytest.mark.parametrize("members", [[], RISING[::-1], [*RISING, *RISING[2:]], ["thin", "thick"]])
def test_members_that_do_not_rise_are_looked_at_one_by_one(members: list[Any]) -> None:
    assert met_by("first", 1, members, held(TRIED, ">=", LOAD)) is None
