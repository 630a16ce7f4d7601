"""How great and how small a number can become: what is said of it holds, and is no wider than a hand would say."""

from __future__ import annotations

from decimal import Decimal, localcontext
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as some

from gaugebook.meaning import Op
from gaugebook.runtime import EXACT
from gaugebook.spans import Span, Spans, fits

NUMBER: Any = SimpleNamespace(sort="number")
ABSENT: Any = SimpleNamespace(sort="void")


def op(code: str, *parts: Any, type: Any = NUMBER) -> Op:
    return Op(code, parts, type, None)  # type: ignore[arg-type]


def value(text: str) -> Op:
    return op("value", Decimal(text))


def two(left: str, sign: str, right: str) -> Op:
    return op("arithmetic", sign, value(left), value(right))


def gathered(word: str, *texts: str | None) -> Op:
    """A gathering of bodies, each with its condition, or without a body."""
    pairs = [(None, value(text) if text is not None else None) for text in texts]
    return op("gather", word, *(part for pair in pairs for part in pair))


def place(number: int) -> Op:
    return op("place", number)


def rule(*values: Op) -> SimpleNamespace:
    routes = [SimpleNamespace(value=one) for one in values]
    return SimpleNamespace(chosen=False, members=[], rule=SimpleNamespace(routes=routes))


TABLE = {(0,): Decimal("0.25"), (1,): Decimal(30), (2,): "-"}
PLAN: Any = SimpleNamespace(
    model=SimpleNamespace(constants={"much": (None, Decimal("1.56"))}),
    places=[
        SimpleNamespace(chosen=False, members=[], rule=None),
        SimpleNamespace(chosen=True, members=[Decimal(15), Decimal(400)], rule=None),
        rule(value("2"), op("value", None, type=ABSENT), value("0.5")),
        rule(op("arithmetic", "+", op("place", 3), value("1"))),
        rule(value("7"), op("call", "square_root", value("2"))),
    ],
    run=SimpleNamespace(
        rulebook=SimpleNamespace(
            tables={
                "flat": SimpleNamespace(axes=[SimpleNamespace(match="up_to")], cells=TABLE),
                "sloped": SimpleNamespace(axes=[SimpleNamespace(match="linear")], cells=TABLE),
                "empty": SimpleNamespace(axes=[SimpleNamespace(match="exact")], cells={(0,): "-"}),
            },
            properties={"ropes.mass": SimpleNamespace(cells={(0,): Decimal(1), (1,): Decimal(8)})},
            members={"ropes": [Decimal(4), Decimal(25)]},
        )
    ),
)


@pytest.mark.parametrize(
    ("said", "span"),
    [
        (value("123.4"), (3, -1, -1)),
        (value("-0.0625"), (-1, -4, -4)),
        (value("0"), (0, 0, 0)),
        (value("100"), (3, 0, 0)),
        (op("value", True), None),
        (op("constant", "much"), (1, -2, -2)),
        (two("12", "+", "0.5"), (3, -1, -1)),
        (two("0.5", "-", "12"), (3, -1, -1)),
        (two("12.5", "*", "0.03"), (1, -3, -3)),
        (two("12.5", "/", "0.03"), (5, -1, -1 - EXACT.prec)),
        (two("2", "^", "3"), None),
        (op("arithmetic", "*", value("2"), op("call", "square_root", value("2"))), None),
        (op("arithmetic", "+", op("call", "square_root", value("2")), value("2")), None),
        (op("negative", value("12.5")), (2, -1, -1)),
        (op("call", "greatest", value("12.5"), value("0.25")), (2, -2, -2)),
        (op("call", "least", value("12.5"), value("0.25")), (2, -2, -2)),
        (op("call", "square_root", value("4")), None),
        (op("if", value("1"), value("12.5"), value("300")), (3, -1, -1)),
        (op("if", value("1"), op("value", None, type=ABSENT), value("300")), (3, 0, 0)),
        (gathered("sum", "12.5", "3"), (3, -1, -1)),
        (gathered("sum", *["12.5"] * 5), (4, -1, -1)),
        (gathered("sum", None, "3"), (2, 0, 0)),
        (gathered("greatest", "12.5", "3"), (2, -1, -1)),
        (gathered("count", None, None), (1, 0, 0)),
        (gathered("count", *[None] * 5), (2, 0, 0)),
        (gathered("sum"), None),
        (op("lookup", "flat"), (2, -2, -2)),
        (op("lookup", "sloped"), None),
        (op("lookup", "empty"), None),
        (op("property", value("1"), "ropes", "mass"), (1, 0, 0)),
        (op("pick", "first", 1, "ropes", value("1")), (2, 0, 0)),
        (place(0), (12, -12, -12 - EXACT.prec)),
        (place(1), (3, 0, 0)),
        (place(2), (1, -1, -1)),
        (place(3), None),
        (place(4), None),
        (op("reading", "x"), None),
    ],
)
def test_what_is_said_of_a_step(said: Op, span: tuple[int, int, int] | None) -> None:
    assert Spans(PLAN).of(said) == (None if span is None else Span(*span))


FIGURES = some.decimals(-(10**9), 10**9, places=4).map(Decimal.normalize)


@given(some.lists(FIGURES, min_size=1, max_size=12), some.sampled_from("+-*/"), some.data())
def test_what_is_said_holds(figures: list[Decimal], sign: str, data: some.DataObject) -> None:
    """Of what is worked out step by step, and of a sum of all."""
    one = data.draw(some.sampled_from(figures))
    step, found = op("value", one), one
    with localcontext(EXACT):
        for figure in figures[:3]:
            if sign == "/" and not figure:
                continue
            step = op("arithmetic", sign, step, op("value", figure))
            found = {
                "+": lambda a, b: a + b,
                "-": lambda a, b: a - b,
                "*": lambda a, b: a * b,
                "/": lambda a, b: a / b,
            }[sign](found, figure)
        total = op("gather", "sum", *(part for figure in figures for part in (None, op("value", figure))))
        for said, is_ in ((step, found), (total, sum(figures, Decimal(0)))):
            span = Spans(PLAN).of(said)
            assert span is not None
            assert abs(is_) < Decimal(1).scaleb(span.high) or not is_
            assert not is_ or abs(is_) >= Decimal(1).scaleb(span.low)
            assert not is_ or is_.normalize().as_tuple().exponent >= span.grain  # type: ignore[operator]


@pytest.mark.parametrize(
    ("said", "bounded"),
    [
        (two("1e49", "*", "1e49"), True),
        (two("1e49", "*", "1e50"), False),
        (two("1e-50", "*", "1e-50"), True),
        (two("1e-50", "*", "1e-51"), False),
        (two("1e200", "+", "1"), True),
        (two("2", "^", "3"), False),
    ],
)
def test_what_need_not_be_looked_at_in_a_row(said: Op, bounded: bool) -> None:
    """A hundred figures before the point, or noughts behind it; without a product nothing grows."""
    assert Spans(PLAN).bounded(said) is bounded


@pytest.mark.parametrize(
    ("text", "fitting"),
    [
        ("999999999999", True),
        ("1000000000000", False),
        ("0.000000000001", True),
        ("0.0000000000009", False),
        ("-999999999999", True),
        ("-1000000000000", False),
        ("-0.0000000000009", False),
        ("0", True),
        ("3.5", True),
    ],
)
@pytest.mark.parametrize("read", [Decimal, float])
def test_what_is_stated_fits(text: str, fitting: bool, read: Any) -> None:
    assert fits(read(text)) is fitting


def test_what_is_no_number_fits() -> None:
    assert fits("thin") and fits(None) and fits(True)
