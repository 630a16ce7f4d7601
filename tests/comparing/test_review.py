"""A stated size judged: what the rules would choose, and the checks that constrain it."""

from __future__ import annotations

from typing import Any

import jsonschema
import pytest

from gaugebook import size
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
