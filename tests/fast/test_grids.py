"""Tables met by address, against the same tables asked one key at a time."""

from __future__ import annotations

from decimal import Decimal
from itertools import product
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

np = pytest.importorskip("numpy")

from gaugebook.arrays import UNKNOWN, VOID, Column  # noqa: E402
from gaugebook.declared import TRUTH, Type  # noqa: E402
from gaugebook.grids import Codes, Finder, Grid  # noqa: E402
from gaugebook.kinds import NUMBER  # noqa: E402
from gaugebook.ladders import Ladder  # noqa: E402
from gaugebook.runtime import REST, SLACK, Absent, Axis, Table  # noqa: E402

A_NUMBER = Type("number", NUMBER)
MOODS = Type("word", "moods")
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


@pytest.mark.parametrize(
    ("bounds", "pieces"), [([1, 2, 4, 8], 5), ([1, "1.5", 2], 4), ([1, "1.25", "1.5"], 4)]
)
def test_numbers_are_cut_no_finer_than_their_bounds_need(bounds: list[Any], pieces: int) -> None:
    """By powers of two where that keeps them apart, and one piece more for what lies below them; each is halved."""
    ladder = Ladder([Decimal(bound) for bound in bounds], 0, below=True)
    assert len(ladder.own) == pieces
    assert len(ladder.passed) == 2 * pieces


def test_whole_numbers_fall_where_others_do() -> None:
    ladder = Ladder([Decimal(15), Decimal(20)], 1e-9, below=True)
    assert ladder.climb(np.array([-1, 0, 14, 15, 20, 21])).tolist() == [0, 0, 0, 1, 2, 2]


def test_what_is_no_number_falls_somewhere_and_breaks_nothing() -> None:
    ladder = Ladder([Decimal(15), Decimal(20)], 1e-9, below=False)
    with np.errstate(all="ignore"):
        assert set(ladder.climb(np.array([np.nan, -np.nan, np.inf, -np.inf])).tolist()) <= {0, 1, 2}


@given(
    st.lists(AMOUNTS, min_size=2, max_size=8, unique=True).map(sorted),
    st.sampled_from(["not_permitted", "missing", "last"]),
    st.lists(AMOUNTS, min_size=1, max_size=8),
    st.sampled_from(["calm", "wild", "other"]),
    st.sampled_from([Decimal(-1), "-", "missing"]),
    st.sampled_from(["not_permitted", "missing"]),
)
def test_between_rows_as_alone(
    bounds: list[Decimal], beyond: str, keys: list[Decimal], mood: str, first_cell: Any, other: str
) -> None:
    moods = ("calm", "wild")
    axes = [Axis("key", "linear", bounds, beyond), Axis("mood", "exact", moods, other)]
    cells: dict[tuple[int, ...], Any] = {
        (place, column): Decimal(place * place + 7 * column)
        for place in range(len(bounds))
        for column in (0, 1)
    }
    cells[0, 1] = first_cell
    table = Table("t", lambda: (axes, cells))
    codes = Codes({})
    grid = Grid(table, [A_NUMBER, MOODS], A_NUMBER, codes)
    made = grid.between(np.array([float(key) for key in keys]), grid.finders[1].find(codes.code(mood, MOODS)))
    gone = np.broadcast_to(made.gone, len(keys)).tolist()
    for key, value, why in zip(keys, made.data.tolist(), gone, strict=True):
        expected = said_by(table, (key, mood))
        assert (why, 0.0 if why else value) == (expected[0], pytest.approx(expected[1], rel=1e-9, abs=1e-9))


ROPES = Type("member", "ropes")
NAMES = "abcd"
FIGURES = [Decimal(text) for text in ("-2", "0", "5", "10", "12.5", "20")]


def test_what_stands_where_there_is_no_value() -> None:
    """Of truths a truth, else what every series has a member for."""
    codes = Codes({})
    for absent, none, gone in (
        (None, True, 0),
        (Absent([], void=True), False, VOID),
        (Absent([]), False, UNKNOWN),
    ):
        assert codes.column(absent, ROPES) == Column(0, none, gone)
        assert codes.column(absent, TRUTH) == Column(False, none, gone)
        assert codes.column(absent, TRUTH).data is False


@st.composite
def axes(draw: Any) -> tuple[Axis, Type]:
    """An axis of members, of words, of numbers or of ranges of numbers, perhaps with a row for the rest."""
    match = draw(st.sampled_from(["exact", *MATCHES]))
    key = draw(st.sampled_from([ROPES, MOODS, A_NUMBER])) if match == "exact" else A_NUMBER
    known: list[Any] = list(FIGURES if key is A_NUMBER else NAMES)
    keys = draw(st.lists(st.sampled_from(known), min_size=1, max_size=4, unique=True))
    beyond = draw(st.sampled_from(["not_permitted", "missing", "last"][: 2 if match == "exact" else 3]))
    return Axis("key", match, [*keys, *draw(st.sampled_from([[], [REST]]))], beyond), key


def some_of(key: Type) -> st.SearchStrategy[Any]:
    """Keys, some of them where no table has any."""
    if key is A_NUMBER:
        return st.sampled_from([*FIGURES, Decimal("-2.5"), Decimal("4.99"), Decimal("10.0001"), Decimal(21)])
    return st.sampled_from(NAMES if key is ROPES else [*NAMES, "other"])


FIGURE = st.sampled_from([Decimal("0.5"), Decimal(7), Decimal("-3.25")])
CELL = st.one_of(FIGURE, st.sampled_from(["-", "missing", None]))


@given(st.lists(axes(), min_size=1, max_size=3), st.data())
def test_a_table_by_address_says_what_it_says_for_each_row(along: list[tuple[Axis, Type]], data: Any) -> None:
    """Also where some of the keys are the same in every row, and where no cell is missing."""
    cell = data.draw(st.sampled_from([FIGURE, CELL]))
    cells = {places: data.draw(cell) for places in product(*(range(len(axis.keys)) for axis, _ in along))}
    printed = {places: value for places, value in cells.items() if value is not None}
    table = Table("t", lambda: ([axis for axis, _ in along], printed))
    keys = [key for _, key in along]
    rows = data.draw(st.lists(st.tuples(*map(some_of, keys)), min_size=1, max_size=6))
    codes = Codes({"ropes": {name: place for place, name in enumerate(NAMES)}})
    grid = Grid(table, keys, A_NUMBER, codes)
    for same in range(len(along) + 1):
        alike = [(*rows[0][:same], *row[same:]) for row in rows]
        coded = [
            [codes.code(value, key) for value in column]
            for column, key in zip(zip(*alike, strict=True), keys, strict=True)
        ]
        columns = [column[0] if place < same else np.array(column) for place, column in enumerate(coded)]
        met = by_address(grid, columns)
        gone, found = (np.broadcast_to(part, len(rows)).tolist() for part in (met.gone, met.data))
        assert [(why, 0.0 if why else value) for why, value in zip(gone, found, strict=True)] == [
            said_by(table, row) for row in alike
        ]


def by_address(grid: Grid, columns: list[Any]) -> Column:
    """The cells at some keys, each a column or the same for all rows, as a lookup finds them."""
    places = [finder.find(column) for finder, column in zip(grid.finders, columns, strict=True)]
    outside = any(finder.misses(place) for finder, place in zip(grid.finders, places, strict=True))
    flat: Any = [place for place in places if isinstance(place, np.ndarray)]
    start = sum(place for place in places if isinstance(place, int))
    return grid.read(sum(flat) if flat else 0, start, outside)


def said_by(table: Table, keys: tuple[Any, ...]) -> tuple[int, float]:
    """Why a table has no value for some keys, and the value."""
    try:
        return 0, float(table(*keys))
    except Absent as absent:
        return (VOID if absent.void else UNKNOWN), 0.0
