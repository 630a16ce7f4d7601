"""Cases of a ruleset: what holds, what does not, what a case file says wrongly, and what no case touches."""

from pathlib import Path

import pytest

import gaugebook
from gaugebook.bench import report
from gaugebook.casework import Outcome, try_cases
from gaugebook.cli import main

HEAD = "gaugebook: cases/1\nbase: {shelves: {one: {load: 18 kg, brackets: [{reach: 100 mm}]}}}\ncases:\n"


def tried(shelf: Path, cases: str, head: str = HEAD) -> Outcome:
    """The outcome of the cases in one file of the shelves book."""
    place = shelf / "books" / "shelves"
    (place / "cases").mkdir(exist_ok=True)
    (place / "cases" / "some.yaml").write_text(head + cases, "utf-8")
    return try_cases("shelves", place, [shelf / "books"])


def one(expect: str, given: str = "{}", more: str = "") -> str:
    return f"  - name: a case\n    given: {given}\n    expect:\n      {expect}\n{more}"


@pytest.mark.parametrize(
    ("expect", "given"),
    [
        ("shelves.one.design_load: 27 kg", "{}"),
        ("shelves.one.design_load: 27000 g", "{}"),
        ("shelves.one.board: medium", "{}"),
        ("shelves.one.wood: pine", "{}"),
        ("site.indoors: yes", "{}"),
        ("'shelves.one.brackets[0].screw': 3 mm", "{}"),
        ("shelves.one.board: none", "{shelves: {one: {load: 60 kg, wood: oak}}}"),
        ("shelves.one.board: undetermined", "{shelves: {one: {load: 60 kg}}}"),
        ("shelves.one.design_load: undetermined", "{shelves: {one: {load: }}}"),
    ],
)
def test_what_holds(shelf: Path, expect: str, given: str):
    outcome = tried(shelf, one(expect, given))
    assert (outcome.cases, outcome.failed, outcome.misses) == (1, 0, [])


@pytest.mark.parametrize(
    ("expect", "found"),
    [
        ("shelves.one.design_load: 27.1 kg", "shelves.one.design_load is 27 kg, expected 27.1 kg"),
        ("shelves.one.design_load: none", "is 27 kg, expected none"),
        ("shelves.one.board: thin", "shelves.one.board is medium, expected thin"),
        ("site.indoors: no", "site.indoors is yes, expected no"),
        ("shelves.one.board: undetermined", "is medium, expected undetermined"),
    ],
)
def test_what_does_not_hold(shelf: Path, expect: str, found: str):
    outcome = tried(shelf, one(expect))
    assert outcome.failed == 1
    (miss,) = outcome.misses
    assert found in str(miss) and "some.yaml:7:" in str(miss)


def test_tolerance_is_relative(shelf: Path):
    near = one("shelves.one.design_load: 27.02 kg")
    assert tried(shelf, near).failed == 1
    assert tried(shelf, near + "    tolerance: 0.1 %\n").failed == 0
    assert tried(shelf, near + "    tolerance: 0.05 %\n").failed == 1


def test_checks_are_expected_by_verdict(shelf: Path):
    checks = "  - name: checks\n    given: {given}\n    checks:\n      {check}: {verdict}\n"

    def failed(check: str, verdict: str, given: str = "{}") -> int:
        return tried(shelf, checks.format(given=given, check=check, verdict=verdict)).failed

    reach = "'shelves.one.brackets[0] reach_in_sight'"
    far, zero = (f"{{shelves: {{one: {{brackets: [{{reach: {mm} mm}}]}}}}}}" for mm in (400, 0))
    assert [failed(reach, verdict) for verdict in ("pass", "fail", "not_applicable")] == [0, 1, 1]
    assert failed(reach, "fail", far) == 0
    assert failed(reach, "not_applicable", zero) == 0
    assert failed("shelves.one bears", "undetermined", "{shelves: {one: {load: }}}") == 0
    assert failed("shelves.one bears", "fail", "{shelves: {one: {load: 60 kg, wood: oak}}}") == 0


def test_a_project_file_a_layout_and_a_reading(shelf: Path):
    cases = (
        "  - {name: hall, project: ../../../hall.yaml, layout: light, expect: {shelves.low.board: thin}}\n"
        "  - name: settled\n    given: {}\n    readings: {reserve_applies: outdoors}\n"
        "    expect: {shelves.one.design_load: 18 kg}\n"
    )
    outcome = tried(shelf, cases)
    assert (outcome.cases, outcome.failed) == (2, 0)


def test_untouched_entries_and_cells(shelf: Path):
    outcome = tried(shelf, one("shelves.one.design_load: 27 kg"))
    assert outcome.cells == {"bearing": (0, 5)}
    assert "rules/design_load" not in outcome.untouched and "constants/reserve" not in outcome.untouched
    assert {"tables/bearing", "checks/bears", "choices/board", "rules/share"} <= set(outcome.untouched)
    outcome = tried(shelf, one("shelves.one.board: medium"))
    assert outcome.cells == {"bearing": (2, 5)}
    assert {"tables/bearing", "checks/bears", "choices/board"}.isdisjoint(outcome.untouched)
    assert "2 of 5 table cells are touched" in report("shelves", outcome, {})


@pytest.mark.parametrize(
    ("case", "name"),
    [
        (one("shelves.two.board: thin"), "unknown-place"),
        (one("shelves.one.bord: thin"), "value-not-derived"),
        (one("shelves.one.board: thinn"), "unknown-word"),
        (one("shelves.one.design_load: 27"), "missing-unit"),
        (one("shelves.one.design_load: 27 m"), "wrong-kind-of-quantity"),
        (one("shelves.one.board: thin", "{shelves: {one: {lode: 1 kg}}}"), "unknown-key"),
        (one("shelves.one.board: thin", more="    tolerance: little\n"), "not-a-quantity"),
        (one("shelves.one.board: thin", more="    layout: x\n"), "unknown-layout"),
        (one("shelves.one.board: thin", more="    readings: {x: y}\n"), "unknown-reading"),
        (one("shelves.one.board: thin", more="    project: x.yaml\n"), "case-needs-project"),
        ("  - {name: a, given: {}}\n", "case-without-expectation"),
        ("  - {name: a, given: {}, checks: {shelves.one bear: pass}}\n", "unknown-check"),
        ("  - {name: a, given: {}, checks: {bears: pass}}\n", "bad-check-key"),
        ("  - {name: a, given: {}, checks: {shelves.one bears: maybe}}\n", "not-allowed-here"),
        ("  - {name: a, givn: {}}\n", "unknown-key"),
    ],
)
def test_a_wrong_case_is_refused_with_its_place(shelf: Path, case: str, name: str):
    with pytest.raises(gaugebook.Refused) as caught:
        tried(shelf, case)
    assert name in [diagnostic.name for diagnostic in caught.value.diagnostics]
    assert all(d.span is not None and d.span.file.endswith("some.yaml") for d in caught.value.diagnostics)


def test_the_command_counts_and_tells(shelf: Path, capsys: pytest.CaptureFixture[str]):
    cases = one("shelves.one.board: medium") + one("shelves.one.board: thick")
    tried(shelf, cases)
    place = str(shelf / "books" / "shelves")
    assert main(["ruleset", "test", place]) == 1
    page = capsys.readouterr().out
    assert page.splitlines()[0].endswith("a case: shelves.one.board is medium, expected thick")
    assert "shelves: 2 cases, 1 pass, 1 fail" in page
    tried(shelf, one("shelves.one.board: medium"))
    assert main(["ruleset", "test", "shelves", "--rulesets", str(shelf / "books")]) == 0
