"""A cell changed by a slip of the hand: which cases notice, which checksums do, and what nobody sees."""

from __future__ import annotations

import textwrap
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from gaugebook.casework import Outcome, try_cases
from gaugebook.checksums import checksum
from gaugebook.cli import main
from gaugebook.shelf import Shelf
from gaugebook.slips import BY_CHECKSUM, CASE, NOBODY, Slips, change_cells

from .conftest import BOOKS

WORDS = """
tables:
  finish:
    terms: colours
    keys: [{name: place, terms: places}]
    rows: {wall: white, floor: grey}
terms:
  colours: [white, grey]
rules:
  colour: {of: shelf, terms: colours, is: "finish[place]"}
"""

CASES = """
gaugebook: cases/1
cases:
  - name: fifteen kilograms on thin oak
    given: {gaugebook: project/1, shelves: {top: {load: 7.5 kg, stuff: oak}}}
    expect: {shelves.top.board: thin}
  - name: a long shelf
    given: {gaugebook: project/1, shelves: {top: {load: 1 kg, span: 80 cm, board: thin}}}
    expect: {shelves.top.carries: 5 kg, shelves.top.colour: white}
"""


@pytest.fixture
def town(bench: Any) -> Path:
    """A layer with cases over the shed's book, whose own rows and cells are guarded in part."""
    folder: Path = bench.folder / "town-2021"
    (folder / "cases").mkdir(parents=True)
    cells = {"cells": [{"at": ["thin", "steel"], "to": 31}]}
    rows = {"add_rows": {"150": "0.25"}}
    text = f"""
        gaugebook: ruleset/1
        id: town-2021
        version: 1.0.0
        title: Town
        extends: shed-2020
        amend:
          - set: tables/strength
            cells: [{{at: [thin, steel], to: 31}}]
            checksum: "{checksum(cells)}"
          - set: tables/sag
            add_rows: {{150: 0.25}}
            checksum: "{checksum(rows)}"
    """
    (folder / "ruleset.yaml").write_text(textwrap.dedent(text) + WORDS)
    (folder / "cases" / "boards.yaml").write_text(CASES)
    return folder


def tried(town: Path, *entries: str) -> tuple[Outcome, Slips]:
    folders = [town.parent, BOOKS]
    outcome = try_cases("town-2021", town, folders)
    assert [str(miss) for miss in outcome.misses] == []
    return outcome, change_cells("town-2021", folders, outcome, entries or None)


def test_who_notices_which_change(town: Path) -> None:
    _, slips = tried(town)
    assert slips.noticed == {
        # thin pine (a long shelf) and nothing else; the board of 15 kg would carry 16 kg as well
        "tables/strength": Counter({CASE: 1, BY_CHECKSUM: 1, NOBODY: 6}),
        "tables/sag": Counter({CASE: 1, BY_CHECKSUM: 1, NOBODY: 1}),
        "tables/finish": Counter({CASE: 1, NOBODY: 1}),
    }
    told = [(slip.table, slip.at, slip.said, slip.instead) for slip in slips.unnoticed]
    assert ("tables/strength", "thin, oak", "15", "16") in told
    assert ("tables/sag", "50", "1", "2") in told
    assert ("tables/finish", "floor", "grey", "white") in told
    assert len(told) == 8


def test_figures_move_by_one_in_their_last_place(town: Path) -> None:
    _, slips = tried(town, "sag")
    (slip,) = slips.unnoticed
    assert str(slip).endswith("tables/sag [50]: nobody notices 2 in place of 1")
    assert slip.span.file.endswith("shed-2020.yaml")
    (town / "cases" / "boards.yaml").write_text(
        CASES.replace("span: 80 cm", "span: 40 cm").replace("5 kg, s", "10 kg, s")
    )
    _, slips = tried(town, "tables/sag")
    (slip,) = slips.unnoticed
    assert (slip.at, slip.said, slip.instead) == ("100", "0.5", "0.6")


def test_the_tables_say_again_what_they_said(town: Path) -> None:
    """Changing cells leaves no trace, so that the cases come out as before."""
    outcome, slips = tried(town)
    again = change_cells("town-2021", [town.parent, BOOKS], outcome)
    assert again == slips


def test_a_case_of_another_day_notices_too(town: Path) -> None:
    header = town / "ruleset.yaml"
    header.write_text(
        header.read_text().replace(
            "amend:\n",
            "amend:\n  - {set: tables/sag, add_rows: {75: 0.75}, "
            "in_force: {from: 2021-01-01, until: 2021-12-31}}\n",
        )
    )
    dated = (
        CASES
        + """
  - name: a short shelf, as long as the extra row stood
    date: 2021-06-01
    given: {gaugebook: project/1, shelves: {top: {load: 1 kg, board: thick}}}
    expect: {shelves.top.carries: 40 kg}
"""
    )
    (town / "cases" / "boards.yaml").write_text(dated)
    _, slips = tried(town, "sag")
    assert slips.noticed["tables/sag"] == Counter({CASE: 2, BY_CHECKSUM: 1})


def test_the_command_says_it_and_fails(
    town: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("GAUGEBOOK_RULESETS", f"{town.parent}:{BOOKS}")
    assert main(["ruleset", "test", "town-2021"]) == 0
    capsys.readouterr()
    assert main(["ruleset", "test", "town-2021", "--change-cells", "--entry", "finish"]) == 1
    assert capsys.readouterr().out.splitlines()[-3:] == [
        f"{town / 'ruleset.yaml'}:19:32: tables/finish [floor]: nobody notices white in place of grey",
        "2 cells changed by one unit in the last place: a case notices 1, a checksum alone 0, nobody 1",
        "  tables/finish: a case notices 1, a checksum alone 0, nobody 1",
    ]
    assert main(["ruleset", "test", "town-2021", "--change-cells", "--entry", "tables/finsh"]) == 2
    assert capsys.readouterr().err == (
        "town-2021 has no table 'tables/finsh' whose cells could be changed; nearest: tables/finish [no-such-table]\n"
    )
    assert main(["ruleset", "test", "town-2021", "--entry", "finish"]) == 2
    assert capsys.readouterr().err == (
        "--entry says whose cells are changed [entry-without-changes]\n  help: add --change-cells\n"
    )


def test_nothing_of_larkmere_goes_unnoticed() -> None:
    place = Shelf(()).places()["larkmere-2021"]
    outcome = try_cases("larkmere-2021", place)
    slips = change_cells("larkmere-2021", (), outcome)
    assert [str(slip) for slip in slips.unnoticed] == []
    assert sum(slips.noticed.values(), Counter[str]())[CASE] >= 3
