"""A stated size judged: what the rules would choose, and the checks that constrain it."""

from __future__ import annotations

from typing import Any

import jsonschema
import pytest

from gaugebook import GaugebookError, size
from gaugebook.rendering import render_text
from gaugebook.schema import schema_of

FIELD = {"fields": {"rope.gauge": {"series": "gauges", "may_be_none": "yes"}}}


def reviewed(shelf: Any, gauge: str, grade: str = "hemp") -> Any:
    """One rope whose gauge is stated."""
    shelf.write(
        "stating",
        {
            "gaugebook": "ruleset/1",
            "id": "stating",
            "version": "1",
            "title": "t",
            "document": "D",
            "extends": "hoist",
            **FIELD,
            "amend": [{"set": "choices/gauge", "property": "carries", "to": "crate_load"}],
        },
    )
    path = shelf.write(
        "project",
        {
            "gaugebook": "project/1",
            "title": "one rope",
            "yard": {"heat": "30 degC"},
            "crates": {"c": {"mass": "100 kg"}},
            "ropes": {
                "r": {
                    "lifts": ["c"],
                    "grade": grade,
                    "gauge": gauge,
                    "stretches": [{"length": "10 m", "bend": "1.2 m"}],
                }
            },
        },
    )
    return size(path, ["stating"], folders=[shelf.folder])


@pytest.mark.parametrize(("gauge", "passes"), [("G2", False), ("G3", True), ("G6", True)])
def test_a_stated_size_says_what_would_be_chosen(shelf: Any, gauge: str, passes: bool) -> None:
    result = reviewed(shelf, gauge)
    value = result.values["ropes.r.gauge"]
    assert (value["value"], value["stated"], value["would_choose"]) == (gauge, True, "G3")
    judged = {check["check"]: check for check in value["constrained_by"]}
    assert list(judged) == ["strong_enough", "not_too_heavy"]
    assert judged["strong_enough"]["passes"] is passes
    assert judged["strong_enough"]["limit"] == pytest.approx(
        {"value": 140 + {"G2": 2, "G3": 3.5, "G6": 11}[gauge], "unit": "kg"}
    )
    jsonschema.Draft202012Validator(schema_of("result")).validate(result.data)
    assert ("would be G3" in render_text(result)) is (gauge != "G3")


def test_what_would_be_chosen_follows_the_project(shelf: Any) -> None:
    reviewed(shelf, "G2")
    path = shelf.folder / "project.yaml"
    for load, would in (("900 kg", "G8"), ("20 kg", "G2")):
        path.write_text(path.read_text("utf-8").replace("100 kg", load).replace("900 kg", load), "utf-8")
        result = size(path, ["stating"], folders=[shelf.folder])
        assert result.values["ropes.r.gauge"]["would_choose"] == would


def test_a_choice_left_open_says_nothing_of_the_kind(shelf: Any) -> None:
    value = reviewed(shelf, "G3").values["ropes.r.hook"]
    assert "would_choose" not in value
    assert "constrained_by" not in value


def test_a_notebook_shows_the_result(shelf: Any) -> None:
    shown = reviewed(shelf, "G2")._repr_html_()
    assert "<h1>one rope</h1>" in shown
    assert "G2&nbsp;(stated), would be G3" in shown


@pytest.mark.parametrize(("gauge", "load"), [("G2", 83.5 / 1.4), ("G3", 148.5 / 1.4), ("G6", 654 / 1.4)])
def test_a_stated_size_says_how_much_it_could_carry(shelf: Any, gauge: str, load: float) -> None:
    # Strength at 30 degC is 0.95 of the table (90, 160, 700 kg), less the rope's own weight over 10 m.
    told = reviewed(shelf, gauge).values["ropes.r.gauge"]["could_carry"]
    assert told["now"] == {"value": 100.0, "unit": "kg"}
    assert told["most"]["value"] == pytest.approx(load, rel=2e-6)
    assert (told["attribute"], told["included"]) == ("crate_load", True)


@pytest.mark.parametrize("gauge", ["G2", "G3", "G6"])
def test_what_it_could_carry_passes_and_a_little_more_does_not(shelf: Any, gauge: str) -> None:
    most = reviewed(shelf, gauge).values["ropes.r.gauge"]["could_carry"]["most"]["value"]
    path = shelf.folder / "project.yaml"
    text = path.read_text("utf-8")
    for load, passes in ((most * (1 - 3e-6), True), (most * (1 + 3e-6), False)):
        path.write_text(text.replace("100 kg", f"{load:.6f} kg"), "utf-8")
        judged = size(path, ["stating"], folders=[shelf.folder]).values["ropes.r.gauge"]["constrained_by"]
        assert all(check["passes"] for check in judged) is passes


def test_what_no_check_ends_is_told_so(shelf: Any) -> None:
    """Without the check of its strength a rope carries whatever there is."""
    reviewed(shelf, "G3")
    layer = {
        "gaugebook": "ruleset/1",
        "id": "lenient",
        "version": "1",
        "title": "t",
        "document": "D",
        "extends": "stating",
        "amend": [{"remove": "checks/strong_enough"}],
    }
    shelf.write("lenient", layer)
    result = size(shelf.folder / "project.yaml", ["lenient"], folders=[shelf.folder])
    told = result.values["ropes.r.gauge"]["could_carry"]
    assert (told["most"], told["included"]) == (None, True)
    assert "any crate load" in render_text(result)


def test_the_page_sets_stated_sizes_side_by_side(shelf: Any) -> None:
    page = " ".join(render_text(reviewed(shelf, "G2")).split())
    assert "· gauge G2 FAIL G3 crate load ≤ 59.64 kg, is 100 kg" in page


def test_a_choice_carries_an_amount_that_exists(shelf: Any) -> None:
    reviewed(shelf, "G3")
    layer = {"gaugebook": "ruleset/1", "id": "odd", "version": "1", "title": "t", "document": "D"}
    for name, fault in (("crate_lod", "unknown-attribute"), ("grade", "not-an-amount")):
        amend = [{"set": "choices/gauge", "property": "carries", "was": "crate_load", "to": name}]
        shelf.write("odd", layer | {"extends": "stating", "amend": amend})
        with pytest.raises(GaugebookError, match=fault):
            size(shelf.folder / "project.yaml", ["odd"], folders=[shelf.folder])
