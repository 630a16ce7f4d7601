"""What compiled rules call: comparison with its slack, rounding, the rows of a table, the first of several ways.

Each figure here lies on a boundary or just beside it; what is between boundaries is for the conformance cases.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import ROUND_HALF_EVEN, Decimal
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugebook import runtime
from gaugebook.runtime import SLACK, Absent, Axis, Table

ONE = Decimal(1)
WITHIN = ONE + Decimal("1e-9")
"""The furthest number that still counts as 1."""
BEYOND = ONE + Decimal("1.1e-9")


def raised(ask: Callable[[], Any]) -> Absent:
    """The absence that a question ends in."""
    with pytest.raises(Absent) as caught:
        ask()
    return caught.value


# -- absence


def test_an_absence_is_unknown_unless_it_is_said_to_be_void() -> None:
    assert not Absent(["why"]).void
    assert Absent(["why"], void=True).void


def test_reasons_are_told_once_each_in_order() -> None:
    absent = Absent(["b", "a", "b"])
    assert absent.reasons == ("b", "a")
    assert str(absent) == "b; a; b"


# -- comparison


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("scale", ["1", "1e-30", "250", "1e40"])
def test_near_is_relative_and_includes_its_bound(sign: int, scale: str) -> None:
    a = sign * Decimal(scale)
    furthest = a / (1 - SLACK)
    with runtime.decimal.localcontext(runtime.EXACT):
        inside = a + (furthest - a) * Decimal("0.999999")
        outside = a + (furthest - a) * Decimal("1.000001")
        assert runtime.near(a, inside) and runtime.near(inside, a)
        assert not runtime.near(a, outside) and not runtime.near(outside, a)


def test_the_bound_of_the_slack_is_inside() -> None:
    """A difference of exactly one part in 10^9 of the greater."""
    assert runtime.near(Decimal(10**9), Decimal(10**9 - 1))
    assert not runtime.near(Decimal(10**9), Decimal(10**9 - 1) - Decimal("0.001"))


def test_nothing_but_zero_is_near_zero() -> None:
    assert runtime.near(Decimal(0), Decimal(0))
    assert not runtime.near(Decimal(0), Decimal("1e-300"))
    assert not runtime.near(ONE, -ONE)


@pytest.mark.parametrize(
    ("a", "least", "more"),
    [(ONE, True, False), (BEYOND, True, True), (1 / BEYOND, False, False), (1 / WITHIN, True, False)],
)
def test_at_least_and_above_differ_by_the_slack(a: Decimal, least: bool, more: bool) -> None:
    assert runtime.at_least(a, ONE) is least
    assert runtime.above(a, ONE) is more


# -- arithmetic


def test_division_by_zero_leaves_nothing() -> None:
    assert runtime.divide(Decimal(1), Decimal(4)) == Decimal("0.25")
    assert raised(lambda: runtime.divide(ONE, Decimal(0))).void


def test_a_number_that_is_worked_out_keeps_to_a_hundred_figures() -> None:
    for text in ("9.9e100", "-1e100", "1e-100", "0"):
        assert runtime.bounded(Decimal(text)) == Decimal(text)
    for text in ("1e101", "-1e101", "9.9e-101"):
        assert raised(lambda text=text: runtime.bounded(Decimal(text))).void
    assert runtime.bounded(None) is None


def test_division_keeps_fifty_digits_and_rounds_half_to_even() -> None:
    assert runtime.EXACT.prec == 50
    assert runtime.EXACT.rounding == ROUND_HALF_EVEN
    third = runtime.divide(ONE, Decimal(3))
    assert len(third.as_tuple().digits) == 50
    tie = Decimal("1" + "0" * 48 + "25") / 1
    assert runtime.EXACT.plus(tie) == Decimal("1" + "0" * 48 + "2") * 10


def test_sums_counts_and_extremes() -> None:
    assert runtime.total([]) == 0
    assert runtime.total([ONE, Decimal(2), Decimal(-5)]) == -2
    assert runtime.count([]) == 0
    assert runtime.count(["a", "a"]) == 2
    assert runtime.greatest([Decimal(1), Decimal(3), Decimal(2)]) == 3
    assert runtime.least([Decimal(2), Decimal(1), Decimal(3)]) == 1
    rank = {"small": 0, "large": 1, "huge": 2}
    assert runtime.greatest(["small", "huge", "large"], rank) == "huge"
    assert runtime.least(["large", "small", "huge"], rank) == "small"
    for choose in (runtime.greatest, runtime.least):
        assert raised(lambda choose=choose: choose([])).void


def test_a_power_of_any_positive_number() -> None:
    quarter, half = Decimal("0.25"), Decimal("0.5")
    assert runtime.power(quarter, half) == half
    assert runtime.power(ONE, Decimal("2.5")) == 1


def test_roots_and_powers_that_do_not_exist() -> None:
    assert runtime.square_root(Decimal(0)) == 0
    assert runtime.square_root(Decimal(9)) == 3
    assert raised(lambda: runtime.square_root(Decimal("-1e-9"))).void
    assert runtime.power(Decimal(4), Decimal("0.5")) == 2
    for base in (Decimal(0), Decimal(-1)):
        assert raised(lambda base=base: runtime.power(base, Decimal(2))).void
    assert raised(lambda: runtime.power(Decimal(10), Decimal("1e18"))).void


def test_what_may_be_none_is_asked_for() -> None:
    assert runtime.need(Decimal(0), "x") == 0
    absent = raised(lambda: runtime.need(None, "x"))
    assert absent.void and absent.reasons == ("x is none",)


def test_given_is_neither_none_nor_absent() -> None:
    def missing() -> Any:
        raise Absent(["not stated"])

    assert runtime.given(lambda: Decimal(0))
    assert not runtime.given(lambda: None)
    assert not runtime.given(missing)


# -- rounding


@pytest.mark.parametrize(
    ("value", "step", "up", "down", "nearest"),
    [
        ("2.5", "1", "3", "2", "3"),
        ("-2.5", "1", "-2", "-3", "-3"),
        ("3.5", "1", "4", "3", "4"),
        ("2.4", "1", "3", "2", "2"),
        ("2.6", "1", "3", "2", "3"),
        ("7", "5", "10", "5", "5"),
        ("7.5", "5", "10", "5", "10"),
        ("10", "5", "10", "10", "10"),
        ("0", "5", "0", "0", "0"),
        ("1e-12", "1", "1", "0", "0"),
        ("-1e-12", "1", "0", "-1", "0"),
        ("3.0000000001", "1", "3", "3", "3"),
        ("2.9999999999", "1", "3", "3", "3"),
        ("3.00000001", "1", "4", "3", "3"),
        ("0.3", "0.1", "0.3", "0.3", "0.3"),
    ],
)
def test_rounding(value: str, step: str, up: str, down: str, nearest: str) -> None:
    """A multiple within the slack stays; what is near zero is no multiple, for nothing is near zero."""
    given_value, given_step = Decimal(value), Decimal(step)
    assert runtime.round_up(given_value, given_step) == Decimal(up)
    assert runtime.round_down(given_value, given_step) == Decimal(down)
    assert runtime.round_nearest(given_value, given_step) == Decimal(nearest)


@pytest.mark.parametrize("step", ["0", "-1"])
def test_a_step_is_positive(step: str) -> None:
    assert raised(lambda: runtime.round_up(ONE, Decimal(step))).void


# -- relations and members


class Node:
    """A thing with links."""

    def __init__(self, **links: Any) -> None:
        self.links = links

    def get(self, name: str) -> Any:
        return self.links[name]


def test_reach_finds_each_thing_once_in_order() -> None:
    a, b = Node(), Node()
    things = [Node(to=b), Node(to=None), Node(to=[a, b]), Node(to=(a,))]
    assert runtime.reach(things, "to") == [b, a]


def test_pick_takes_the_first_that_fits() -> None:
    assert runtime.pick(["a", "b", "c"], lambda member: member > "a", "letters") == "b"
    absent = raised(lambda: runtime.pick(["a"], lambda member: False, "letters"))
    assert absent.void and absent.reasons == ("no member of letters fits",)


# -- the first of several ways

UNKNOWN = Absent(["not stated"])
OTHER_UNKNOWN = Absent(["not stated either"])
VOID = Absent(["no such value"], void=True)
PASS, FAIL, FAIL_TOO = (True, 3, 2), (False, 1, 2), (False, 0, 2)


def enough(*answers: Any) -> tuple[Any, dict[str, int]]:
    """What several ways come to, and which one was noted; the first is number 5."""

    def way(answer: Any) -> Callable[[], Any]:
        def ask() -> Any:
            if isinstance(answer, Absent):
                raise answer
            return answer

        return ask

    thing = SimpleNamespace(route={})
    return runtime.enough(thing, "check c", 5, [way(answer) for answer in answers]), thing.route


@pytest.mark.parametrize(
    ("answers", "verdict", "noted"),
    [
        ((PASS, FAIL), PASS, 5),
        ((FAIL, PASS), PASS, 6),
        ((UNKNOWN, PASS), PASS, 6),
        ((VOID, PASS), PASS, 6),
        ((None, PASS), PASS, 6),
        ((FAIL, FAIL_TOO), FAIL, 5),
        ((None, FAIL, FAIL_TOO), FAIL, 6),
        ((VOID, FAIL), FAIL, 6),
        ((None, None), (False, None, None), None),
        ((VOID,), (False, None, None), None),
    ],
)
def test_the_first_way_that_passes_else_the_first_that_is_open(
    answers: tuple[Any, ...], verdict: Any, noted: int | None
) -> None:
    found, route = enough(*answers)
    assert found == verdict
    assert route.get("check c") == noted


def test_an_unknown_way_leaves_it_open_only_when_none_passes() -> None:
    for answers in ((FAIL, UNKNOWN, OTHER_UNKNOWN), (UNKNOWN, FAIL, OTHER_UNKNOWN), (UNKNOWN, VOID)):
        absent = raised(lambda answers=answers: enough(*answers))
        assert absent is UNKNOWN


# -- rows of a table

BOUNDS = [Decimal(10), Decimal(20), Decimal(40)]


def axis(match: str, beyond: str = "not_permitted", keys: list[Any] | None = None) -> Axis:
    return Axis("load", match, BOUNDS if keys is None else keys, beyond)


LITTLE = Decimal("1e-8")
ROWS = {
    # just under, on, and just over each of 10, 20 and 40; None: no row
    "up_to": [0, 0, 1, 1, 1, 2, 2, 2, None],
    "below": [0, 1, 1, 1, 2, 2, 2, None, None],
    "at_least": [None, 0, 0, 0, 1, 1, 1, 2, 2],
    "above": [None, None, 0, 0, 0, 1, 1, 1, 2],
}


@pytest.mark.parametrize("match", ROWS)
def test_which_row_holds_a_value(match: str) -> None:
    asked = [bound + step for bound in BOUNDS for step in (-LITTLE * bound, 0, LITTLE * bound)]
    assert [axis(match).find(value) for value in asked] == ROWS[match]


@pytest.mark.parametrize("match", ROWS)
@pytest.mark.parametrize("bound", BOUNDS)
@pytest.mark.parametrize("share", ["1e-10", "-1e-10", "9.99e-10", "-9.99e-10"])
def test_a_value_within_the_slack_of_a_bound_is_on_it(match: str, bound: Decimal, share: str) -> None:
    assert axis(match).find(bound * (1 + Decimal(share))) == axis(match).find(bound)


@pytest.mark.parametrize("match", ROWS)
def test_a_value_a_little_beyond_the_slack_is_not(match: str) -> None:
    """The short cut that spares the comparison lets in twice the slack; the comparison decides."""
    for bound in BOUNDS:
        for share in (Decimal("1.5e-9"), Decimal("-1.5e-9")):
            beside = axis(match).find(bound * (1 + share))
            assert beside == axis(match).find(bound * (1 + 1000 * share))


def test_bounds_below_zero_have_their_slack_too() -> None:
    cold = [Decimal(-40), Decimal(-10)]
    assert axis("up_to", keys=cold).find(Decimal(-40) * (1 + Decimal("1e-10"))) == 0
    assert axis("up_to", keys=cold).find(Decimal(-40) * (1 - Decimal("1e-10"))) == 0
    assert axis("up_to", keys=cold).find(Decimal(-40) * (1 - Decimal("1e-8"))) == 1


def test_rows_may_be_printed_in_any_order() -> None:
    mixed = axis("up_to", keys=[Decimal(20), Decimal(10), Decimal(40)])
    assert [mixed.find(Decimal(value)) for value in (5, 15, 30)] == [1, 0, 2]


@pytest.mark.parametrize(
    ("match", "beyond", "value", "row"),
    [
        ("up_to", "last", 41, 2),
        ("below", "last", 40, 2),
        ("at_least", "last", 9, 0),
        ("above", "last", 10, 0),
        ("up_to", "missing", 41, None),
        ("at_least", "not_permitted", 9, None),
    ],
)
def test_past_the_outermost_bound(match: str, beyond: str, value: int, row: int | None) -> None:
    assert axis(match, beyond).find(Decimal(value)) == row


@pytest.mark.parametrize(
    ("match", "value", "row"),
    [
        ("up_to", 41, 3),
        ("up_to", 40, 2),
        ("up_to", 1, 0),
        ("below", 40, 3),
        ("at_least", 9, 3),
        ("at_least", 41, 2),
        ("above", 10, 3),
    ],
)
def test_the_rest_takes_what_lies_outside(match: str, value: int, row: int) -> None:
    """The rest stands for the open end of the match, not for the closed one."""
    assert axis(match, keys=[*BOUNDS, "rest"]).find(Decimal(value)) == row


def test_exact_keys_meet_themselves_or_the_rest() -> None:
    assert axis("exact", keys=["a", "b"]).find("b") == 1
    assert axis("exact", keys=["a", "b"]).find("c") is None
    assert axis("exact", keys=["a", "rest"]).find("c") == 1


@given(st.sampled_from(sorted(ROWS)), st.decimals(0, 60, places=3))
def test_rows_are_those_a_reader_would_take(match: str, value: Decimal) -> None:
    """The definition of each match, read off row by row."""
    fits: dict[str, Callable[[Decimal], bool]] = {
        "up_to": lambda bound: value <= bound,
        "below": lambda bound: value < bound,
        "at_least": lambda bound: value >= bound,
        "above": lambda bound: value > bound,
    }
    rows = [row for row, bound in enumerate(BOUNDS) if fits[match](bound)]
    expected = (min if match in ("up_to", "below") else max)(rows, default=None)
    assert axis(match).find(value) == expected


# -- tables


def table(axes: list[Axis], cells: dict[tuple[int, ...], Any]) -> Table:
    return Table("price", lambda: (axes, cells))


def test_a_table_is_made_when_it_is_first_looked_at() -> None:
    made: list[int] = []

    def make() -> tuple[list[Axis], dict[tuple[int, ...], Any]]:
        made.append(1)
        return [axis("exact", keys=["a"])], {(0,): ONE}

    lazy = Table("price", make)
    assert not made
    assert lazy("a") == 1 and lazy("a") == 1
    assert made == [1]
    with pytest.raises(AttributeError, match="colour"):
        _ = lazy.colour  # type: ignore[attr-defined]


@pytest.mark.parametrize(("cell", "void"), [("-", True), ("missing", False), (None, True)])
def test_a_dash_is_not_permitted_and_a_missing_cell_is_unknown(cell: str | None, void: bool) -> None:
    cells = {} if cell is None else {(0,): cell}
    absent = raised(lambda: table([axis("exact", keys=["a"])], cells)("a"))
    assert absent.void is void
    said = "was not read at" if cell == "missing" else "does not permit"
    assert absent.reasons == (f"price {said} a",)


@pytest.mark.parametrize(("beyond", "void"), [("not_permitted", True), ("missing", False)])
def test_a_key_that_no_row_holds(beyond: str, void: bool) -> None:
    absent = raised(lambda: table([axis("up_to", beyond)], {})(Decimal(50)))
    assert absent.void is void
    assert absent.reasons == ("price has no value for load 50",)


def test_a_key_that_is_none() -> None:
    absent = raised(lambda: table([axis("up_to")], {})(None))
    assert absent.void and absent.reasons == ("load is none",)


def test_the_cell_of_several_keys() -> None:
    two = table([axis("up_to"), Axis("colour", "exact", ["red", "blue"], "missing")], {(1, 1): Decimal(7)})
    assert two(Decimal(15), "blue") == 7
    assert two.locate((Decimal(15), "blue")) == (1, 1)


@pytest.mark.parametrize("match", ["up_to", "linear"])
def test_as_many_keys_as_axes(match: str) -> None:
    with pytest.raises(ValueError, match="argument"):
        table([axis(match)], {(0,): ONE, (1,): ONE})(Decimal(15), ONE)


def between(beyond: str = "not_permitted", cells: dict[tuple[int, ...], Any] | None = None) -> Table:
    return table(
        [axis("linear", beyond), Axis("colour", "exact", ["red", "blue"], "missing")],
        cells or {(0, 1): Decimal(100), (1, 1): Decimal(200), (2, 1): Decimal(100)},
    )


@pytest.mark.parametrize(
    ("value", "expected"),
    [("10", "100"), ("12.5", "125"), ("20", "200"), ("30", "150"), ("40", "100"), ("39", "105")],
)
def test_a_value_between_two_rows(value: str, expected: str) -> None:
    assert between()(Decimal(value), "blue") == Decimal(expected)


@pytest.mark.parametrize(("value", "held"), [("9", "100"), ("41", "100")])
def test_past_the_ends_of_a_line(value: str, held: str) -> None:
    assert between("last")(Decimal(value), "blue") == Decimal(held)
    assert raised(lambda: between()(Decimal(value), "blue")).void
    absent = raised(lambda: between("missing")(Decimal(value), "blue"))
    assert not absent.void and absent.reasons == (f"price has no value for load {value}",)


def test_keys_of_a_line_are_asked_as_those_of_other_tables() -> None:
    absent = raised(lambda: between()(None, "blue"))
    assert absent.void and absent.reasons == ("load is none",)
    absent = raised(lambda: between()(Decimal(15), "green"))
    assert not absent.void and absent.reasons == ("price has no value for colour green",)
    absent = raised(lambda: between()(Decimal(15), None))
    assert absent.void and absent.reasons == ("colour is none",)


def test_a_line_needs_both_of_its_ends() -> None:
    half = {(0, 1): Decimal(100), (1, 1): "missing"}
    assert not raised(lambda: between(cells=half)(Decimal(15), "blue")).void
