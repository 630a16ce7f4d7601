"""Tables met by address, against the same tables asked one key at a time."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

np = pytest.importorskip("numpy")

from gaugebook.declared import Type  # noqa: E402
from gaugebook.grids import Codes, Finder, Grid  # noqa: E402
from gaugebook.kinds import NUMBER  # noqa: E402
from gaugebook.ladders import Ladder  # noqa: E402
from gaugebook.runtime import REST, SLACK, Absent, Axis, Table  # noqa: E402

A_NUMBER = Type("number", NUMBER)
MATCHES = ("up_to", "below", "at_least", "above")
AMOUNTS = st.decimals(-1000, 1000, places=2)
BESIDE = st.sampled_from([Decimal(0), Decimal("0.3"), Decimal("-0.3"), SLACK / 4, -SLACK / 4, 8 * SLACK, -8 * SLACK])


@given(
    st.lists(AMOUNTS, min_size=1, max_size=12, unique=True),
    st.sampled_from(MATCHES),
    st.sampled_from(["not_permitted", "missing", "last"]),
    st.booleans(),
    st.lists(st.tuples(st.integers(0, 11), BESIDE), min_size=1, max_size=8),
    AMOUNTS,
)
def test_a_key_falls_where_it_falls_alone(
    bounds: list[Decimal], match: str, beyond: str, rest: bool, near: list[tuple[int, Decimal]], far: Decimal
) -> None:
    keys: list[Any] = [*bounds, REST] if rest else list(bounds)
    axis = Axis("key", match, keys, beyond)
    finder = Finder(axis, A_NUMBER, Codes({}))
    tried = [far, far * 50]
    for place, beside in near:
        bound = bounds[place % len(bounds)]
        tried.append(bound + beside * max(abs(bound), 1))
    found = finder.find(np.array([float(key) for key in tried])).tolist()
    expected = [axis.find(key) for key in tried]
    assert found == [finder.size if place is None else place for place in expected]
    assert [finder.find(float(key)) for key in tried] == found


@given(
    st.lists(st.decimals(-50, 1_000_000, places=4), max_size=20, unique=True).map(sorted),
    st.lists(st.floats(-100, 2_000_000), min_size=1, max_size=20),
    st.booleans(),
)
def test_addresses_say_what_searching_says(bounds: list[Decimal], near: list[float], below: bool) -> None:
    ladder = Ladder(bounds, 1e-9, below)
    tried = np.array([*near, *ladder.edges, *np.nextafter(ladder.edges, np.inf), 0.0, -0.0, 1e300, -1e300, np.inf])
    expected = np.searchsorted(ladder.edges, tried, "right" if below else "left").tolist()
    assert ladder.climb(tried).tolist() == expected
    assert [ladder.climb(float(number)) for number in tried] == expected


def test_few_bounds_are_searched() -> None:
    pipes = [Decimal(text) for text in ("0.0845", "0.1053", "0.1984", "0.1996", "16.9", "1000000.7")]
    assert Ladder(pipes, 1e-9, below=True).own is not None
    assert Ladder([Decimal(0), *pipes], 1e-9, below=True).own is not None
    assert Ladder([Decimal(-5), Decimal(0), *pipes], 1e-9, below=True).own is None


def test_what_is_no_number_falls_somewhere_and_breaks_nothing() -> None:
    ladder = Ladder([Decimal(15), Decimal(20)], 1e-9, below=False)
    with np.errstate(all="ignore"):
        assert set(ladder.climb(np.array([np.nan, -np.nan, np.inf, -np.inf])).tolist()) <= {0, 1, 2}


@given(
    st.lists(AMOUNTS, min_size=2, max_size=8, unique=True).map(sorted),
    st.sampled_from(["not_permitted", "missing", "last"]),
    st.lists(AMOUNTS, min_size=1, max_size=8),
)
def test_between_rows_as_alone(bounds: list[Decimal], beyond: str, keys: list[Decimal]) -> None:
    axis = Axis("key", "linear", bounds, beyond)
    cells = {(place,): Decimal(place * place) for place in range(len(bounds))}
    table = Table("t", lambda: ([axis], cells))
    grid = Grid(table, [A_NUMBER], A_NUMBER, Codes({}))
    made = grid.between(np.array([float(key) for key in keys]), 0)
    gone = np.broadcast_to(made.gone, len(keys)).tolist()
    for key, value, why in zip(keys, made.data.tolist(), gone, strict=True):
        try:
            expected = float(table(key))
        except Absent as absent:
            assert why == (1 if absent.void else 2)
        else:
            assert why == 0
            assert value == pytest.approx(expected, rel=1e-9, abs=1e-9)
