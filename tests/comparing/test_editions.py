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


# The rows of that table whose parameter this roof meets, with the entry that says each here, and the pairs of
# editions between which the row changes: req_after_mult, cf_bands_above_60C, roof_mode, roof_scope (the strings
# in free air), egc_assumed (twice), egc_upsize_trigger (twice). The other rows speak of what this roof has not:
# busbars, supply connections, large plants, other places, converters.
TABLE = {
    "rules/required_after_conditions": {("nec-2008", "nec-2011")},
    "tables/ambient_correction": {("nec-2008", "nec-2011")},
    "rules/temperature_adder": {("nec-2011", "nec-2014")},
    "readings/assumed_grounding_device": {("nec-2011", "nec-2014")},
    "rules/size_increases_count_from": {("nec-2011", "nec-2014"), ("nec-2014", "nec-2017")},
    "rules/assumed_device_rating": {("nec-2014", "nec-2017")},
    "tables/rooftop_adder": {("nec-2014", "nec-2017")},
}


@pytest.fixture(scope="module")
def every_value() -> Comparison:
    return compare(EXAMPLE, EDITIONS, values=True)


@pytest.mark.parametrize("entry", TABLE)
def test_a_parameter_is_named_between_the_editions_that_changed_it_and_no_others(
    every_value: Comparison, entry: str
) -> None:
    pairs = {
        (EDITIONS[pair["from"]], EDITIONS[pair["to"]])
        for pair in every_value.data["differences"]
        if entry in {cause["name"] for cause in pair["causes"]}
    }
    assert pairs == TABLE[entry]


def test_every_value_that_differs_has_a_cause_and_every_cause_a_value(every_value: Comparison) -> None:
    for pair in every_value.data["differences"]:
        explained = {name for cause in pair["causes"] for name in cause["explains"]}
        assert explained == set(pair["rows"])
