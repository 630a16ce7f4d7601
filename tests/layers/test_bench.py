"""The author's bench: a first layer, what deserves a look, what changed, and an entry's story."""

from __future__ import annotations

import os
import subprocess
import sys
import textwrap
from pathlib import Path
from typing import Any

import pytest

from gaugebook.cli import main

from .conftest import BOOKS


@pytest.fixture
def shelf(bench: Any, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of rulesets that is also where we stand."""
    folder: Path = bench.folder
    (folder / "shed-2020.yaml").write_text((BOOKS / "shed-2020.yaml").read_text())
    monkeypatch.chdir(folder)
    monkeypatch.setenv("GAUGEBOOK_RULESETS", str(folder))
    return folder


def said(capsys: pytest.CaptureFixture[str], *call: str, status: int = 0) -> str:
    assert main(list(call)) == status, capsys.readouterr().err
    captured = capsys.readouterr()
    return captured.out if status == 0 else captured.err


def test_a_new_layer_is_sound_and_its_examples_are_too(
    shelf: Path, bench: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    assert said(capsys, "ruleset", "new", "town-2021", "--extends", "shed-2020") == "town-2021 written\n"
    assert said(capsys, "ruleset", "check", "town-2021").startswith("town-2021 is sound: ")
    place = shelf / "town-2021" / "ruleset.yaml"
    lines = place.read_text().splitlines()
    wanted = (
        "# standing",
        "# instrument",
        "# in_force",
        "# sources",
        "#   L1",
        "# not_encoded",
        "#   - {cites",
        "# amend",
    )
    start = next(number for number, line in enumerate(lines) if line.startswith("# standing"))
    end = next(number for number, line in enumerate(lines) if line.startswith("# checks:"))
    uncommented = [
        line[2:] if line.startswith("#   ") or line.startswith(wanted) else line
        for line in lines[start:end]
        if line != "#"
    ]
    place.write_text("\n".join(lines[:start] + uncommented) + "\n")
    assert said(capsys, "ruleset", "check", "town-2021").startswith("town-2021 is sound: ")
    book = bench.check("town-2021").book
    assert [change.operation for entry in book.entries.values() for change in entry.history[1:]] == [
        "set",
        "set",
    ]
    assert said(capsys, "ruleset", "new", "town-2021", "--extends", "shed-2020", status=2).startswith(
        f"there is something at {Path('town-2021')} already [ruleset-exists]"
    )


def test_what_deserves_a_look(shelf: Path, bench: Any, capsys: pytest.CaptureFixture[str]) -> None:
    bench.layer(
        "town-2021",
        """
        sources: {T: {what: invented, at: nowhere}}
        terms: {colours: [red, blue]}
        constants:
          spare: {unit: "1", value: 1, cites: "1", source: B, transcription: checked}
        tables:
          paint:
            unit: "1"
            keys: [{name: stuff, terms: stuffs}]
            rows: {pine: 1, oak: 2}
          sizes_by_span:
            unit: kg
            keys: [{name: span, unit: cm, match: up_to}]
            rows: {10: 1, 20: 2, 30: 3, 40: 2, 50: 5, 60: 6, 70: 7, 80: 8}
            cites: "1"
            source: T
            transcription: checked
        amend:
          - {except: rules/design_load, name: a, when: stuff is oak and stuff is pine, is: load}
          - {except: rules/carries, name: a, when: load > 5 kg, is: 1 kg}
          - {except: rules/carries, name: b, when: load > 5 kg, is: 2 kg}
          - except: checks/short
            name: c
            when: load > 5 kg and load < 5 kg
            require: load > 1 kg
            cites: "2"
          - set: constants/safety
            property: value
            to: 3
            cites: "3"
            in_force: {from: 2022-01-01, until: 2021-01-01}
    """,
    )
    text = said(capsys, "ruleset", "check", "town-2021")
    assert "17 worth a look:" in text
    for line in (
        "nothing uses terms/colours [unused]",
        "nothing uses constants/spare [unused]",
        "nothing uses tables/paint [unused]",
        "the source 'B' is in no layer's list of sources [unknown-source]",
        "tables/paint cites nothing [no-citation]",
        "tables/paint has no 'source' [no-provenance]",
        "paint says nothing for stuff: steel [table-gap]",
        "sizes_by_span: the column turns at [40], and only there [odd-step]",
        "rules/design_load: 'a' can never hold: its condition contradicts itself [way-never-holds]",
        "rules/carries: 'b' and 'a' have the same rank and the same condition, so they always clash [ways-",
        "checks/short: 'c' can never hold: its condition contradicts itself [way-never-holds]",
        "the change of rules/carries cites nothing [operation-without-cites]",
        "the change of constants/safety ends before it begins [days-reversed]",
    ):
        assert line in text


def test_every_day_on_which_something_changes_is_checked(
    shelf: Path, bench: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    bench.layer(
        "town-2021",
        """
        amend:
          - {remove: tables/sag, cites: "1", in_force: {from: 2021-01-01, until: 2021-12-31}}
    """,
    )
    assert "there is no table 'sag'; town-2021 has removed tables/sag [unknown-table]" in said(
        capsys, "ruleset", "check", "town-2021", status=2
    )


def test_what_changed_in_words(shelf: Path, bench: Any, capsys: pytest.CaptureFixture[str]) -> None:
    bench.layer(
        "town-2021",
        """
        constants: {extra: {unit: m, value: 4, title: Something extra, cites: "9"}}
        amend:
          - {set: tables/strength, cells: [{at: [thin, oak], to: 12}], cites: "2", reason: Poor oak.}
          - {set: tables/sag, add_rows: {75: 0.7}, remove_rows: [100]}
          - {set: terms/places, add_words: [ceiling], remove_words: [floor]}
          - {remove: checks/short, reason: Not needed.}
          - {set: checks/strong, property: require, to: carries > design_load}
          - {recite: {rules/carries: 4(c)}}
    """,
    )
    assert said(
        capsys, "ruleset", "diff", "shed-2020", "town-2021", "--format", "markdown"
    ) == textwrap.dedent("""\
        # From shed-2020 to town-2021: 1 added, 1 removed, 4 changed, 1 recited

        ## Added (1)

        - constants/extra (Something extra): value: 4 m \\[Town-2021 9\\]

        ## Removed (1)

        - checks/short (The span stays small) \\[Shed book 2020 6\\] Not needed.

        ## Changed (4)

        - terms/places (places): ceiling is new; floor is gone
        - tables/strength (What a board carries, as the inspector reads it): \\
        \\[thin, oak\\]: 15 became 12 \\[Shed book 2020 Table 2; Town-2021 2\\] Poor oak.
        - tables/sag (Factor for the span): row 75 is new: 0.7; row 100 is gone; \\
        it was: 0.5 \\[Shed book 2020 Table 3\\]
        - checks/strong (The board carries the load): require: carries \\>= design\\_load became \\
        carries \\> design\\_load \\[Shed book 2020 5\\]

        ## Renumbered, otherwise the same (1)

        - rules/carries (carries): 4(b) is now 4(b), 4(c) \\[Shed book 2020 4(b); Town-2021 4(c)\\]
        """).replace("\\\n", "")


def test_the_story_of_an_entry(shelf: Path, bench: Any, capsys: pytest.CaptureFixture[str]) -> None:
    bench.layer(
        "county-2020",
        """
        instrument: Order 7
        sources: {K: {what: the order, at: the county's office}}
        amend:
          - set: constants/safety
            property: value
            to: 3
            cites: C-1
            source: K
            transcription: checked
            read: 2026-01-02
            in_force: {from: 2020-01-01}
            reason: Old boards.
    """,
    )
    bench.layer(
        "town-2021",
        "amend: [{retire: constants/safety, of: county-2020, cites: 12-3}]\n",
        extends="county-2020",
    )
    text = " ".join(said(capsys, "ruleset", "show", "town-2021", "constants/safety").split())
    assert (
        "1. shed-2020 add: added; Shed book 2020 1; read in A, second hand - "
        "2. county-2020 set (retired): taken back by town-2021; County-2020 C-1; instrument Order 7; "
        "in force from 2020-01-01; because: Old boards.; read in K, checked, read 2026-01-02 - "
        "3. town-2021 retire: takes back the change of county-2020; Town-2021 12-3"
    ) in text
    assert "K: the order; the county's office" in text
    bench.layer("town-2022", "amend: [{remove: checks/short, cites: 12-4, said: spans were limited}]\n")
    text = said(capsys, "ruleset", "show", "town-2022", "checks/short")
    assert "2. town-2022 remove: removed; Town-2022 12-4; before it: spans were limited" in text


CASES = """
gaugebook: cases/1
cases:
  - name: right
    given: {gaugebook: project/1, shelves: {top: {load: 8 kg}}}
    expect: {shelves.top.design_load: 16 kg}
  - name: wrong
    given: {gaugebook: project/1, shelves: {top: {load: 8 kg}}}
    expect: {shelves.top.design_load: 17 kg}
  - name: dated
    date: 2022-01-01
    given: {gaugebook: project/1, shelves: {top: {load: 8 kg}}}
    expect: {shelves.top.design_load: 24 kg}
"""


def run_pytest(folder: Path) -> str:
    """What pytest prints about a folder, run in a process of its own with our plugin alone."""
    call = [
        sys.executable,
        "-m",
        "pytest",
        "-p",
        "gaugebook.pytest_cases",
        "-p",
        "no:cacheprovider",
        "-q",
        str(folder),
    ]
    alone = {**os.environ, "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}
    return subprocess.run(call, capture_output=True, text=True, cwd=folder, env=alone, check=False).stdout


def test_pytest_runs_one_test_for_each_case(shelf: Path, bench: Any) -> None:
    folder = shelf / "town-2021"
    (folder / "cases").mkdir(parents=True)
    (folder / "ruleset.yaml").write_text(
        textwrap.dedent("""
        gaugebook: ruleset/1
        id: town-2021
        version: 1.0.0
        title: Town
        extends: shed-2020
        amend:
          - {set: constants/safety, property: value, to: 3, in_force: {from: 2022-01-01, until: 2022-12-31}}
    """)
    )
    (folder / "cases" / "load.yaml").write_text(CASES)
    (folder / "cases" / "broken.yaml").write_text("gaugebook: cases/1\ncases: [{nmae: x}]\n")
    stopped = run_pytest(folder)
    assert "'nmae' is not a key known here; nearest: name [unknown-key]" in stopped
    assert "1 error" in stopped
    (folder / "cases" / "broken.yaml").unlink()
    told = run_pytest(folder)
    assert "1 failed, 2 passed" in told
    assert "wrong: shelves.top.design_load is 16 kg, expected 17 kg" in told
    assert "shelves.top.design_load = 2 * 8 kg = 16 kg" in told
