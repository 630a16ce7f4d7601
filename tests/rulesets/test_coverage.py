"""What a coverage register says of its ruleset is so, and a register that says otherwise is refused."""

from __future__ import annotations

import shutil
from functools import cache
from pathlib import Path

import pytest

from gaugebook import bench
from gaugebook.cli import main
from gaugebook.coverage import FILE, NOT_ENCODED, REGISTERED, Register, register_of
from gaugebook.diagnostics import Problems, Refused
from gaugebook.layers import build
from gaugebook.resources import packaged

BOOKS = (
    "nec-2008",
    "nec-2011",
    "nec-2014",
    "nec-2017",
    "nec-2020",
    "nec-2023",
    "iec-60364",
    "bs-7671-2018",
)
STRENGTH = ("missing", "recalled", "disputed", "second_hand", "checked")
"""Ways of having read a figure, the weakest first."""

RULESET = """
gaugebook: ruleset/1
id: sample
version: 1.0.0
title: Sample
document: Text
not_encoded: [{cites: "4", what: left out}]
kinds: {box: {section: boxes}}
constants:
  most: {title: Most, cites: 2.1, source: recall, transcription: recalled, unit: kg, value: 3}
rules:
  load:
    {title: Load, of: box, unit: kg, cites: "3(a)", source: recall, transcription: recalled, is: most}
  half:
    {title: Half, of: box, unit: kg, cites: "30", source: recall, transcription: recalled, is: load / 2}
"""
SECTIONS = """
gaugebook: coverage/1
sections:
  - {section: "2", title: Most, status: encoded, read: recalled}
  - {section: ["3", "30"], title: Loads, status: encoded, read: recalled}
  - {section: "4", title: Rest, status: not_encoded, why: not read, read: recalled}
"""


@cache
def register(id: str) -> Register:
    """The register of a shipped book."""
    problems = Problems()
    book = build([id], [], problems)
    problems.refuse_if_any()
    found = register_of(book.layers[-1], book, problems)
    problems.refuse_if_any()
    assert found is not None
    return found


def checked(folder: Path, sections: str, ruleset: str = RULESET) -> str:
    """What `check` says of a ruleset with a register: its faults by name, or that it is sound."""
    place = folder / "sample"
    place.mkdir()
    (place / "ruleset.yaml").write_text(ruleset)
    (place / FILE).write_text(sections)
    try:
        return bench.check(str(place), []).splitlines()[0].partition(":")[0]
    except Refused as error:
        return " ".join(diagnostic.name for diagnostic in error.diagnostics)


@pytest.mark.parametrize("id", BOOKS)
def test_a_register_agrees_with_its_book(id: str) -> None:
    found = register(id)
    problems = Problems()
    found.examine(problems)
    problems.refuse_if_any()
    held = {name for section in found.sections for name in section.entries}
    registered = {entry.id for entry in found.book.entries.values() if entry.section in REGISTERED}
    assert registered <= held <= set(found.book.entries)
    assert len(found.sections) > 50
    assert any(section.status == NOT_ENCODED for section in found.sections)


@pytest.mark.parametrize("id", BOOKS)
def test_no_section_is_read_better_than_its_entries(id: str) -> None:
    found = register(id)
    for section in found.sections:
        told = [found.book.entries[name].body.get("transcription") for name in section.entries]
        ways = [STRENGTH.index(str(way)) for way in told if way is not None]
        assert not ways or STRENGTH.index(section.read) <= max(ways), section.clauses


@pytest.mark.parametrize("id", [id for id in BOOKS if id.startswith("nec-")])
def test_the_newest_edition_says_what_is_left_out(id: str) -> None:
    """No clause of an older edition stands on the sheet of a later one."""
    left_out = register(id).book.not_encoded()
    assert len(left_out) >= 5
    assert {layer for layer, _ in left_out} == {id}


def test_an_ordinance_leaves_the_list_of_its_edition_standing() -> None:
    problems = Problems()
    book = build(["larkmere-2021"], [], problems)
    problems.refuse_if_any()
    layers = [layer for layer, _ in book.not_encoded()]
    assert "larkmere-2021" in layers and sum(id.startswith("nec-") for id in dict.fromkeys(layers)) == 1


def test_every_shipped_book_has_a_register() -> None:
    folders = sorted(path.parent.name for path in Path(str(packaged("rulesets"))).glob(f"*/{FILE}"))
    assert folders == sorted(BOOKS)


def test_a_register_that_agrees(tmp_path: Path) -> None:
    assert checked(tmp_path, SECTIONS) == "sample is sound"


@pytest.mark.parametrize(
    ("was", "to", "fault"),
    [
        ('"2", title', '"1", title', "section-without-entries entry-outside-register"),
        ('["3", "30"]', '"3"', "entry-outside-register"),
        ('"4", title: Rest', '"2.1", title: Rest', "section-without-entries section-has-entries"),
        ("Rest, status: not_encoded", "Rest, entries: [rules/load], status: encoded", "section-not-complete"),
        ('"4", title', '["4", "2"], title', "section-twice"),
        ("title: Most", "title: Most, entries: [rules/lode]", "unknown-entry"),
        ("why: not read, ", "", "key-missing"),
        ("status: not_encoded", "status: forgotten", "not-allowed-here"),
    ],
)
def test_a_register_that_does_not(was: str, to: str, fault: str, tmp_path: Path) -> None:
    assert was in SECTIONS
    assert checked(tmp_path, SECTIONS.replace(was, to)) == fault


def test_missing_cells_are_not_encoded(tmp_path: Path) -> None:
    table = """
tables:
  limits:
    title: Limits
    cites: "2"
    source: recall
    transcription: recalled
    unit: kg
    keys: [{name: size, unit: m}]
    rows: {1: 2, 2: missing}
"""
    assert checked(tmp_path, SECTIONS, RULESET + table) == "section-lacks-cells"


def test_the_command(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert main(["ruleset", "show", "nec-2020", "--coverage"]) == 0
    page = capsys.readouterr().out
    assert "690.8(D)" in page and "rules/maximum_current" in page and "not encoded" in page
    shutil.copytree(str(packaged("rulesets", "larkmere-2021")), tmp_path / "larkmere-2021")
    assert main(["ruleset", "show", "larkmere-2021", "--coverage"]) == 0
    assert "Outside the register" in capsys.readouterr().out
