"""Every shipped layer: what it is built on answers the same on days before it, and its cases hold."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

import gaugebook
from gaugebook.bench import turning_days
from gaugebook.books import check_book
from gaugebook.entries import Book
from gaugebook.freezing import content
from gaugebook.loading import as_list
from gaugebook.moments import Moment
from gaugebook.shelf import Shelf

BOATHOUSE = Path(__file__).parents[2] / "examples" / "boathouse.yaml"
LAYERS = sorted(Shelf().places())


def contents(book: Book) -> dict[str, str]:
    return {id: content(entry) for id, entry in book.entries.items()}


@pytest.mark.parametrize("id", LAYERS)
def test_a_layer_changes_no_day_before_its_own(id: str) -> None:
    """Before a layer begins, its book is that of the layers below; between two days nothing changes."""
    book = check_book([id]).book
    layer = book.layers[-1]
    starts = [part["from"] for part in [layer.header.get("in_force") or {}] if "from" in part]
    if starts:
        parents = [str(parent) for parent in as_list(layer.header.get("extends"))]
        before = Moment(_day_before(starts[0]))
        assert contents(check_book([id], moment=before).book) == contents(
            check_book(parents, moment=before).book
        )
    days = turning_days(book)
    if not days:
        return
    first = contents(check_book([id], moment=Moment(_day_before(days[0]))).book)
    assert first == contents(check_book([id], moment=Moment("1900-01-01")).book)
    for day, following in pairwise(days):
        assert contents(check_book([id], moment=Moment(day)).book) == contents(
            check_book([id], moment=Moment(_day_before(following))).book
        )


def _day_before(day: str) -> str:
    import datetime

    return (datetime.date.fromisoformat(day) - datetime.timedelta(days=1)).isoformat()


@pytest.mark.parametrize(
    ("day", "period", "passes"),
    [
        ("2012-12-31", "code_of_2008", True),
        ("2018-06-30", "code_of_2014", True),
        ("2020-06-30", "code_of_2017", True),
        ("2020-07-01", "county_rules", True),
        ("2021-03-15", "ordinance_of_2021", True),
        ("2024-01-01", "code_of_2020", True),
    ],
)
def test_the_boathouse_through_the_years(day: str, period: str, passes: bool) -> None:
    result = gaugebook.size(BOATHOUSE, jurisdiction="larkmere", date=day)
    assert result.data["ruleset"]["jurisdiction"]["period"] == period
    assert result.passes is passes


def test_larkmere_over_another_edition() -> None:
    below: dict[str, Any] = gaugebook.size(BOATHOUSE, rulesets=["nec-2020"]).data
    above: dict[str, Any] = gaugebook.size(BOATHOUSE, rulesets=["nec-2020", "larkmere-2021"]).data
    assert [layer["id"] for layer in above["ruleset"]["stack"]][-3:] == [
        "nec-2020",
        "larkmere-county-2020",
        "larkmere-2021",
    ]
    name = "circuits.array.runs[0].design_ambient"
    assert below["values"][name]["value"] != above["values"][name]["value"]
    assert (
        above["values"]["circuits.array.runs[0].temperature_adder"]["amended"][-1]["what"]
        == "borrowed from nec-2014"
    )
    assert [finding["part"] for finding in above["findings"]] == ["word ridge", "row ridge"]


def test_every_kind_of_operation_is_shown_by_larkmere() -> None:
    book = check_book(["larkmere-2021"]).book
    kinds = {
        operation.kind
        for layer in book.layers
        if layer.id.startswith("larkmere")
        for operation in layer.operations
    }
    assert kinds == {
        "set",
        "add",
        "replace",
        "remove",
        "recite",
        "except",
        "alternative",
        "allow",
        "forbid",
        "substitute",
        "borrow",
        "retire",
    }
