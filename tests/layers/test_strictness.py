"""Which of two texts asks for more, part by part, and what each relation makes of the answer.

Entries here are invented; `less` means that the smaller figure is the stricter one.
"""

from __future__ import annotations

from itertools import product
from typing import Any

import pytest

from gaugebook.entries import Book, Entry, Operation
from gaugebook.facets import WHOLE, Facet
from gaugebook.precedence import (
    AT_LEAST,
    LATER,
    SAME,
    SPECIFIC,
    STRICTER,
    Ruling,
    compare,
    relation,
    rule,
)

NOWHERE: Any = None
VALUE: Facet = ("property", "value")
CELL: Facet = ("cell", "10", "red")


def entry(section: str = "constants", **body: Any) -> Entry:
    return Entry(section, "thing", body, "base", [], {})


def operation(kind: str = "set") -> Operation:
    return Operation(kind, "constants/thing", {}, NOWHERE)


def book(**series: Any) -> Book:
    """A book with series by name."""
    found = Book([])
    for name, body in series.items():
        found.entries[f"series/{name}"] = Entry("series", name, body, "base", [], {})
    return found


BOOK = book(
    boards={"members": ["thin", "medium", "thick"]}, screws={"unit": "mm", "members": ["3", "4", "5"]}
)
LESS = entry(stricter="less", unit="m")
GREATER = entry(stricter="greater", unit="m")


def order(old: Any, new: Any, of: Entry = LESS, facet: Facet = VALUE) -> int | None:
    return compare(of, facet, old, new, BOOK)


# -- single values


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        ("3", "2", 1),
        ("2", "3", -1),
        ("3", "3.0", 0),
        ("300 cm", "2 m", 1),
        ("3", "2 kg", None),
        ("3", "far", None),
    ],
)
def test_a_figure(old: str, new: str, found: int | None) -> None:
    assert order(old, new) == found
    assert order(old, new, GREATER) == (None if found is None else -found)


@pytest.mark.parametrize("facet", [VALUE, CELL])
def test_an_entry_that_does_not_say_which_way_is_stricter_has_no_order(facet: Facet) -> None:
    assert order("3", "2", entry(unit="m"), facet) is None
    assert order("3", "2", LESS, facet) == 1


@pytest.mark.parametrize("of", [LESS, GREATER])
def test_what_is_not_permitted_asks_for_most(of: Entry) -> None:
    assert order("3", "-", of) == 1
    assert order("-", "3", of) == -1
    assert order("-", "-", of) == 0


def test_members_are_ordered_by_their_series_where_they_have_no_unit() -> None:
    plain = entry(stricter="greater")
    assert order("thin", "thick", plain) == 1
    assert order("thick", "medium", plain) == -1
    assert order("thick", "thick", plain) == 0
    assert order("thick", "4", plain) is None
    assert order("3", "5", entry(stricter="greater", unit="mm")) == 1


@pytest.mark.parametrize("facet", [("word", "red"), ("exception", "wet"), ("citation",)])
def test_other_parts_have_no_order(facet: Facet) -> None:
    assert order("3", "2", facet=facet) is None


# -- rows and whole entries

ROW: Facet = ("row", "10")


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        (["3", "4"], ["2", "3"], 1),
        (["3", "4"], ["3", "3"], 1),
        (["3", "4"], ["4", "4"], -1),
        (["3", "4"], ["3", "4"], 0),
        (["3", "4"], ["2", "5"], None),
        (["3", "4"], ["2", "far"], None),
        (["far", "4"], ["2", "3"], None),
        (["3", "4"], ["2"], None),
        (["3"], "2", None),
        ("3", ["2"], None),
        (None, ["2"], None),
    ],
)
def test_a_row_asks_for_more_where_no_cell_asks_for_less(old: Any, new: Any, found: int | None) -> None:
    assert order(old, new, facet=ROW) == found


def whole(**body: Any) -> dict[str, Any]:
    return body


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        (whole(value="3", unit="m"), whole(value="2", unit="m"), 1),
        (whole(value="3", unit="m"), whole(value="2", unit="ft"), None),
        (whole(value="3"), whole(value="2", unit="m"), None),
        ({"is": "3", "unit": "m"}, {"is": "4", "unit": "m"}, -1),
        ({"is": "3", "unit": "m"}, whole(value="2", unit="m"), None),
        (whole(value="3", unit="m"), {"is": "2", "unit": "m"}, None),
        (whole(title="a"), whole(title="b"), None),
        (whole(value="3"), None, None),
        (None, whole(value="3"), None),
        ("3", "2", None),
    ],
)
def test_a_whole_entry_of_one_value(old: Any, new: Any, found: int | None) -> None:
    assert order(old, new, facet=WHOLE) == found


TABLE = whole(unit="m", columns=[["red"], ["blue"]], rows={"10": ["3", "4"], "20": ["5", "6"]})


@pytest.mark.parametrize(
    ("changed", "found"),
    [
        ({}, 0),
        ({"rows": {"10": ["3", "4"], "20": ["5", "5"]}}, 1),
        ({"rows": {"10": ["3", "5"], "20": ["5", "6"]}}, -1),
        ({"rows": {"10": ["3", "5"], "20": ["5", "5"]}}, None),
        ({"rows": {"10": ["3", "4"], "30": ["5", "5"]}}, None),
        ({"rows": {"10": ["2", "3"]}}, None),
        ({"columns": [["red"], ["green"]]}, None),
        ({"unit": "ft"}, None),
    ],
)
def test_a_whole_table(changed: dict[str, Any], found: int | None) -> None:
    assert order(TABLE, {**TABLE, **changed}, facet=WHOLE) == found


def test_a_table_against_something_else() -> None:
    assert order(TABLE, whole(unit="m", value="1"), facet=WHOLE) is None
    assert order(whole(unit="m", value="1"), TABLE, facet=WHOLE) is None


# -- requirements

CHECK = entry("checks")
REQUIRE: Facet = ("property", "require")


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        ("span <= 90 cm", "span <= 80 cm", 1),
        ("span <= 90 cm", "span <= 0.9 m", 0),
        ("span < 90 cm", "span < 95 cm", -1),
        ("span >= 90 cm", "span >= 95 cm", 1),
        ("span > 90 cm", "span > 80 cm", -1),
        ("amount <= 3", "amount <= 2", 1),
        ("span <= 90 cm", "width <= 80 cm", None),
        ("span <= 90 cm", "span >= 80 cm", None),
        ("span is 90 cm", "span is 80 cm", None),
        ("span <= 90 cm", "span <= 80 kg", None),
        ("span <= 90 cm", "span <= limit", None),
        ("span <= limit", "span <= 80 cm", None),
        ("span <= 90 cm", "sealed", None),
        ("sealed", "span <= 90 cm", None),
        ("sealed", "painted", None),
        ("span <= 90 cm", "span <=", None),
        ("span <=", "span <= 90 cm", None),
    ],
)
def test_a_requirement_says_it_by_its_sign(old: str, new: str, found: int | None) -> None:
    assert order(old, new, CHECK, REQUIRE) == found
    assert order({"require": old}, {"require": new}, CHECK, WHOLE) == found


def test_a_check_without_a_requirement_has_no_order() -> None:
    for old, new in (({"require": "span <= 90 cm"}, None), ({}, {"require": "span <= 90 cm"}), (None, None)):
        assert order(old, new, CHECK, WHOLE) is None
    assert order("span <= 90 cm", None, CHECK, REQUIRE) is None


def test_what_is_no_check_is_not_read_as_one() -> None:
    assert order({"require": "span <= 90 cm"}, {"require": "span <= 80 cm"}, LESS, WHOLE) is None


# -- what a relation makes of it


@pytest.mark.parametrize(
    ("name", "new", "ruling"),
    [
        (None, "3", Ruling("applies", LATER)),
        (None, "2", Ruling("open", "none")),
        (LATER, "4", Ruling("applies", LATER)),
        (SAME, "3", Ruling("applies", SAME)),
        (SAME, "2", Ruling("below", SAME, breach=True)),
        (STRICTER, "2", Ruling("applies", STRICTER)),
        (STRICTER, "3.0", Ruling("applies", STRICTER)),
        (STRICTER, "4", Ruling("below", STRICTER)),
        (STRICTER, "far", Ruling("open", STRICTER)),
        (AT_LEAST, "2", Ruling("applies", AT_LEAST)),
        (AT_LEAST, "3.0", Ruling("applies", AT_LEAST)),
        (AT_LEAST, "4", Ruling("below", AT_LEAST, breach=True)),
        (AT_LEAST, "far", Ruling("applies", AT_LEAST, verified=False)),
        (SPECIFIC, "2", Ruling("open", SPECIFIC)),
    ],
)
def test_each_relation_on_a_figure(name: str | None, new: str, ruling: Ruling) -> None:
    """The text below says 3 m, and less is stricter."""
    assert rule(name, operation(), LESS, VALUE, "3", new, BOOK) == ruling


def test_the_specific_is_an_exception() -> None:
    said = rule(SPECIFIC, operation("except"), LESS, ("exception", "wet"), "3", "2", BOOK)
    assert said == Ruling("applies", SPECIFIC)


def test_a_ruling_is_no_breach_and_verified_unless_it_says_otherwise() -> None:
    assert Ruling("applies", LATER) == Ruling("applies", LATER, breach=False, verified=True)


# -- who says what the relation is


class Header:
    """A layer as far as its relations go."""

    def __init__(self, id: str, **header: Any) -> None:
        self.id, self.header = id, header


@pytest.mark.parametrize(
    ("under", "over", "found"),
    [
        (None, None, None),
        ({"town": SAME}, {"county": LATER}, SAME),
        ({"*": SAME}, {"county": LATER}, SAME),
        ({"other": SAME}, {"county": STRICTER}, STRICTER),
        ({}, {"*": STRICTER}, STRICTER),
        ({"town": LATER, "*": SAME}, None, LATER),
        (None, {"county": AT_LEAST, "*": SAME}, AT_LEAST),
    ],
)
def test_the_layer_below_speaks_first_and_by_name_before_all(
    under: Any, over: Any, found: str | None
) -> None:
    upper: Any = Header("town", over=over)
    lower: Any = Header("county", under=under)
    assert relation(upper, lower, set(), True) == found


@pytest.mark.parametrize(("known", "amended"), list(product((True, False), repeat=2)))
def test_a_layer_amends_knowingly_what_it_is_built_on_and_what_nobody_changed(
    known: bool, amended: bool
) -> None:
    upper: Any = Header("town")
    lower: Any = Header("county")
    expected = None if amended and not known else LATER
    assert relation(upper, lower, {"county"} if known else set(), amended) == expected
