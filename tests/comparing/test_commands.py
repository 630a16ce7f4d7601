"""`gaugebook compare` and `gaugebook limits`: exit status, the forms of an answer, and its schema."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import Any

import jsonschema
import pytest

import gaugebook
from gaugebook.cli import main
from gaugebook.schema import schema_of

Call = Callable[..., tuple[int, str, str]]

DESIGN: dict[str, Any] = {
    "gaugebook": "project/1",
    "title": "<one> rope",
    "yard": {"heat": "30 degC"},
    "crates": {"c": {"mass": "95 kg"}},
    "ropes": {"r": {"lifts": ["c"], "stretches": [{"length": "10 m", "bend": "1.2 m"}]}},
    "layouts": {"far": {"ropes": {"r": {"stretches": [{"length": "62 m"}, {"length": "62 m"}]}}}},
}
OVER = {
    "gaugebook": "ruleset/1", "id": "over", "version": "1", "title": "Over", "document": "Over",
    "extends": "hoist",
    "amend": [{"set": "constants/reserve", "property": "value", "was": "1.4", "to": "2.2", "cites": "7"}],
    "totals": {"line": {"title": "Line", "of": "rope", "sum": "total_length", "by": ["grade", "gauge"]}},
}  # fmt: skip


@pytest.fixture
def call(shelf: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Call:
    shelf.write("design", DESIGN)
    shelf.write("over", OVER)
    monkeypatch.chdir(shelf.folder)
    monkeypatch.setenv("GAUGEBOOK_RULESETS", str(shelf.folder))

    def run(*arguments: str) -> tuple[int, str, str]:
        status = main(arguments)
        said = capsys.readouterr()
        return status, said.out, said.err

    return run


def test_compare_names_the_constant(call: Call) -> None:
    status, page, error = call("compare", "design.yaml", "--ruleset", "hoist", "--ruleset", "hoist+over")
    assert (status, error) == (0, "")
    assert "Why: hoist → hoist+over" in page
    assert "constants/reserve" in page
    assert "over: value: 1.4 became 2.2" in page
    assert "explains ropes.r.gauge" in page.replace("\n  ", " ")


def test_compare_fails_when_one_column_fails(call: Call) -> None:
    status, page, _ = call("compare", "design.yaml", "--ruleset", "hoist")
    assert status == 1
    assert "FAIL" in page
    assert "input ropes.r.stretches[0].length: 10 m → 62 m" in page
    assert call("compare", "design.yaml", "--ruleset", "hoist", "--layout", "base")[0] == 0


def test_compare_as_json_follows_its_schema(call: Call) -> None:
    stacks = ("--ruleset", "hoist", "--ruleset", "over", "--layout", "base", "--layout", "far")
    data = json.loads(call("compare", "design.yaml", *stacks, "--format", "json", "--all", "--values")[1])
    jsonschema.Draft202012Validator(schema_of("compare")).validate(data)
    assert [column["rulesets"] for column in data["columns"]] == [["hoist"], ["over"]] * 2
    assert data["passes"] == [True, True, False, False]
    line = data["totals"][0]
    assert line["group"] == {"grade": "hemp", "gauge": "G4"}
    assert line["amounts"] == [0.0, 10.0, 0.0, 0.0]


def test_a_total_of_what_is_not_there_is_refused(call: Call, shelf: Any) -> None:
    totals = {
        "line": {"of": "rope", "sum": "totl_length"},
        "odd": {"of": "ropes", "sum": "x"},
        "words": {"of": "rope", "sum": "grade"},
        "heat": {"of": "stretch", "sum": "local_heat"},
    }
    shelf.write("over", OVER | {"totals": totals})
    status, _, error = call("compare", "design.yaml", "--ruleset", "over")
    assert status == 2
    assert "a rope has no 'totl_length'; nearest: total_length [unknown-attribute]" in error
    assert "there is no kind named 'ropes'; nearest: rope [unknown-name]" in error
    for name in ("grade", "local_heat"):
        assert f"'{name}' is not an amount, which is what is wanted here [not-an-amount]" in error


def test_limits_lists_what_is_right_on_a_bound_first(call: Call) -> None:
    status, page, error = call("limits", "design.yaml", "--ruleset", "hoist")
    assert (status, error) == (0, "")
    assert "heat is 30 degC, a bound of tables/heat_factor: 0.95 there" in page.replace("\n  ", " ")
    assert page.index("Right on a bound") < page.index("Nearest changes")
    assert "above 60 m" in page


def test_limits_as_json_follows_its_schema(call: Call) -> None:
    for layout in ((), ("--layout", "far")):
        data = json.loads(call("limits", "design.yaml", "--ruleset", "hoist", *layout, "--format", "json")[1])
        jsonschema.Draft202012Validator(schema_of("limits")).validate(data)
        assert data["flips"]


def test_limits_of_one_input(call: Call) -> None:
    only = ("--ruleset", "hoist", "--format", "json", "--input", "crates.c.mass")
    data = json.loads(call("limits", "design.yaml", *only)[1])
    assert [item["input"] for item in data["inputs"]] == ["crates.c.mass"]
    status, _, error = call("limits", "design.yaml", "--ruleset", "hoist", "--input", "crates.c.mss")
    assert status == 2
    assert "no numeric input is called 'crates.c.mss'; nearest: crates.c.mass" in error


@pytest.mark.parametrize("command", ["compare", "limits"])
def test_other_forms_are_inert(call: Call, command: str) -> None:
    html = call(command, "design.yaml", "--ruleset", "hoist", "--layout", "far", "--format", "html")[1]
    assert html.startswith("<!doctype html>")
    assert "&lt;one&gt; rope" in html
    assert "<one>" not in html
    only = ("--ruleset", "hoist", "--layout", "far")
    markdown = call(command, "design.yaml", *only, "--format", "markdown")[1]
    assert markdown.startswith("# \\<one\\> rope")


def test_all_rows_are_in_the_html_when_asked_for(call: Call) -> None:
    both = ("compare", "design.yaml", "--ruleset", "hoist", "--ruleset", "hoist+over", "--format", "html")
    hook = re.compile(r"ropes\.<wbr>r\.<wbr>pulley")
    assert not hook.search(call(*both)[1])
    assert hook.search(call(*both, "--all")[1])


def test_a_reading_that_only_one_column_has_is_left_to_it(call: Call, shelf: Any) -> None:
    options = {"a": {"says": "a"}, "b": {"says": "b"}}
    reading = {"question": "Odd?", "options": options, "default": "a"}
    shelf.write("over", OVER | {"readings": {"odd": reading}})
    both = ("compare", "design.yaml", "--ruleset", "hoist", "--ruleset", "over")
    assert call(*both, "--reading", "odd=b")[0] == 0
    status, _, error = call(*both, "--reading", "even=b")
    assert status == 2
    assert "there is no reading 'even'" in error


def test_the_same_from_python(call: Call, shelf: Any) -> None:
    path = shelf.folder / "design.yaml"
    comparison = gaugebook.compare(path, ["hoist", "over"], folders=[shelf.folder])
    assert comparison.causes == ["constants/reserve"]
    assert "<table>" in comparison._repr_html_()
    answer = gaugebook.limits(path, ["hoist"], folders=[shelf.folder])
    assert "<table>" in answer._repr_html_()
    assert json.loads(answer.to_json())["format"] == "limits/1"


def test_a_derivation_from_python(call: Call, shelf: Any) -> None:
    path = shelf.folder / "design.yaml"
    result = gaugebook.size(path, ["hoist"], folders=[shelf.folder])
    told = gaugebook.explain(result, "ropes.r.gauge")
    assert str(told) == call("explain", str(path), "ropes.r.gauge", "--ruleset", "hoist")[1]
    assert told.to_markdown().startswith("- `ropes.r.gauge = G3")
    assert json.loads(told.to_json())["id"] == "ropes.r.gauge"
    html = told._repr_html_()
    assert html.startswith("<details open><summary>ropes.r.gauge = G3")
    assert html.count("<details") == html.count("</details>") > 3
    full = gaugebook.explain(path, "ropes.r.gauge", full=True, rulesets=["hoist"], folders=[shelf.folder])
    assert "rule: capacity &gt;= design_load" in full._repr_html_()
    with pytest.raises(gaugebook.GaugebookError, match=r"nearest: ropes\.r\.gauge"):
        gaugebook.explain(result, "ropes.r.gage")


def test_every_node_of_a_derivation_has_one_name(call: Call, shelf: Any) -> None:
    result = gaugebook.size(shelf.folder / "design.yaml", ["hoist"], folders=[shelf.folder])
    seen: list[str] = []

    def walk(node: dict[str, Any]) -> None:
        if "reference" in node:
            assert node["id"] in seen
            return
        assert node["id"] not in seen
        seen.append(node["id"])
        for child in [*node.get("checks", []), *node.get("inputs", [])]:
            walk(child)

    for full in (False, True):
        seen.clear()
        walk(gaugebook.explain(result, "ropes.r.hook", full=full).data)
        assert "crates.c.mass" in seen
