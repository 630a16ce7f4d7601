"""Names that entries had before: expressions, declarations, cases and projects may go on with them."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import Any

import pytest

from gaugebook.casework import try_cases
from gaugebook.cli import main
from gaugebook.diagnostics import Refused

from .conftest import BOOKS

NEW_NAMES = """
renamed:
  constants/safety: constants/allowance
  tables/sag: tables/span_factor
  fields/shelf.load: fields/shelf.weight
  rules/carries: rules/bears
  checks/short: checks/span_limit
  terms/stuffs: terms/materials
  series/boards: series/planks
  readings/oak: readings/oak_boards
constants:
  allowance: {unit: "1", value: 2, cites: "1"}
fields:
  shelf.weight: {unit: kg, least: 0 kg, ask: how much lies on it}
terms:
  materials: [pine, oak, steel]
series:
  planks: {members: [thin, middle, thick], cites: Table 9}
tables:
  span_factor:
    unit: "1"
    keys: [{name: span, unit: cm, match: up_to, beyond: not_permitted}]
    rows: {50: 1, 100: 0.5}
    cites: Table 3
rules:
  bears: {of: shelf, unit: kg, is: "strength[board, stuff] * span_factor[span]", cites: 4(b)}
checks:
  span_limit: {of: shelf, require: span <= 100 cm, cites: "6"}
readings:
  oak_boards:
    question: Does oak count?
    options: {counts: {says: It does.}, does_not: {says: It does not.}}
    default: counts
    cites: "2"
amend:
  - {remove: constants/safety}
  - {remove: tables/sag}
  - {remove: fields/shelf.load}
  - {remove: rules/carries}
  - {remove: checks/short}
  - {remove: terms/stuffs}
  - {remove: series/boards}
"""

OLD_NAMES = """
fields:
  site.stuff: {terms: stuffs, default: oak}
  site.board: {series: boards, default: middle}
  site.row: {links: shelf}
tables:
  price:
    unit: "1"
    keys: [{name: stuff, terms: stuffs}]
    rows: {pine: 1, oak: 2, steel: 3}
rules:
  spare: {of: shelf, unit: kg, is: this.carries - safety * load}
  heaviest: {of: site, unit: kg, is: greatest of load over row}
  factor: {of: shelf, unit: "1", is: "if oak is counts then sag[span] else price[stuff]"}
  plank: {of: shelf, series: boards, is: "first p in boards where strength[p, stuff] >= load"}
checks:
  strong_enough: {of: shelf, require: carries >= safety * load, constrains: board}
outputs:
  plate: {of: shelf, form: plate, say: What it bears., shows: [carries]}
summary:
  shelf: [carries, spare]
totals:
  laid: {of: shelf, sum: load, by: [stuff]}
amend:
  - {set: constants/safety, property: value, to: 3}
"""


@pytest.fixture
def renamed(bench: Any) -> Any:
    bench.layer("shed-2023", NEW_NAMES)
    bench.layer("town-2024", OLD_NAMES, extends="shed-2023")
    return bench


PROJECT = """
gaugebook: project/1
title: One shelf
site: {row: [top]}
shelves:
  top: {load: 8 kg, board: middle}
"""


def test_expressions_and_declarations_of_other_layers(renamed: Any) -> None:
    checked = renamed.check("town-2024")
    values = renamed.size("town-2024", project=PROJECT)["values"]
    assert {name: values[name]["value"] for name in values} == {
        "shelves.top.design_load": 24,
        "shelves.top.bears": 20,
        "shelves.top.spare": -4,
        "shelves.top.factor": 1,
        "shelves.top.plank": "thin",
        "shelves.top.board": "middle",
        "site.heaviest": 8,
    }
    assert checked.book.entries["totals/laid"].body["sum"] == "weight"
    notices = {(notice.message, Path(notice.span.file).stem) for notice in checked.book.notices}
    assert {message for message, file in notices if file == "town-2024"} == {
        "constants/safety is called constants/allowance now",
        "safety is called allowance now",
        "load is called weight now",
        "carries is called bears now",
        "sag is called span_factor now",
        "oak is called oak_boards now",
        "boards is called planks now",
        "terms/stuffs is called terms/materials now",
        "series/boards is called series/planks now",
    }


def test_a_project_may_state_a_field_under_its_old_name(
    renamed: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    project = renamed.folder / "project.yaml"
    project.write_text(textwrap.dedent(PROJECT).lstrip() + "readings: {oak: does_not}\n")
    monkeypatch.setenv("GAUGEBOOK_RULESETS", f"{renamed.folder}:{BOOKS}")
    call = ["explain", str(project), "shelves.top.carries", "--ruleset", "town-2024"]
    assert main(call) == 1
    told = capsys.readouterr()
    assert f"{project}:5:9: load is called weight now [entry-renamed]" in told.err
    assert "shelves.top.bears" in told.out
    project.write_text(textwrap.dedent(PROJECT).replace("load: 8 kg", "load: 8 kg, weight: 8 kg"))
    assert main(call) == 2
    assert "'weight' is stated twice, under the name it had and the one it has" in capsys.readouterr().err


def test_cases_may_expect_old_names(renamed: Any) -> None:
    place = renamed.folder / "village-2025"
    (place / "cases").mkdir(parents=True)
    (place / "ruleset.yaml").write_text(
        "gaugebook: ruleset/1\nid: village-2025\nversion: 1.0.0\ntitle: Village\nextends: town-2024\n"
    )
    (place / "cases" / "old.yaml").write_text(
        textwrap.dedent("""
        gaugebook: cases/1
        cases:
          - name: written under the old names
            given: {gaugebook: project/1, shelves: {top: {load: 8 kg, board: thin}}}
            readings: {oak: does_not}
            expect: {shelves.top.carries: 10 kg, shelves.top.factor: 1}
            checks: {shelves.top short: pass}
        """)
    )
    outcome = try_cases("village-2025", place, [renamed.folder, BOOKS])
    assert [str(miss) for miss in outcome.misses] == []
    assert [notice.message for notice in outcome.notices] == [
        "load is called weight now",
        "carries is called bears now",
        "short is called span_limit now",
    ]


def test_an_old_name_has_to_lead_somewhere(bench: Any) -> None:
    bench.layer("town-2021", "renamed: {constants/allowance: constants/safty, tables/sag: tables/strength}\n")
    with pytest.raises(Refused) as caught:
        bench.check("town-2021")
    assert [(fault.name, fault.message) for fault in caught.value.diagnostics] == [
        (
            "renamed-to-nothing",
            "there is no entry 'constants/safty' for the old name 'constants/allowance' to mean; "
            "nearest: constants/safety",
        ),
        ("renamed-and-kept", "tables/sag is still an entry, so its name cannot mean tables/strength as well"),
    ]


def test_a_name_may_change_more_than_once(bench: Any) -> None:
    bench.layer("a-2021", "renamed: {constants/leeway: constants/safety}\n")
    bench.layer("b-2022", "renamed: {constants/slack: constants/leeway}\n", extends="a-2021")
    bench.layer("c-2023", "amend: [{set: constants/slack, property: value, to: 3}]\n"
                "rules: {twice: {of: site, unit: '1', is: slack + leeway}}\n", extends="b-2022")  # fmt: skip
    assert bench.size("c-2023")["values"]["site.twice"]["value"] == 6
