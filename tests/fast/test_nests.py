"""A table laid out as a nest, against the same table asked as it is; what is outside, not read, or too large."""

from __future__ import annotations

import itertools
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from decimal import Decimal, localcontext
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as some

from gaugebook.declared import Type
from gaugebook.kinds import NUMBER
from gaugebook.nests import LOST, MOST_CELLS, CannotNest, Level, Nest, Numbers, met, nested
from gaugebook.runtime import DUST, EXACT, REST, SLACK, TINY, Absent, Axis, Table, near

A_NUMBER, A_WORD = Type("number", NUMBER), Type("word", "moods")
MOODS = ["calm", "brisk", "wild"]
MATCHES = ("exact", "up_to", "below", "at_least", "above")
BEYOND = some.sampled_from(["not_permitted", "missing", "last"])
BOUNDS = some.lists(some.decimals(-40, 40, places=1), min_size=1, max_size=4, unique=True)
BESIDE = [Decimal(0), Decimal("0.05"), SLACK / 2, -SLACK / 2, 3 * SLACK, -3 * SLACK]


def words(key: Type) -> Sequence[Any] | None:
    """All values a key can have."""
    return MOODS if key is A_WORD else None


def found(nest: Nest, keys: Sequence[Any], numbers: Numbers) -> Any:
    """What a program finds in a nest."""
    data = nest.data
    for level, at in zip(nest.levels, nest.order, strict=True):
        data = spot(data, level, keys[at] if level.way in ("each", "some", "rank") else numbers.of(keys[at]))
    return data


def spot(data: Any, level: Level, key: Any) -> Any:
    if level.way == "each":
        return data[key]
    if level.way == "some":
        return data[0].get(key, data[1])
    if level.way == "rank":
        return data[MOODS.index(key)]
    if level.way == "met":
        return data[met(level.bounds, key)]
    return data[(bisect_left if level.way == "left" else bisect_right)(level.bounds, key)]


def printed(table: Table, *keys: Any) -> Any:
    """What the table itself says."""
    try:
        return table(*keys)
    except Absent as absent:
        return None if absent.void else LOST


def two_keys(
    bounds: list[Decimal], match: str, beyond: str, rest: bool, moods: list[str], figures: list[Any]
) -> Table:
    """A table by a number and a mood; figures are taken in turn, the one after the last is not printed."""
    axes = [
        Axis("number", match, [*bounds, REST] if rest else bounds, beyond),
        Axis("mood", "exact", moods, "missing" if beyond == "missing" else "not_permitted"),
    ]
    places = itertools.product(range(len(axes[0].keys)), range(len(moods)))
    cells = dict(zip(places, itertools.cycle(figures), strict=False))
    return Table(
        "t", lambda: (axes, {place: figure for place, figure in cells.items() if figure is not None})
    )


@pytest.mark.parametrize("exact", [True, False])
@pytest.mark.parametrize("match", MATCHES)
@settings(max_examples=40)
@example([Decimal(30), Decimal(-10), Decimal(0)], "last", False, ["calm"], [Decimal(1), Decimal(2)])
@given(
    BOUNDS,
    BEYOND,
    some.booleans(),
    some.lists(some.sampled_from([*MOODS, REST]), min_size=1, max_size=3, unique=True),
    some.lists(some.sampled_from([Decimal(1), Decimal("2.5"), "-", "missing", None]), min_size=1, max_size=5),
)
def test_a_nest_says_what_its_table_says(
    match: str,
    exact: bool,
    bounds: list[Decimal],
    beyond: str,
    rest: bool,
    moods: list[str],
    figures: list[Any],
) -> None:
    table = two_keys(bounds, match, beyond if match != "exact" else "missing", rest, moods, figures)
    numbers = Numbers(exact)
    keys = [bound + beside * max(abs(bound), 1) for bound in bounds for beside in BESIDE]
    if match == "exact":
        keys = [*bounds, Decimal(99)]
    for along in (None, 1):
        nest = nested(table, [A_NUMBER, A_WORD], words, numbers, along)
        seen = set()
        for key, mood in itertools.product([*keys, Decimal(-500), Decimal(500)], MOODS):
            said = found(nest, (key, mood), numbers)
            assert said == numbers.of(printed(table, key, mood)), (key, mood)
            seen.add(said if said is None or said is LOST else True)
        assert not (None in seen and not nest.void)
        assert not (LOST in seen and not nest.lost)


def test_only_the_key_along_a_series_becomes_a_column() -> None:
    axes = [Axis("number", "up_to", [Decimal(1)], "last"), Axis("mood", "exact", MOODS, "missing")]
    table = Table("t", lambda: (axes, {(0, place): Decimal(place) for place in range(3)}))
    nest = nested(table, [A_NUMBER, A_WORD], words, Numbers(True), along=1, column=list)
    assert nest.data == ([0, 1, 2], [0, 1, 2])
    assert nested(table, [A_NUMBER, A_WORD], words, Numbers(True), along=1).data == ((0, 1, 2), (0, 1, 2))


def test_void_and_lost_are_only_said_of_tables_that_are() -> None:
    axis = Axis("mood", "exact", MOODS, "not_permitted")
    for figures, said in (
        ([1, 2, 3], (False, False)),
        ([1, "-", 3], (True, False)),
        ([1, "missing", 3], (False, True)),
    ):
        cells = {(place,): Decimal(one) if isinstance(one, int) else one for place, one in enumerate(figures)}
        nest = nested(Table("t", lambda cells=cells: ([axis], cells)), [A_WORD], words, Numbers(True))
        assert (nest.void, nest.lost) == said


@given(some.decimals(-(10**6), 10**6, places=3))
def test_the_farthest_number_near_a_bound(bound: Decimal) -> None:
    """The next one on is no longer near it."""
    numbers = Numbers(True)
    high, low = numbers.high(bound, rough=True), numbers.low(bound, rough=True)
    assert low <= bound <= high
    with localcontext(EXACT):
        assert near(bound, high) and near(bound, low)
        assert not near(bound, EXACT.next_plus(high)) and not near(bound, EXACT.next_minus(low))
    assert numbers.high(bound, rough=False) == bound == numbers.low(bound, rough=False)


@pytest.mark.parametrize("bound", ["-40", "0", "0.3", "70"])
def test_binary_bounds_lie_just_outside(bound: str) -> None:
    number = float(bound)
    for rough, slack in ((True, TINY), (False, DUST)):
        high = Numbers(False).high(Decimal(bound), rough)
        low = Numbers(False).low(Decimal(bound), rough)
        assert (low == number == high) if not number else low < number < high
        assert high - number == pytest.approx(slack * abs(number), rel=0.01)
        assert number - low == pytest.approx(slack * abs(number), rel=0.01)


def test_which_binary_number_is_met() -> None:
    bounds = (0.1, 0.3, 2.0)
    assert [met(bounds, key) for key in (0.1, 0.1 + 0.2, 2.0, 0.2, 3.0, -1.0)] == [0, 1, 2, 3, 3, 3]
    for bound, place in zip(bounds, range(3), strict=True):
        assert met(bounds, bound * (1 + 1e-15)) == met(bounds, bound * (1 - 1e-15)) == place
        assert met(bounds, bound * (1 + 1e-6)) == met(bounds, bound * (1 - 1e-6)) == 3


def test_what_cannot_be_laid_out() -> None:
    close = Axis("number", "up_to", [Decimal(1), Decimal("1.00000000000000000001")], "last")
    assert nested(Table("t", lambda: ([close], {})), [A_NUMBER], words, Numbers(True)).void
    with pytest.raises(CannotNest):  # binary numbers do not tell the two bounds apart
        nested(Table("t", lambda: ([close], {})), [A_NUMBER], words, Numbers(False))
    linear = Axis("mood", "up_to", [Decimal(1)], "last")
    with pytest.raises(CannotNest):
        nested(Table("t", lambda: ([linear], {})), [A_WORD], words, Numbers(True), along=0)
    for rows, fits in ((MOST_CELLS - 1, True), (MOST_CELLS, False)):
        axis = Axis("number", "up_to", [Decimal(row) for row in range(rows)], "not_permitted")
        table = Table("t", lambda axis=axis: ([axis], {}))
        if fits:
            assert nested(table, [A_NUMBER], words, Numbers(False)).void
        else:
            with pytest.raises(CannotNest):
                nested(table, [A_NUMBER], words, Numbers(False))
