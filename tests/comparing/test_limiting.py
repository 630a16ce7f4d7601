"""How far a change lies away, and what is told about it: figures worked out by hand for an invented parcel counter."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from gaugebook.questions import limits

BOOK = """\
gaugebook: ruleset/1
id: counter
version: 1.0.0
title: Counter
kinds: {parcel: {section: parcels}}
fields:
  parcel.mass: {unit: kg, least: 0 kg, most: 100 kg}
  parcel.heat: {unit: degC, least: -50 degC, most: 90 degC}
  parcel.folds: {unit: "1", least: 0, most: 50}
  parcel.pieces: {unit: "1", default: 1}
series:
  bags: {unit: kg, members: [10, 20, 40]}
choices:
  bag: {of: parcel, from: bags}
checks:
  strong: {of: parcel, require: bag >= mass, constrains: bag}
  light: {of: parcel, require: mass < 25 kg}
  cool: {of: parcel, require: heat <= 40 degC}
  flat: {of: parcel, require: folds <= 6}
  thin: {of: parcel, require: folds < 60}
  empty: {of: parcel, require: mass > 0 kg}
"""

Told = Callable[..., dict[str, Any]]


@pytest.fixture
def told(tmp_path: Path) -> Told:
    """The limits of one parcel."""
    (tmp_path / "counter.yaml").write_text(BOOK)

    def limits_told(parcel: str, *inputs: str) -> dict[str, Any]:
        place = tmp_path / "project.yaml"
        place.write_text(f"gaugebook: project/1\nparcels:\n  p: {{{parcel}}}\n")
        named = [f"parcels.p.{name}" for name in inputs] or None
        return limits(place, ["counter"], folders=[tmp_path], inputs=named).data

    return limits_told


WHOLE = "mass: 12.5 kg, heat: -10 degC, folds: 0"


def only(items: list[dict[str, Any]], **same: str) -> dict[str, Any]:
    [found] = [item for item in items if all(item[key] == value for key, value in same.items())]
    return found


def flip(data: dict[str, Any], outcome: str, given: str, direction: str = "above") -> dict[str, Any]:
    return only(
        data["flips"], outcome=f"parcels.p.{outcome}", input=f"parcels.p.{given}", direction=direction
    )


def test_a_distance_is_told_in_the_unit_and_in_percent(told: Told) -> None:
    found = flip(told(WHOLE), "light", "mass")
    assert found["bound"] == {"value": 25.0, "unit": "kg"}
    assert (found["change"], found["percent"], found["tightness"]) == (12.5, 100.0, 1.0)
    assert (found["included"], found["only_there"]) == (True, False)
    assert (found["is"], found["becomes"]) == ({"what": "passes"}, {"what": "fails"})


def test_downward_the_change_is_negative_and_the_tightness_is_not(told: Told) -> None:
    found = flip(told(WHOLE), "bag", "mass", "below")
    assert (found["bound"]["value"], found["included"]) == (10.0, True)
    assert (found["change"], found["percent"], found["tightness"]) == (-2.5, -20.0, 0.2)
    assert found["is"] == {"what": "chosen", "value": 20.0, "unit": "kg"}
    assert found["becomes"] == {"what": "chosen", "value": 10.0, "unit": "kg"}


def test_a_point_on_a_scale_has_no_percent(told: Told) -> None:
    found = flip(told(WHOLE), "cool", "heat")
    assert (found["change"], found["percent"], found["tightness"]) == (50.0, None, 0.5)
    assert found["included"] is False


def test_from_nothing_there_is_no_percent(told: Told) -> None:
    found = flip(told(WHOLE), "flat", "folds")
    assert (found["change"], found["percent"], found["tightness"]) == (7.0, None, 0.07)


def test_a_point_at_nought_has_none_either(told: Told) -> None:
    found = flip(told("mass: 12.5 kg, heat: 0 degC, folds: 1"), "cool", "heat")
    assert (found["change"], found["percent"], found["tightness"]) == (40.0, None, 0.4)


def test_a_change_at_the_bound_of_a_field_alone(told: Told) -> None:
    """Nothing lies behind the least the field allows, and there it is not more than nothing."""
    found = flip(told(WHOLE), "empty", "mass", "below")
    assert (found["bound"]["value"], found["included"], found["percent"]) == (0.0, True, -100.0)
    assert found["becomes"] == {"what": "fails"}


def test_the_flips_come_the_tightest_first(told: Told) -> None:
    far = [one["tightness"] for one in told(WHOLE)["flips"]]
    assert far == sorted(far)
    assert far[0] == 0.07


def test_every_input_says_what_leans_on_it_and_what_stays(told: Told) -> None:
    data = told(WHOLE)
    assert [one["input"].split(".")[-1] for one in data["inputs"]] == ["mass", "heat", "folds", "pieces"]
    mass = only(data["inputs"], input="parcels.p.mass")
    assert [name.split(".")[-1] for name in mass["leaning"]] == ["bag", "strong", "light", "empty"]
    assert (mass["searched"], mass["ended_by"]["most"]) == ({"least": 0.0, "most": 100.0}, "field")
    assert mass["steady"] == []
    warm = only(told("mass: 5 kg, heat: 39 degC, folds: 1")["inputs"], input="parcels.p.heat")
    assert warm["steady"] == []
    assert data["without_effect"] == ["parcels.p.pieces"]


def test_what_does_not_change_is_steady(told: Told) -> None:
    """More folds than the field allows would be needed."""
    folds = only(told(WHOLE)["inputs"], input="parcels.p.folds")
    assert folds["leaning"] == ["parcels.p.flat", "parcels.p.thin"]
    assert folds["steady"] == ["parcels.p.thin"]
    assert folds["ended_by"] == {"least": "field", "most": "field"}


def test_a_search_given_up_says_so_unless_nothing_was_left_to_find(
    told: Told, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("gaugebook.searching.BUDGET", 2)
    inputs = told(WHOLE)["inputs"]
    assert only(inputs, input="parcels.p.folds")["ended_by"]["most"] == "effort"
    assert only(inputs, input="parcels.p.mass")["ended_by"]["most"] == "effort"


def test_a_search_that_found_all_there_is_was_not_given_up(told: Told) -> None:
    heat = only(told(WHOLE)["inputs"], input="parcels.p.heat")
    assert (heat["leaning"], heat["steady"]) == (["parcels.p.cool"], [])
    assert heat["searched"]["most"] < 90
    assert heat["ended_by"]["most"] == "field"


def test_only_the_inputs_asked_for_are_moved(told: Told) -> None:
    data = told(WHOLE, "heat")
    assert [one["input"] for one in data["inputs"]] == ["parcels.p.heat"]
    assert {one["input"] for one in data["flips"]} == {"parcels.p.heat"}


def test_what_nobody_states_is_named_where_everything_is_moved(told: Told) -> None:
    assert told("mass: 12.5 kg")["unstated"] != []
    assert told("mass: 12.5 kg", "mass")["unstated"] == []


def test_margins_are_those_of_the_checks_that_have_one(told: Told) -> None:
    margins = told("mass: 20 kg, heat: 30 degC, folds: 5")["margins"]
    assert [one["check"] for one in margins] != []
    assert all(one["margin"] is not None for one in margins)
    figures = [float(one["margin"]) for one in margins]
    assert figures == sorted(figures)
    assert len(told("mass: 20 kg")["margins"]) < len(margins)
