"""Derivations of an invented book about cranes and the slings they lift with."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from gaugebook.books import CheckedBook, check_book
from gaugebook.deriving import derive
from gaugebook.diagnostics import GaugebookError, Problems
from gaugebook.evaluating import Run
from gaugebook.explaining import WIDTH, askable, explain, render_markdown, render_text
from gaugebook.project import build_run
from gaugebook.runtime import Absent
from gaugebook.source import Source, read_source
from gaugebook.substituting import text_of

RULESET = """\
gaugebook: ruleset/1
id: slings
version: 1.0.0
title: Slings
document: Sling Code
kinds:
  yard: {section: yard, one: yes}
  crane: {section: cranes}
  load: {within: crane, section: loads}
terms:
  weathers: {words: [calm, gusty]}
fields:
  yard.frost: {unit: degC, cites: 1.1, transcription: recalled}
  yard.weather: {terms: weathers, default: calm, assume: no wind was stated, cites: 1.2}
  load.weight: {unit: kg}
  load.fragile: {flag: yes, default: no}
  crane.reach: {unit: m}
  crane.tested_to: {unit: kg, may_be_none: yes}
  crane.helped_by: {links: crane, inverse: helps}
  crane.sling: {series: slings}
series:
  slings:
    cites: 5.1
    members: [S1, S2, S3, S4]
    properties: {girth: {unit: mm, values: [8, 10, 14, 20]}}
  pads: {unit: mm, members: [5, 10, 20, 40], cites: 5.2}
tables:
  strength:
    unit: kg
    cites: Table 1
    transcription: recalled
    keys: [{name: sling, series: slings}]
    rows: {S1: 100, S2: 250, S3: '-', S4: 900}
    cells: [{at: [S2], transcription: disputed, values: [250, 240]}]
  cold_factor:
    unit: "1"
    cites: Table 2
    transcription: checked
    keys: [{name: temperature, unit: degC, match: up_to}]
    rows: {-20: 0.5, 0: 0.8, 30: 1}
  reach_factor:
    unit: "1"
    cites: Table 3
    transcription: checked
    keys: [{name: reach, unit: m, match: linear}]
    rows: {2: 1, 6: 0.5}
constants:
  care: {unit: "1", value: 1.1, cites: 2.1, transcription: recalled}
readings:
  fragile_counts:
    question: How much heavier is a fragile load taken to be?
    options: {once: {says: not at all}, twice: {says: twice as heavy}}
    default: twice
    cites: 2.2
    transcription: recalled
rules:
  counted_weight:
    title: Weight that counts
    of: load
    unit: kg
    cites: 3.1
    transcription: recalled
    is: if fragile and fragile_counts is twice then 2 * weight else weight
  total_weight:
    title: Weight on the hook
    of: crane
    unit: kg
    cites: 3.2
    transcription: recalled
    branches:
      none_helps: {when: count of helped_by is 0, is: care * sum of counted_weight over loads, cites: 3.2(a)}
      helped:
        when: count of helped_by > 0
        is: (sum of counted_weight over loads where weight > 1 kg) + sum of total_weight over helped_by
    exceptions:
      calm_day:
        rank: 1
        when: yard.weather is calm and reach < 3 m
        is: sum of counted_weight over loads
        cites: 3.2 Exception
  strength_left:
    of: crane
    unit: kg
    cites: 4
    transcription: recalled
    is: strength[sling] * cold_factor[yard.frost] * reach_factor[reach]
  pad:
    of: crane
    unit: mm
    cites: 6
    transcription: recalled
    is: first pad in pads where pad >= 1.5 * sling.girth
checks:
  holds:
    of: crane
    title: The sling holds the load
    require: strength_left >= total_weight
    constrains: sling
    cites: 7
    transcription: recalled
  proven:
    of: crane
    when: tested_to is given
    require: tested_to > total_weight
    cites: 8
    transcription: recalled
choices:
  sling: {of: crane, title: Sling, from: slings, cites: 9, transcription: recalled}
"""

PROJECT = """\
gaugebook: project/1
yard: {frost: -4 degC}
cranes:
  near:
    reach: 2.5 m
    loads: [{weight: 40 kg}, {weight: 30 kg, fragile: yes}]
  far:
    reach: 4 m
    tested_to: 100 kg
    loads: [{weight: 50 kg}, {weight: 0.5 kg}]
    helped_by: [spare]
  spare:
    reach: 5 m
    loads: [{weight: 10 kg}]
  given:
    reach: 4 m
    sling: S1
    loads: [{weight: 100 kg}]
  vague:
    reach: 4 m
    loads: [{weight: 100 kg}, {}]
  heavy:
    reach: 6 m
    loads: [{weight: 2000 kg}]
"""


class Bench:
    """The book, the run and the project together."""

    def __init__(self, checked: CheckedBook, run: Run, source: Source) -> None:
        self.checked, self.run, self.source = checked, run, source

    def tree(self, name: str, full: bool = False) -> dict[str, Any]:
        return explain(self.run, self.checked.written, name, full=full, source=self.source)

    def text(self, name: str, full: bool = False) -> str:
        """The text with every run of blanks as one, so that a test does not depend on where lines break."""
        return " ".join(render_text(self.tree(name, full), full).split())


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    folder = tmp_path_factory.mktemp("books")
    (folder / "slings.yaml").write_text(RULESET)
    project = folder / "project.yaml"
    project.write_text(PROJECT)
    checked = check_book(["slings"], [folder])
    problems = Problems()
    source = read_source(project, None, problems)
    assert source is not None
    run = build_run(source, checked.compiled(), {}, problems)
    problems.refuse_if_any()
    return Bench(checked, run, source)


def nodes(tree: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Every node of a derivation, references too."""
    yield tree
    for child in [*tree.get("checks", []), *tree.get("inputs", [])]:
        yield from nodes(child)


def below(tree: dict[str, Any], id: str) -> dict[str, Any]:
    """The node of that id, told in full."""
    return next(node for node in nodes(tree) if node["id"] == id and "reference" not in node)


def at(place: str) -> str:
    """What stands in the project at `file:line:column`."""
    line, column = (int(part) for part in place.rsplit(":", 2)[1:])
    return PROJECT.splitlines()[line - 1][column - 1 :]


# -- rules


def test_branch_with_its_own_citation(bench: Bench) -> None:
    node = bench.tree("cranes.spare.total_weight")
    assert node["route"]["name"] == "none_helps"
    assert node["route"]["cites"] == ["Sling Code 3.2(a)"]
    assert node["formula"] == "care * sum of counted_weight over loads"
    assert node["substituted"] == "1.1 * sum of (10 kg) = 11 kg"
    assert (node["value"], node["raw"], node["unit"]) == ("11 kg", 11.0, "kg")
    assert node["entry"] == "slings:rules/total_weight"


def test_exception_names_what_it_overrides_by(bench: Bench) -> None:
    node = bench.tree("cranes.near.total_weight")
    assert node["route"]["exception"] and node["route"]["name"] == "calm_day"
    assert node["route"]["substituted"] == "yard.weather is calm and 2.5 m < 3 m"
    assert node["substituted"] == "sum of (40 kg, 60 kg) = 100 kg"
    text = bench.text("cranes.near.total_weight")
    assert "exception calm_day applies" in text
    assert "[Sling Code 3.2 Exception, entry slings:rules/total_weight, recalled]" in text


def test_full_shows_what_was_tried(bench: Bench) -> None:
    brief, full = bench.tree("cranes.far.total_weight"), bench.tree("cranes.far.total_weight", full=True)
    assert "tried" not in brief
    assert [step["name"] for step in full["tried"]] == ["calm_day", "none_helps"]
    assert full["tried"][1]["substituted"] == "count of (cranes.spare) is 0"
    assert full["route"]["name"] == "helped"
    text = bench.text("cranes.far.total_weight", full=True)
    assert "exception calm_day does not apply: yard.weather is calm and reach < 3 m (no:" in text
    assert "branch none_helps does not apply" in text
    assert "rule: (sum of counted_weight over loads where weight > 1 kg) + sum of total_weight over" in text


def test_aggregate_leaves_out_what_its_condition_leaves_out(bench: Bench) -> None:
    node = bench.tree("cranes.far.total_weight")
    assert node["substituted"].endswith("= 61 kg")
    assert "0.5 kg" not in node["substituted"]
    assert "50 kg" in node["substituted"]


def test_if_shows_the_branch_taken_and_why(bench: Bench) -> None:
    fragile = bench.tree("cranes.near.loads[1].counted_weight")
    assert fragile["substituted"] == "2 * 30 kg = 60 kg"
    assert fragile["conditions"][0]["condition"] == "fragile and fragile_counts is twice"
    plain = bench.tree("cranes.near.loads[0].counted_weight")
    assert plain["substituted"] == "weight = 40 kg"
    assert plain["conditions"][0]["substituted"] == "not no"
    assert not any(node["id"] == "readings/fragile_counts" for node in nodes(plain))


def test_reading_and_constant_carry_their_entries(bench: Bench) -> None:
    tree = bench.tree("cranes.near.loads[1].counted_weight")
    reading = below(tree, "readings/fragile_counts")
    assert (reading["value"], reading["settled_by"]) == ("twice", "default")
    constant = below(bench.tree("cranes.spare.total_weight"), "constants/care")
    assert (constant["value"], constant["cites"]) == ("1.1", ["Sling Code 2.1"])


def test_fields_say_where_they_are_stated_or_that_they_are_assumed(bench: Bench) -> None:
    stated = bench.tree("cranes.near.loads[1].weight")
    assert at(stated["stated"]).startswith("30 kg")
    assumed = below(bench.tree("cranes.near.total_weight", full=True), "yard.weather")
    assert assumed["assumed"] == "no wind was stated"
    assert assumed["cites"] == ["Sling Code 1.2"]


def test_pick_tells_what_it_passed_over(bench: Bench) -> None:
    node = bench.tree("cranes.given.pad", full=True)
    assert node["substituted"] == "first pad in pads where pad >= 1.5 * 8 mm = 20 mm"
    (pick,) = node["picks"]
    assert pick["holds"] == "20 mm >= 1.5 * 8 mm"
    assert pick["passed_over"] == "10 mm >= 1.5 * 8 mm"
    assert "girth of S1 = 8 mm" in bench.text("cranes.given.pad")


# -- tables


def test_lookups_carry_row_neighbours_and_citation(bench: Bench) -> None:
    node = bench.tree("cranes.given.strength_left", full=True)
    assert node["substituted"] == "100 kg * 0.8 * 0.75 = 60 kg"
    strength, cold, reach = node["lookups"]
    assert cold["keys"] == ["-4 degC"]
    assert cold["row"] == ["temperature over -20 degC up to 0 degC"]
    assert [(near["row"], near["value"]) for near in cold["neighbours"]] == [
        ("-20 degC", "0.5"),
        ("30 degC", "1"),
    ]
    assert cold["cites"] == ["Sling Code Table 2"] and cold["entry"] == "slings:tables/cold_factor"
    assert reach["row"] == ["reach between 2 m and 6 m"] and reach["value"] == "0.75"
    assert "row" not in strength or strength["row"] == []
    assert "neighbours" not in bench.tree("cranes.given.strength_left")["lookups"][0]


def test_a_single_cell_may_be_read_worse_than_its_table(bench: Bench) -> None:
    lookups = bench.tree("cranes.near.strength_left")["lookups"]
    assert lookups[0]["keys"] == ["S2"]
    assert lookups[0]["transcription"] == "disputed"


# -- choices and checks


def test_choice_lists_rejected_candidates_and_derives_its_checks(bench: Bench) -> None:
    node = bench.tree("cranes.near.sling")
    assert node["value"] == "S2"
    (rejected,) = node["rejected"]
    assert (rejected["value"], rejected["check"], rejected["sign"]) == ("S1", "holds", ">=")
    assert rejected["actual"]["value"] == "75 kg" and rejected["limit"]["value"] == "100 kg"
    assert rejected["cites"] == ["Sling Code 7"]
    (check,) = node["checks"]
    assert check["id"] == "cranes.near.holds" and check["passes"] is True
    assert check["substituted"] == "strength_left = 187.5 kg >= total_weight = 100 kg"
    assert below(node, "cranes.near.strength_left")["substituted"] == "250 kg * 0.8 * 0.9375 = 187.5 kg"
    text = bench.text("cranes.near.sling")
    assert "rejected S1 (75 kg): holds asks >= 100 kg [Sling Code 7, entry slings:checks/holds" in text
    assert "rejected S1: holds: 75 kg >= 100 kg does not hold" in bench.text("cranes.near.sling", full=True)


def test_choice_that_nothing_satisfies(bench: Bench) -> None:
    node = bench.tree("cranes.heavy.sling")
    assert node["value"] == "none" and node["why"]
    assert [candidate["value"] for candidate in node["rejected"]] == ["S1", "S2", "S3", "S4"]
    assert "strength does not permit S3" in node["rejected"][2]["why"][0]
    assert "strength does not permit S3" in bench.text("cranes.heavy.sling")


def test_stated_choice_is_reviewed(bench: Bench) -> None:
    node = bench.tree("cranes.given.sling")
    assert node["value"] == "S1" and node["rejected"] == []
    assert at(node["stated"]).startswith("S1")
    assert node["cites"] == ["Sling Code 9"]
    (check,) = node["checks"]
    assert check["passes"] is False
    assert check["substituted"] == "strength_left = 60 kg >= total_weight = 110 kg"


def test_checks_can_be_asked_for(bench: Bench) -> None:
    proven = bench.tree("cranes.far.proven")
    assert proven["passes"] is True
    assert proven["substituted"] == "tested_to = 100 kg > total_weight = 61 kg"
    idle = bench.tree("cranes.near.proven")
    assert idle["value"] == "does not apply"
    assert "it does not apply: tested_to is given (no)" in bench.text("cranes.near.proven")


# -- undetermined, references, names


def test_undetermined_value_leads_to_what_is_not_stated(bench: Bench) -> None:
    node = bench.tree("cranes.vague.total_weight")
    assert node["value"] == "undetermined"
    assert "cranes.vague.loads[1].weight is not stated" in node["why"][0]
    assert node["substituted"].endswith("counted_weight?) = undetermined")
    assert below(node, "cranes.vague.loads[1].weight")["value"] == "undetermined"
    assert "because cranes.vague.loads[1].weight is not stated" in bench.text("cranes.vague.sling")


def test_a_shared_step_is_told_once(bench: Bench) -> None:
    for name in askable(bench.run):
        told = [node["id"] for node in nodes(bench.tree(name, full=True)) if "reference" not in node]
        assert len(told) == len(set(told)), name
    tree = bench.tree("cranes.near.sling")
    references = [node for node in nodes(tree) if "reference" in node]
    assert {"id": "cranes.near.sling", "value": "S2", "reference": True} in references


def test_a_reference_follows_what_it_refers_to(bench: Bench) -> None:
    for name in askable(bench.run):
        met: set[str] = set()
        for node in nodes(bench.tree(name, full=True)):
            assert "reference" not in node or node["id"] in met
            met.add(node["id"])


@pytest.mark.parametrize("name", ["cranes.near.slong", "cranes.nearr.sling", "nothing"])
def test_unknown_names_are_refused_with_the_nearest(bench: Bench, name: str) -> None:
    with pytest.raises(GaugebookError) as caught:
        bench.tree(name)
    (diagnostic,) = caught.value.diagnostics
    assert diagnostic.name == "unknown-value"
    if name != "nothing":
        assert "cranes.near.sling" in diagnostic.message


def test_a_run_of_another_book_is_refused(bench: Bench, tmp_path: Path) -> None:
    (tmp_path / "slings.yaml").write_text(RULESET.replace("value: 1.1", "value: 1.2"))
    other = check_book(["slings"], [tmp_path])
    with pytest.raises(ValueError, match="another book"):
        derive(bench.run, other.written, bench.run.things["yard"], "frost")


# -- properties of every derivation


def test_every_right_hand_side_is_the_value_of_the_run(bench: Bench) -> None:
    seen = 0
    for name in askable(bench.run):
        for node in nodes(bench.tree(name, full=True)):
            if node.get("role") != "rule" or "substituted" not in node:
                continue
            thing = bench.run.things[node["thing"]]
            attribute = bench.run.rulebook.attributes[thing.kind][node["attribute"]]
            value: Any
            try:
                with bench.run.exactly():
                    value = thing.get(node["attribute"])
            except Absent as absent:
                value = absent
            assert re.split(" = |, so ", node["substituted"])[-1] == text_of(value, attribute.unit)
            if attribute.name in thing.route:
                ways = bench.run.rulebook.frozen["rules"][attribute.key]["routes"]
                assert node["route"]["name"] == ways[thing.route[attribute.name]]["name"]
            seen += 1
    assert seen > 50


def test_the_printed_arithmetic_comes_out(bench: Bench) -> None:
    """A calculator that sees only the printed line gets the printed result."""
    checked = 0
    for name in askable(bench.run):
        for node in nodes(bench.tree(name)):
            said = node.get("substituted", "")
            if not re.fullmatch(r"[-\d. */+kgm]+ = [\d.]+( kg)?", said):
                continue
            left, right = re.sub(r" (kg|m)\b", "", said).split(" = ")
            assert eval(left) == pytest.approx(float(right), rel=1e-5)
            checked += 1
    assert checked > 5


def test_every_step_of_the_book_carries_entry_and_clause(bench: Bench) -> None:
    for name in askable(bench.run):
        for node in nodes(bench.tree(name)):
            if node.get("role") in ("rule", "choice", "check", "constant", "reading"):
                assert node["entry"].startswith("slings:") and node["cites"]


@pytest.mark.parametrize("full", [False, True])
def test_renderings(bench: Bench, full: bool) -> None:
    for name in askable(bench.run):
        tree = bench.tree(name, full)
        assert json.loads(json.dumps(tree)) == tree
        text = render_text(tree, full)
        assert name in text.splitlines()[0] and "\0" not in text
        assert max(len(line) for line in text.splitlines()) <= WIDTH
        markdown = render_markdown(tree, full)
        assert all(re.match(r" *- `", line) for line in markdown.splitlines())
        assert markdown.startswith(f"- `{'check ' if tree['role'] == 'check' else ''}{name}")


def test_the_shipped_example_can_be_explained_throughout() -> None:
    """Every choice of the first example, under the oldest book: steps cited, lines inside the width."""
    checked = check_book(["nec-2008"])
    problems = Problems()
    source = read_source(Path(__file__).parents[2] / "examples" / "boathouse.yaml", None, problems)
    assert source is not None
    run = build_run(source, checked.compiled(), {}, problems)
    problems.refuse_if_any()
    told = 0
    for name, (thing, attribute) in askable(run).items():
        known = run.rulebook.attributes[thing.kind].get(attribute)
        if known is None or known.role != "choice":
            continue
        tree = explain(run, checked.written, name, source=source)
        derived = [node for node in nodes(tree) if node.get("role") in ("rule", "choice", "check")]
        assert all(node["cites"] and node["entry"] for node in derived)
        assert max(len(line) for line in render_text(tree).splitlines()) <= WIDTH
        told += len(derived)
    assert told > 20
