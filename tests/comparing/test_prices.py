"""A price list turns totals into money; what has no price is told, and a fault has its place."""

from __future__ import annotations

from typing import Any

import jsonschema
import pytest

from gaugebook.blocks import as_text
from gaugebook.cli import main
from gaugebook.diagnostics import Refused
from gaugebook.questions import Comparison, compare
from gaugebook.schema import schema_of

BOOK: dict[str, Any] = {
    "gaugebook": "ruleset/1", "id": "counted", "version": "1", "title": "t", "document": "D", "extends": "hoist",
    "totals": {
        "line": {"title": "Line", "of": "rope", "sum": "total_length", "by": ["grade", "gauge"]},
        "weight": {"title": "Weight", "of": "rope", "sum": "own_weight", "by": ["rating"]},
        "grease": {"title": "Grease", "of": "rope", "sum": "age", "each": "month"},
    },
}  # fmt: skip
DESIGN: dict[str, Any] = {
    "gaugebook": "project/1",
    "title": "ropes",
    "yard": {"heat": "15 degC"},
    "crates": {"c": {"mass": "95 kg"}},
    "ropes": {
        "r": {"lifts": ["c"], "age": "30 s", "stretches": [{"length": "10 m", "bend": "1.2 m"}]},
        "s": {"lifts": ["c"], "age": "60 s", "grade": "silk", "stretches": [{"length": "4 m", "bend": "1.2 m"}]},
    },
    "layouts": {"long": {"ropes": {"r": {"stretches": [{"length": "25 m", "bend": "1.2 m"}]}}}},
}  # fmt: skip
LIST: dict[str, Any] = {
    "gaugebook": "prices/1",
    "title": "the chandler's",
    "currency": "shells",
    "prices": [
        {"of": "line", "where": {"grade": "hemp", "gauge": ["G3", "G4"]}, "price": 7, "per": "2 m"},
        {"of": "line", "where": {"grade": "silk"}, "price": 1.5, "per": "100 cm"},
        {"of": "grease", "price": 4, "per": "1 min"},
    ],
    "count": {"month": 12},
    "leave_out": {"weight": "is paid for by the length"},
}


def costs(shelf: Any, **changes: Any) -> Comparison:
    shelf.write("counted", BOOK)
    prices = shelf.write(
        "prices", {key: value for key, value in (LIST | changes).items() if value is not None}
    )
    return compare(shelf.write("design", DESIGN), ["counted"], folders=[shelf.folder], prices=prices)


def test_totals_become_money(shelf: Any) -> None:
    comparison = costs(shelf)
    jsonschema.Draft202012Validator(schema_of("compare")).validate(comparison.data)
    told = comparison.data["costs"]
    amounts = {(line["name"], *line["group"].values()): line["amounts"] for line in told["lines"]}
    # 10 m and 25 m of hemp at 7 shells for 2 m; 4 m of silk at 1.5 for each; 90 s of grease at 4 a minute.
    assert amounts == {
        ("line", "hemp", "G3"): [35.0, 87.5],
        ("line", "silk", "G2"): [6.0, 6.0],
        ("grease",): [6.0, 6.0],
    }
    assert told["sums"] == [
        {"each": None, "amounts": [41.0, 93.5], "complete": [True, True]},
        {"each": "month", "amounts": [6.0, 6.0], "complete": [True, True]},
    ]
    assert told["together"] == {"count": {"month": 12.0}, "amounts": [113.0, 165.5], "complete": [True, True]}
    assert told["not_priced"] == []
    assert told["left_out"] == [{"name": "weight", "title": "Weight", "says": "is paid for by the length"}]


def test_what_has_no_price_is_told_and_never_free(shelf: Any) -> None:
    only_silk = [LIST["prices"][1]]
    comparison = costs(shelf, prices=only_silk, count=None, leave_out=None)
    told = comparison.data["costs"]
    assert [(line["name"], line["unit"]) for line in told["not_priced"]] == [
        ("line", "m"),
        ("weight", "kg"),
        ("grease", "s"),
    ]
    assert [total["complete"] for total in told["sums"]] == [[False, False], [False, False]]
    assert told["sums"][0]["amounts"] == [6.0, 6.0]
    assert told["together"] is None
    page = as_text(comparison.page())
    assert "Line: hemp, G3: the list has no price for it" in page
    assert "6.00, incomplete" in page
    assert "not known" in page


def test_a_part_that_a_column_does_not_have_costs_it_nothing(shelf: Any) -> None:
    shelf.write("counted", BOOK)
    made = DESIGN | {"layouts": {"one": {"ropes": {"r": None}}}}
    listed = LIST | {"prices": LIST["prices"][1:]}
    prices, project = shelf.write("prices", listed), shelf.write("design", made)
    told = compare(project, ["counted"], folders=[shelf.folder], prices=prices).data["costs"]
    assert told["sums"][0]["complete"] == [False, True]


def test_an_amount_without_a_value_is_not_known(shelf: Any) -> None:
    shelf.write("counted", BOOK)
    made = DESIGN | {"ropes": {**DESIGN["ropes"], "r": {**DESIGN["ropes"]["r"], "age": None}}}
    del made["ropes"]["r"]["age"]
    project, prices = shelf.write("design", made), shelf.write("prices", LIST)
    comparison = compare(project, ["counted"], folders=[shelf.folder], prices=prices)
    assert comparison.data["costs"]["lines"][-1]["amounts"] == [None, None]
    assert comparison.data["costs"]["sums"][1] == {
        "each": "month", "amounts": [0.0, 0.0], "complete": [False, False],
    }  # fmt: skip
    assert comparison.data["costs"]["together"]["complete"] == [False, False]


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"prices": [{"of": "lin", "price": 1, "per": "1 m"}]}, "unknown-total"),
        ({"prices": [{"of": "line", "price": 1, "per": "1 kg"}]}, "wrong-kind-of-quantity"),
        ({"prices": [{"of": "line", "price": 1, "per": "0 m"}]}, "price-per-nothing"),
        ({"prices": [{"of": "line", "price": "much", "per": "1 m"}]}, "wrong-shape"),
        ({"prices": [{"of": "line", "price": 1}]}, "key-missing"),
        (
            {"prices": [{"of": "line", "where": {"grad": "hemp"}, "price": 1, "per": "1 m"}]},
            "total-not-split-by",
        ),
        ({"prices": [{"of": "line", "where": {"grade": "hmp"}, "price": 1, "per": "1 m"}]}, "unknown-word"),
        ({"prices": [{"of": "line", "where": {"gauge": "G9"}, "price": 1, "per": "1 m"}]}, "unknown-word"),
        (
            {
                "prices": [{"of": "weight", "where": {"rating": "hot"}, "price": 1, "per": "1 kg"}],
                "leave_out": None,
            },
            "not-a-quantity",
        ),
        ({"leave_out": {"wait": "no"}}, "unknown-total"),
        ({"leave_out": {"line": "no"}}, "priced-and-left-out"),
        ({"count": {"moth": 12}}, "nothing-recurs"),
        ({"currncy": "shells"}, "unknown-key"),
    ],
)
def test_a_fault_of_a_list_is_refused_with_its_place(shelf: Any, changes: dict[str, Any], fault: str) -> None:
    with pytest.raises(Refused) as caught:
        costs(shelf, **changes)
    [told] = caught.value.diagnostics
    assert told.name == fault
    assert told.span is not None and told.span.file.endswith("prices.yaml")


def test_every_fault_is_told_at_once(shelf: Any) -> None:
    listed = [{"of": "lin", "price": 1, "per": "1 m"}, {"of": "line", "price": 1, "per": "1 kg"}]
    with pytest.raises(Refused) as caught:
        costs(shelf, prices=listed, leave_out=None)
    assert [told.name for told in caught.value.diagnostics] == ["unknown-total", "wrong-kind-of-quantity"]
    assert "nothing called 'lin' is added up here; nearest: line" in str(caught.value)


def test_the_command_takes_a_list(shelf: Any, capsys: pytest.CaptureFixture[str]) -> None:
    costs(shelf)
    folder = str(shelf.folder)
    call = ["compare", f"{folder}/design.yaml", "--ruleset", "counted", "--rulesets", folder]
    assert main([*call, "--prices", f"{folder}/prices.yaml"]) == 0
    page = capsys.readouterr().out
    assert "Costs in shells: the chandler's" in page
    assert "Sum with 12 × month" in page
    assert main([*call, "--prices", f"{folder}/none.yaml"]) == 2
    assert "cannot be read" in capsys.readouterr().err


def test_a_price_holds_for_a_part_split_by_a_quantity(shelf: Any) -> None:
    prices = [*LIST["prices"], {"of": "weight", "where": {"rating": "140 degF"}, "price": 2, "per": "1 kg"}]
    told = costs(shelf, prices=prices, leave_out=None).data["costs"]
    [weight] = [line for line in told["lines"] if line["name"] == "weight"]
    assert weight["group"] == {"rating": 60.0}
    assert weight["amounts"][0] == pytest.approx(2 * (10 * 0.35 + 4 * 0.2))
