"""Which part of an entry an operation changes, when two of them speak of the same, and what each would make of it."""

from __future__ import annotations

from typing import Any

import pytest

from gaugebook.entries import Entry, Operation
from gaugebook.facets import WHOLE, Facet, clash, facets_of, in_words, proposed, read_facet

NOWHERE: Any = None


def operation(kind: str, **body: Any) -> Operation:
    return Operation(kind, "tables/strength", body, NOWHERE)


def entry(**body: Any) -> Entry:
    return Entry("tables", "strength", body, "base", [], {})


@pytest.mark.parametrize(
    ("kind", "body", "facets"),
    [
        ("set", {"property": "rows.85"}, [("property", "rows.85")]),
        ("remove", {"property": "unit"}, [("property", "unit")]),
        ("remove", {}, [WHOLE]),
        ("set", {"cells": [{"at": ["10", "red"]}, {"at": "20"}]}, [("cell", "10", "red"), ("cell", "20")]),
        ("set", {"add_rows": {"10": [1]}, "remove_rows": "30.0"}, [("row", "10"), ("row", "30")]),
        ("set", {"remove_rows": ["a", "b"]}, [("row", "a"), ("row", "b")]),
        ("set", {"add_words": ["red"], "remove_words": "blue"}, [("word", "red"), ("word", "blue")]),
        (
            "set",
            {"cells": [{"at": "1"}], "add_rows": {"2": 1}, "add_words": ["red"]},
            [("cell", "1"), ("row", "2"), ("word", "red")],
        ),
        ("set", {"source": "B"}, [("provenance",)]),
        ("recite", {}, [("citation",)]),
        ("except", {"name": "wet"}, [("exception", "wet")]),
        ("except", {"name": "wet", "property": "is"}, [("exception", "wet")]),
        ("alternative", {"name": "wet"}, [("alternative", "wet")]),
        ("allow", {"name": "oak"}, [("list", "oak")]),
        ("forbid", {}, [("list", "forbid")]),
        ("allow", {}, [("list", "allow")]),
        ("substitute", {"words": {"a": "b", "c": "d"}}, [("text", "a"), ("text", "c")]),
        ("replace", {"with": {}}, [WHOLE]),
        ("borrow", {"from": "other"}, [WHOLE]),
    ],
)
def test_what_an_operation_changes(kind: str, body: dict[str, Any], facets: list[Facet]) -> None:
    assert facets_of(operation(kind, **body)) == facets


RED, BLUE, OTHER = ("cell", "10", "red"), ("cell", "10", "blue"), ("cell", "20", "red")
ROW: Facet = ("row", "10")


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        (RED, RED, True),
        (RED, BLUE, False),
        (RED, OTHER, False),
        (ROW, RED, True),
        (ROW, OTHER, False),
        (ROW, ROW, True),
        (ROW, ("row", "20"), False),
        (ROW, ("property", "10"), False),
        (ROW, ("word", "10"), False),
        (("column", "10"), RED, False),
        (WHOLE, RED, True),
        (WHOLE, WHOLE, True),
        (("property", "is"), ("property", "is"), True),
        (("property", "is"), ("property", "when"), False),
        (WHOLE, ("citation",), False),
        (("citation",), ("citation",), True),
        (("provenance",), ("citation",), False),
        (("text", "a"), ("text", "a"), True),
        (("list", "oak"), ROW, False),
    ],
)
def test_when_two_speak_about_the_same_part(one: Facet, other: Facet, same: bool) -> None:
    assert clash(one, other) is same
    assert clash(other, one) is same


@pytest.mark.parametrize(
    ("facet", "words"),
    [
        (WHOLE, "the whole entry"),
        (RED, "cell [10, red]"),
        (("property", "is"), "property is"),
        (("citation",), "citation"),
        (ROW, "row 10"),
    ],
)
def test_a_part_in_words(facet: Facet, words: str) -> None:
    assert in_words(facet) == words


TABLE = entry(
    unit="m",
    columns=[["red"], ["blue"]],
    rows={"10": ["1", "2"], "20": ["3", "4"]},
    source={"what": {"at": "here"}},
    exceptions={"wet": {"is": "1"}},
    any_of={"dry": {"is": "2"}},
)


@pytest.mark.parametrize(
    ("facet", "says"),
    [
        (WHOLE, TABLE.body),
        (("property", "unit"), "m"),
        (("property", "source.what.at"), "here"),
        (("property", "unit.what"), None),
        (("property", "title"), None),
        (ROW, ["1", "2"]),
        (("row", "30"), None),
        (RED, "1"),
        (BLUE, "2"),
        (OTHER, "3"),
        (("cell", "30", "red"), None),
        (("cell", "10", "green"), None),
        (("exception", "wet"), {"is": "1"}),
        (("exception", "dry"), None),
        (("alternative", "dry"), {"is": "2"}),
        (("alternative", "wet"), None),
        (("citation",), None),
    ],
)
def test_what_an_entry_says_there(facet: Facet, says: Any) -> None:
    assert read_facet(TABLE, facet) == says


def test_parts_of_what_has_none_of_them() -> None:
    bare = entry()
    for facet in (ROW, RED, ("exception", "wet"), ("alternative", "dry"), ("word", "red")):
        assert read_facet(bare, facet) is None


def test_the_cell_of_a_table_without_columns() -> None:
    assert read_facet(entry(rows={"10": ["1"]}), ("cell", "10")) == "1"


@pytest.mark.parametrize("key", ["words", "members", "is"])
def test_a_word_is_looked_for_where_the_list_keeps_its_words(key: str) -> None:
    assert read_facet(entry(**{key: ["red", 4]}), ("word", "4")) == "4"
    assert read_facet(entry(**{key: ["red", 4]}), ("word", "5")) is None


@pytest.mark.parametrize(
    ("kind", "body", "facet", "made"),
    [
        ("set", {"property": "unit", "to": "ft"}, ("property", "unit"), "ft"),
        ("remove", {"property": "unit"}, ("property", "unit"), None),
        ("set", {"cells": [{"at": ["10", "blue"], "to": 5}, {"at": ["10", "red"], "to": 6}]}, RED, "6"),
        ("set", {"add_rows": {10.0: [5, 6]}}, ROW, ["5", "6"]),
        ("set", {"remove_rows": ["10"]}, ROW, None),
        ("set", {"add_words": ["red"]}, ("word", "red"), "red"),
        ("set", {"remove_words": ["red"]}, ("word", "red"), None),
        (
            "except",
            {"name": "wet", "when": "a", "is": "b", "rank": 1, "source": "B"},
            ("exception", "wet"),
            {"when": "a", "is": "b", "rank": 1},
        ),
        ("alternative", {"name": "wet", "require": "a"}, ("alternative", "wet"), {"require": "a"}),
        ("replace", {"with": {"rows": {"10.0": 1}}}, WHOLE, {"rows": {"10": ["1"]}}),
        ("replace", {"with": "other"}, WHOLE, "other"),
        ("remove", {}, WHOLE, None),
        ("recite", {"with": "x"}, ("citation",), None),
    ],
)
def test_what_an_operation_would_make_of_it(kind: str, body: dict[str, Any], facet: Facet, made: Any) -> None:
    assert proposed(operation(kind, **body), facet) == made
