"""Walking along one input: a change is found wherever it lies, nearest first, and put on the printed bound.

The decisions are invented: a number that the input gives, held against a bound.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest

from gaugebook.documents import read
from gaugebook.resources import packaged
from gaugebook.searching import BUDGET, RESOLUTION, Change, Point, Search, roundest
from gaugebook.units import Units
from gaugebook.watching import Decision

Number = Callable[[Decimal], Decimal]


def D(text: str | int) -> Decimal:
    return Decimal(text)


def held(number: Number, bound: str, test: str = "<=") -> Callable[[Decimal], Decision]:
    """A decision: the number held against a bound, the bound included or not."""

    def decide(value: Decimal) -> Decision:
        at = number(value)
        result = {"<=": at <= D(bound), "<": at < D(bound), ">=": at >= D(bound), ">": at > D(bound)}[test]
        return Decision(result, at, (D(bound),))

    return decide


def same(value: Decimal) -> Decimal:
    return value


def nice(value: Decimal, within: Decimal) -> Decimal:
    """The number of fewest digits that lies within a distance."""
    for digits in range(60):
        rounded = round(value, digits)
        if abs(rounded - value) <= within:
            return rounded
    return value


def search(*decisions: Callable[[Decimal], Decision], origin: str = "10", whole: bool = False) -> Search:
    """A search whose outcomes are what was decided."""

    def evaluate(value: Decimal) -> Point:
        made = tuple(decide(value) for decide in decisions)
        return Point(value, tuple(decision.result for decision in made), made)

    return Search(evaluate, D(origin), D(1), whole, nice)


def changes(found: Search, end: str) -> list[Change]:
    return list(found.outward(D(end)))


def bounds(found: Search, end: str) -> list[Decimal]:
    return [change.bound.value for change in changes(found, end)]


@pytest.mark.parametrize("bound", ["10.001", "10.5", "12.345679", "13", "99.99", "100"])
@pytest.mark.parametrize("test", ["<=", "<"])
def test_a_bound_above_is_found_and_knows_its_side(bound: str, test: str) -> None:
    end = "101"
    (change,) = changes(search(held(same, bound, test)), end)
    assert change.bound.value == D(bound)
    assert change.near.value < change.bound.value < change.far.value or bound == str(change.far.value)
    assert change.near.outcomes == (True,)
    assert change.far.outcomes == (False,)
    assert change.bound.outcomes == (test == "<=",)


@pytest.mark.parametrize("bound", ["9.999", "9.5", "3", "0.01", "-40"])
@pytest.mark.parametrize("test", [">=", ">"])
def test_a_bound_below_likewise(bound: str, test: str) -> None:
    (change,) = changes(search(held(same, bound, test)), "-50")
    assert change.bound.value == D(bound)
    assert (change.near.outcomes, change.far.outcomes) == ((True,), (False,))
    assert change.bound.outcomes == (test == ">=",)


def test_a_bound_at_the_origin_itself() -> None:
    above = changes(search(held(same, "10", "<=")), "20")
    assert [change.bound.value for change in above] == [D(10)]
    assert above[0].near.value == D(10)
    assert changes(search(held(same, "10", "<")), "20") == []


def test_nothing_changes_and_the_walk_reaches_its_end() -> None:
    found = search(held(same, "1000"))
    assert changes(found, "200") == []
    assert found.reached == 200
    assert changes(search(held(same, "1000")), "10") == []


def test_changes_come_in_the_order_met() -> None:
    decisions = [held(same, bound) for bound in ("30", "12", "12.5", "80")]
    assert bounds(search(*decisions), "100") == [D(12), D("12.5"), D(30), D(80)]
    assert bounds(search(*[held(same, bound, ">=") for bound in ("1", "8", "-5")]), "-10") == [
        D(8),
        D(1),
        D(-5),
    ]


def test_the_end_itself_is_looked_at() -> None:
    assert bounds(search(held(same, "20", "<")), "20") == [D(20)]
    assert bounds(search(held(same, "20", "<=")), "20") == []


@pytest.mark.parametrize(
    ("number", "bound", "at"),
    [
        (lambda value: 3 * value + 1, "61", "20"),
        (lambda value: value * value, "400", "20"),
        (lambda value: 1000 - value, "980", "20"),
    ],
)
def test_the_bound_is_that_of_the_input(number: Number, bound: str, at: str) -> None:
    test = ">=" if number(D(10)) > D(bound) else "<="
    (change,) = changes(search(held(number, bound, test)), "100")
    assert abs(change.bound.value - D(at)) <= RESOLUTION * 100
    assert change.near.value <= D(at) <= change.far.value
    assert change.far.value - change.near.value <= RESOLUTION * 100


@pytest.mark.parametrize("turn", ["11.03", "15", "16.3", "17.4", "18.7", "40"])
def test_a_narrow_dip_is_found_where_the_number_turns(turn: str) -> None:
    """A number that falls to 0 and rises again: low within a tenth of a part of the distance alone."""
    width = (D(turn) - 10) / 50
    dip = held(lambda value: (value - D(turn)) ** 2, str(width**2), ">")
    found = bounds(search(dip), "100")
    assert [round(value, 4) for value in found] == [round(D(turn) + side * width, 4) for side in (-1, 1)]


def test_a_whole_number_at_which_alone_it_differs() -> None:
    dip = held(lambda value: (value - 15) ** 2, "0.5", ">")
    assert bounds(search(dip, whole=True), "40") == [D(15), D(16)]


def test_a_bound_that_no_number_hits_is_put_on_a_round_one_beside_it() -> None:
    (change,) = changes(search(held(lambda value: 3 * value, "40")), "100")
    assert abs(change.bound.value - D(40) / 3) < D("1e-7")
    assert len(change.bound.value.normalize().as_tuple().digits) < 14


@pytest.mark.parametrize(("end", "expected"), [("40", ["14"]), ("-9", ["6"])])
def test_whole_inputs_move_in_whole_steps(end: str, expected: list[str]) -> None:
    tried: list[Decimal] = []

    def number(value: Decimal) -> Decimal:
        tried.append(value)
        return value

    test = "<" if end == "40" else ">"
    found = search(held(number, expected[0], test), whole=True)
    (change,) = changes(found, end)
    assert change.bound.value == change.far.value == D(expected[0])
    assert abs(change.far.value - change.near.value) == 1
    assert all(value == int(value) for value in tried)
    assert min(tried) >= min(D(10), D(end)) and max(tried) <= max(D(10), D(end))


def test_from_zero_steps_are_shares_of_the_scale() -> None:
    assert bounds(search(held(same, "0.25"), origin="0"), "5") == [D("0.25")]
    assert bounds(search(held(same, "-0.25", ">="), origin="0"), "-5") == [D("-0.25")]


def test_a_decision_without_a_number_is_halved_to_the_resolution() -> None:
    (change,) = changes(search(lambda value: Decision(value <= D("12.3456789"))), "20")
    assert change.near.value <= D("12.3456789") < change.far.value
    assert change.far.value - change.near.value <= RESOLUTION * change.far.value
    assert change.near.value <= change.bound.value <= change.far.value
    assert len(change.bound.value.normalize().as_tuple().digits) < 8


def test_each_value_is_evaluated_once_and_counted() -> None:
    tried: list[Decimal] = []

    def number(value: Decimal) -> Decimal:
        tried.append(value)
        return value

    found = search(held(number, "13"))
    changes(found, "100")
    assert len(tried) == len(set(tried)) == found.spent
    assert found.spent < 100


def test_the_effort_has_an_end() -> None:
    """A number with thousands of bounds: the walk stops after its budget and says how far it came."""

    def step(value: Decimal) -> Decision:
        number = int(value * 20)
        return Decision(number, value, (D(number) / 20, D(number + 1) / 20))

    comb = search(step)
    found = changes(comb, "200")
    assert BUDGET < comb.spent < BUDGET + 50
    assert 10 < comb.reached < 200
    assert found[-1].far.value == comb.reached


def test_another_evaluation_takes_over_from_where_the_walk_is() -> None:
    found = search(held(same, "12"), held(same, "30"))
    other = search(held(same, "40"))
    met = []
    for change in found.outward(D(100)):
        met.append(change.bound.value)
        if len(met) == 1:
            found.narrow(other.evaluate)
    assert met == [D(12), D(40)]


def point(value: int, *results: Any) -> Point:
    return Point(D(value), ("same",), tuple(Decision(result) for result in results))


def test_points_are_alike_when_everything_decided_is() -> None:
    assert point(1, "a", "b").like(point(2, "a", "b"))
    assert not point(1, "a", "b").like(point(2, "a", "c"))
    assert not point(1, "a", "b").like(point(2, "a"))
    assert not point(1, "a").like(Point(D(2), ("other",), (Decision("a"),)))


UNITS = Units.from_data(read(packaged("rulesets", "units.yaml")).data)


@pytest.mark.parametrize(
    ("unit", "value", "within", "found"),
    [
        ("m", "3.14159", "0.01", "3.14"),
        ("m", "3.14159", "0.2", "3"),
        ("m", "3.14159", "0.14159", "3"),
        ("m", "3.14159", "0.14158", "3.1"),
        ("m", "3.14159", "0.000001", "3.14159"),
        ("cm", "0.3149", "0.0005", "0.315"),
        ("ft", "0.3", "0.005", "0.3048"),
        ("m", "-27.3", "0.5", "-27"),
        ("m", "0.12345678901234567", "1e-20", "0.12345678901234567"),
    ],
)
def test_the_value_of_fewest_digits_in_its_unit(unit: str, value: str, within: str, found: str) -> None:
    """Figures in the base unit: 0.3149 m is nearly 31.5 cm, 0.3 m is nearly 1 ft."""
    assert roundest(UNITS.unit(unit), D(value), D(within)) == D(found)


def test_counting_down_no_number_close_by_is_skipped() -> None:
    found = search(held(lambda value: abs(value - 9), "0"), whole=True)
    assert bounds(found, "-100000")[0] == 9


def test_a_bound_at_nought_is_found_from_above() -> None:
    assert bounds(search(held(same, "0", ">")), "-100") == [0]
