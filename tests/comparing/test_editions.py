"""The example roof over six editions: exactly the entries that changed between neighbours are named."""

from __future__ import annotations

from pathlib import Path

import pytest

from gaugebook.questions import Comparison, compare

EXAMPLE = Path(__file__).parents[2] / "examples" / "boathouse.yaml"
EDITIONS = [f"nec-{year}" for year in (2008, 2011, 2014, 2017, 2020, 2023)]

# From the collected table of edition parameters: the factor on the derated side went, the five-kelvin bands
# came with 2011, the narrower trigger for a larger grounding conductor with 2014, the single height step in
# place of the table of rooftop additions with 2017. Nothing that this roof meets changed in 2020 and 2023.
EXPECTED = {
    ("nec-2008", "nec-2011"): {"rules/required_after_conditions", "tables/ambient_correction"},
    ("nec-2011", "nec-2014"): {"rules/size_increases_count_from"},
    ("nec-2014", "nec-2017"): {"tables/rooftop_adder"},
    ("nec-2017", "nec-2020"): set(),
    ("nec-2020", "nec-2023"): set(),
}


@pytest.fixture(scope="module")
def comparison() -> Comparison:
    return compare(EXAMPLE, EDITIONS)


def test_every_neighbouring_pair_names_exactly_what_changed(comparison: Comparison) -> None:
    found = {
        (EDITIONS[pair["from"]], EDITIONS[pair["to"]]): {cause["name"] for cause in pair["causes"]}
        for pair in comparison.data["differences"]
    }
    assert found == EXPECTED


def test_the_step_of_2017_is_named_with_its_row(comparison: Comparison) -> None:
    [cause] = comparison.data["differences"][2]["causes"]
    assert cause["cells"] == [
        {"at": ["1 in"], "from": {"value": 22.0, "unit": "K"}, "to": {"value": 0.0, "unit": "K"}}
    ]
    assert "circuits.array.conductor_size" in cause["explains"]


def test_no_entry_is_named_that_says_the_same_in_both(comparison: Comparison) -> None:
    for pair in comparison.data["differences"]:
        for cause in pair["causes"]:
            assert cause["changes"] or None in cause["entries"], cause
