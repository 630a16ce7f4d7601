"""Expressions with their values put in, one by one: what is shown, what is left out, where brackets are due.

The rules are those of an invented depot; each expected line is what a reader would write by hand.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from gaugebook.books import check_book
from gaugebook.diagnostics import Problems
from gaugebook.documents import read
from gaugebook.explaining import explain
from gaugebook.project import build_run
from gaugebook.resources import packaged
from gaugebook.runtime import Absent
from gaugebook.source import read_source
from gaugebook.substituting import text_of
from gaugebook.units import Units

Line = Callable[..., dict[str, Any]]

BOOK = """\
gaugebook: ruleset/1
id: depot
version: 1.0.0
title: Depot
kinds: {depot: {section: depot, one: yes}, crate: {section: crates}}
terms: {colours: [red, blue]}
fields:
  depot.density: {unit: kg/m}
  depot.limit: {unit: kg, may_be_none: yes}
  crate.weight: {unit: kg}
  crate.sealed: {flag: yes}
  crate.colour: {terms: colours}
  crate.beside: {links: crate}
series:
  bags: {unit: kg, members: [5, 10, 20, 40]}
  boxes: {members: [small, large], properties: {room: {unit: kg, values: [8, 30]}}}
tables:
  price:
    unit: "1"
    keys: [{name: colour, terms: colours}]
    rows: {red: 2, blue: '-'}
rules:
  asked: {of: crate, RULE}
checks:
  light: {of: crate, require: weight <= 12 kg}
"""

PROJECT = """\
gaugebook: project/1
depot: {density: 2 kg/m, limit: 12 kg}
crates:
  a: {weight: 3 kg, sealed: no, colour: red}
  b: {weight: 7 kg, sealed: yes, colour: blue}
  c: {weight: 4 kg, sealed: no, colour: red}
  d: {colour: red}
  x: {weight: 1 kg, beside: [BESIDE]}
"""


@pytest.fixture
def line(tmp_path: Path) -> Line:
    """The derivation of one rule of the depot: its sort, its expression, and changes of the project."""

    def derived(
        sort: str, expression: str, beside: str = "a, b, c", weight: str = "1", name: str = "asked"
    ) -> dict[str, Any]:
        (tmp_path / "depot.yaml").write_text(BOOK.replace("RULE", f"{sort}, is: '{expression}'"))
        place = tmp_path / "project.yaml"
        place.write_text(
            PROJECT.replace("BESIDE", beside).replace("x: {weight: 1 ", f"x: {{weight: {weight} ")
        )
        checked = check_book(["depot"], [tmp_path])
        problems = Problems()
        source = read_source(place, None, problems)
        assert source is not None
        run = build_run(source, checked.compiled(), {}, problems)
        problems.refuse_if_any()
        return explain(run, checked.written, f"crates.x.{name}", source=source)

    return derived


@pytest.mark.parametrize(
    ("sort", "expression", "shown"),
    [
        ("unit: kg", "first bag in bags where bag > 5 kg", "first bag in bags where bag > 5 kg = 10 kg"),
        ("unit: m", "12 kg / depot.density", "12 kg / (2 kg/m) = 6 m"),
        ("unit: kg", "depot.density * 3 m", "2 kg/m * 3 m = 6 kg"),
        ("unit: m", "depot.limit / (depot.density + 1 kg/m)", "12 kg / (2 kg/m + 1 kg/m) = 4 m"),
        ("unit: kg", "-depot.limit + 20 kg", "-(12 kg) + 20 kg = 8 kg"),
        ("unit: kg", "-(weight + 1 kg)", "-(1 kg + 1 kg) = -2 kg"),
        ("flag: yes", "depot.limit is none", "12 kg is none, so no"),
        ("flag: yes", "any of sealed over beside", "any of (no, yes), so yes"),
        ("flag: yes", "all of sealed over beside", "all of (no), so no"),
        (
            "flag: yes",
            "any of weight > 9 kg over beside",
            "any of (3 kg > 9 kg, 7 kg > 9 kg, 4 kg > 9 kg), so no",
        ),
        ("flag: yes", "all of weight > 1 kg over beside where sealed", "all of (7 kg > 1 kg), so yes"),
        ("unit: kg", "sum of weight over beside where weight > 9 kg", "sum of nothing = 0 kg"),
        ('unit: "1"', "count of beside", "count of (crates.a, crates.b, crates.c) = 3"),
        ("flag: yes", "weight > 2 kg and depot.limit > 1 kg", "1 kg > 2 kg, so no"),
        ("flag: yes", "weight < 2 kg or depot.limit > 1 kg", "1 kg < 2 kg, so yes"),
        ("flag: yes", "weight < 2 kg and depot.limit > 1 kg", "1 kg < 2 kg and 12 kg > 1 kg, so yes"),
        ("flag: yes", "not (weight > 2 kg)", "1 kg <= 2 kg, so yes"),
        ("unit: kg", "if weight > 2 kg then weight else 2 * weight", "2 * 1 kg = 2 kg"),
        ("flag: yes", "weight is given", "1 kg is given, so yes"),
        ("flag: yes", "colour is given", "colour is given, so no"),
    ],
)
def test_the_line_of_a_rule(line: Line, sort: str, expression: str, shown: str) -> None:
    assert line(sort, expression)["substituted"] == shown


def test_what_is_unknown_ends_the_line(line: Line) -> None:
    """The weight of d is not stated."""
    node = line("flag: yes", "any of weight > 9 kg over beside", "a, d, b")
    assert node["substituted"] == "any of (3 kg > 9 kg, weight? > 9 kg), so undetermined"


@pytest.mark.parametrize(
    ("end", "test", "picked", "passed_over"),
    [
        ("first", "bag > 5 kg", "10 kg", "5 kg > 5 kg"),
        ("first", "bag >= 5 kg", "5 kg", ""),
        ("last", "bag < 40 kg", "20 kg", "40 kg < 40 kg"),
        ("last", "bag <= 40 kg", "40 kg", ""),
        ("last", "bag < 20 kg", "10 kg", "20 kg < 20 kg"),
    ],
)
def test_the_member_passed_over_is_the_one_beside(
    line: Line, end: str, test: str, picked: str, passed_over: str
) -> None:
    node = line("unit: kg", f"{end} bag in bags where {test}")
    (pick,) = node["picks"]
    assert node["value"] == picked
    assert pick.get("passed_over", "") == passed_over


def test_six_digits_are_shown(line: Line) -> None:
    assert line("unit: kg", "depot.limit / 7")["substituted"] == "12 kg / 7 = 1.71429 kg"


@pytest.mark.parametrize(
    ("expression", "beside", "read"),
    [
        ("count of beside", "a, b", True),
        ("count of beside", "", True),
        ("sum of weight over beside", "", True),
        ("sum of weight over beside", "a, b", False),
    ],
)
def test_a_relation_is_something_read_where_it_counts_itself(
    line: Line, expression: str, beside: str, read: bool
) -> None:
    """Of a sum over things that are there, it is their values that count."""
    unit = '"1"' if expression.startswith("count") else "kg"
    inputs = [node["id"] for node in line(f"unit: {unit}", expression, beside)["inputs"]]
    assert ("crates.x.beside" in inputs) is read


@pytest.mark.parametrize(
    ("beside", "shown"),
    [
        ("a, b, c", "sum of (12 kg, 12 kg, 12 kg) = 36 kg"),
        ("a, b, c, d", "sum of (12 kg 4 times) = 48 kg"),
    ],
)
def test_many_equal_parts_are_counted(line: Line, beside: str, shown: str) -> None:
    assert line("unit: kg", "sum of depot.limit over beside", beside)["substituted"] == shown


@pytest.mark.parametrize(
    ("weight", "actual"),
    [
        ("13", "13 kg"),
        ("12.0000001", "12.0000001 kg"),
        ("12.000000001", "12.000000001 kg"),
        ("12.0000000001", "12 kg"),
    ],
)
def test_sides_are_shown_with_digits_enough_to_tell_them_apart(line: Line, weight: str, actual: str) -> None:
    """Up to eleven digits; two sides that are closer are shown alike."""
    node = line("unit: kg", "weight", weight=weight, name="light")
    assert node["actual"]["value"] == actual


KILOGRAM = Units.from_data(read(packaged("rulesets", "units.yaml")).data).unit("kg")


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, "none"),
        (Absent(["x"], void=True), "none"),
        (Absent(["x"]), "undetermined"),
        (True, "yes"),
        (False, "no"),
        (Decimal("2.50"), "2.5 kg"),
        ([Decimal(2), Decimal(3)], "2 kg, 3 kg"),
        ([], "nothing"),
        ("red", "red"),
    ],
)
def test_a_value_for_reading(value: Any, text: str) -> None:
    assert text_of(value, KILOGRAM) == text


def test_a_number_without_a_unit_is_written_out() -> None:
    assert text_of(Decimal("1E+3"), None) == "1000"


def test_a_cell_that_is_not_there_is_named_where_it_is_needed(line: Line) -> None:
    """The table says nothing of blue."""
    node = line('unit: "1"', "sum of 2 * price[colour] over beside", "a, b")
    assert node["substituted"] == "sum of (2 * 2, 2 * price[blue]) = none"


def test_a_condition_that_is_unknown_is_shown_as_the_reason(line: Line) -> None:
    """The weight of d is not stated."""
    node = line('unit: "1"', "sum of (if weight > 2 kg then 1 else 2) over beside", "a, d")
    assert node["substituted"] == "sum of (1, if weight? > 2 kg then 1 else 2) = undetermined"
