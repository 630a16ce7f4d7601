"""Faults and notes that no single file shows: each with the call that meets it, and the exact text of it."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

import gaugebook
from gaugebook import batch_run, cache
from gaugebook.adopting import Jurisdiction
from gaugebook.batching import Job
from gaugebook.cli import main
from gaugebook.diagnostics import GaugebookError, Problems, diagnose, render
from gaugebook.documents import parse

BOOK = """\
gaugebook: ruleset/1
id: yard
version: 1.0.0
title: Yard
document: Yard book
sources: {S: {what: written for this test}}
kinds: {yard: {section: yard, one: yes}, box: {section: boxes}}
fields:
  box.load: {unit: kg, default: 5 kg}
  box.heavy: {flag: yes, default: no}
  box.under: {links: box, inverse: over}
series: {sizes: {members: [small, large], properties: {holds: {unit: kg, values: [10, 20]}}}}
choices: {size: {of: box, from: sizes, cites: "1"}}
checks: {strong: {of: box, require: size.holds >= load, constrains: size, cites: "2"}}
"""
ABOVE = """\
gaugebook: ruleset/1
id: yard-2030
version: 1.0.0
title: Yard, later
document: Yard book 2030
extends: yard
in_force: {from: 2030-01-01}
fields: {box.width: {unit: m, default: 1 m}}
"""
PROJECT = "gaugebook: project/1\nyard: {rulesets: [yard]}\nboxes: {a: {load: 7 kg}, b: {}}\n"
Say = Callable[..., tuple[int, list[str]]]


@pytest.fixture
def say(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Iterator[Say]:
    """Runs a call in a folder with the files above; the status, and the lines on standard error."""
    for name, text in (("yard", BOOK), ("yard-2030", ABOVE), ("p", PROJECT)):
        (tmp_path / f"{name}.yaml").write_text(text, "utf-8")
    (tmp_path / "cases.csv").write_text("boxes.a.load [kg]\n6\n15\n", "utf-8")
    monkeypatch.setenv("GAUGEBOOK_RULESETS", str(tmp_path))
    monkeypatch.setenv(cache.VARIABLE, "off")
    monkeypatch.chdir(tmp_path)

    def said(*call: str) -> tuple[int, list[str]]:
        capsys.readouterr()
        status = main(call)
        return status, capsys.readouterr().err.splitlines()

    yield said
    cache.switch(on=True)


def batch(*more: str, cases: str = "cases.csv", output: str = "rows.csv") -> list[str]:
    return ["batch", "p.yaml", cases, "--output", output, *more]


# -- batches


def test_case_file_kind(say: Say) -> None:
    Path("cases.txt").write_text("boxes.a.load [kg]\n6\n", "utf-8")
    status, told = say(*batch(cases="cases.txt"))
    assert status == 2
    assert told == [
        "'cases.txt' is no table of cases: its name ends in none of .csv, .parquet, .xlsx [case-file-kind]"
    ]


def test_case_cells_and_bad_row(say: Say) -> None:
    """`case-cells` is told within `bad-row`."""
    Path("cases.csv").write_text("boxes.a.load [kg],who\n6,x\n7\n", "utf-8")
    status, told = say(*batch())
    assert status == 2
    assert told == [
        "carried through as labels, because they name no field: who [case-labels]",
        "cases.csv:3:1: row 2: it has 1 cells and the header has 2 [bad-row]",
    ]


def test_bad_cases_more(say: Say, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(batch_run, "MOST_FAULTS", 1)
    Path("cases.csv").write_text("boxes.a.load [kg]\nx\ny\nz\n", "utf-8")
    status, told = say(*batch())
    assert status == 2
    assert [line for line in told if "[bad-case" in line] == [
        "cases.csv:2:1: row 1, column 'boxes.a.load [kg]': 'x' does not read as a quantity [bad-case]",
        "2 more rows cannot be used; the column 'error' says why [bad-cases-more]",
    ]


def test_batch_starts_anew(say: Say) -> None:
    Path("rows.csv.part").write_text("of another batch\n", "utf-8")
    assert say(*batch()) == (0, ["rows.csv.part belongs to another batch; starting anew [batch-starts-anew]"])
    assert len(Path("rows.csv").read_text("utf-8").splitlines()) == 3


def test_batch_stopped(say: Say, monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(*_: object) -> Iterator[object]:
        raise KeyboardInterrupt
        yield

    monkeypatch.setattr(batch_run, "_made", stopped)
    status, told = say(*batch())
    assert status == 130
    assert told == ["stopped after 0 rows [batch-stopped]", "  help: the same call goes on from there"]
    assert not Path("rows.csv").exists()


def test_batch_row_by_row(say: Say, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(batch_run, "FEW", 0)
    Path("cases.csv").write_text("boxes.a.under\nb\n", "utf-8")
    status, told = say(*batch())
    assert status == 0
    assert told == [
        "no program of its own can be made for yard; each row is evaluated by itself [batch-row-by-row]"
    ]


@pytest.mark.parametrize(
    ("what", "lines"),
    [
        ("batch-without-columns", [
            "yard cannot be worked out for many rows at once; each row is evaluated by its own program "
            "[batch-without-columns]",
        ]),
        ("batch-without-numpy", [
            "numpy is not installed; each row of yard is evaluated by its own program [batch-without-numpy]",
            "  help: install gaugebook[columns] to work out many rows at once",
        ]),
    ],
)  # fmt: skip
def test_without_columns(say: Say, monkeypatch: pytest.MonkeyPatch, what: str, lines: list[str]) -> None:
    monkeypatch.setattr(batch_run, "FEW", 0)
    if what == "batch-without-numpy":
        for name in [name for name in sys.modules if name == "numpy" or name.startswith("gaugebook.")]:
            if name == "numpy" or "column" in name or name.endswith((".arrays", ".grids")):
                monkeypatch.delitem(sys.modules, name)
        monkeypatch.setitem(sys.modules, "numpy", None)
    else:
        from gaugebook import case_columns

        def refused(*_: object) -> object:
            raise case_columns.CannotColumn("this")

        monkeypatch.setattr(case_columns, "CaseColumns", refused)
    assert say(*batch()) == (0, lines)


def test_frame_columns(say: Say) -> None:
    pandas = pytest.importorskip("pandas")
    frame = pandas.DataFrame({"a": ["1"], "b": ["2"]})
    job = Job("p.yaml", ("boxes.a.load [kg]",))
    with pytest.raises(GaugebookError) as caught:
        gaugebook.size_frame(frame, job)
    assert (
        str(caught.value)
        == "a data frame has the columns a, b, the job has boxes.a.load [kg] [frame-columns]"
    )


def test_extra_missing(say: Say, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow.parquet", None)
    status, told = say(*batch(output="rows.parquet"))
    assert status == 2
    assert told == [
        "a file in the format Parquet needs pyarrow [extra-missing]",
        "  help: pip install 'gaugebook[parquet]'",
    ]


# -- projects, rulesets, jurisdictions


def test_unknown_key_of_a_layer_not_in_force(say: Say) -> None:
    Path("p.yaml").write_text(PROJECT.replace("b: {}", "b: {width: 2 m}"), "utf-8")
    status, told = say("size", "p.yaml", "--ruleset", "yard-2030", "--date", "2020-05-01")
    assert status == 2
    assert told == [
        "p.yaml:3:30: 'width' is not a key known here [unknown-key-today]",
        "    boxes: {a: {load: 7 kg}, b: {width: 2 m}}",
        "                                 ^^^^^",
        "  help: if one of these layers asks for it: they are not in force on the day that counts: yard-2030",
    ]


def test_unknown_input(say: Say) -> None:
    status, told = say("limits", "p.yaml", "--input", "boxes.a.laod")
    assert status == 2
    assert told == [
        "no numeric input is called 'boxes.a.laod'; nearest: boxes.a.load, boxes.b.load [unknown-input]"
    ]


def test_no_register(say: Say) -> None:
    status, told = say("ruleset", "show", "yard", "--coverage")
    assert status == 2
    assert told == ["neither yard nor a ruleset below it has a coverage register [no-register]"]


WORTH_A_LOOK = """\
checks:
  odd:
    of: box
    when: heavy and not heavy
    require: load > 1 kg
    {where}
    cites: "3"
    source: S
    transcription: checked
rules:
  way:
    of: box
    unit: kg
    branches: {one: {when: heavy, is: load}, two: {when: heavy, is: 2 * load}}
    otherwise: 1 kg
    exceptions: {x: {when: load > 3 kg, is: 1 kg}, y: {when: load > 3 kg, is: 2 kg}}
    cites: "4"
    source: S
    transcription: checked
"""


def test_conditions_worth_a_look(say: Say, capsys: pytest.CaptureFixture[str]) -> None:
    head = BOOK.replace("checks: {strong:", "checks: {strong:").replace("id: yard", "id: shed")
    text = head[: head.index("checks:")] + WORTH_A_LOOK.replace("    {where}\n", "")
    Path("shed.yaml").write_text(text, "utf-8")
    capsys.readouterr()
    assert main(["ruleset", "check", "shed.yaml"]) == 0
    told = capsys.readouterr().out.splitlines()
    said = [
        line.partition(": ")[2] for line in told if "[never-a" in line or "[ways-" in line or "[way-s" in line
    ]
    assert said == [
        "checks/odd never applies: its condition contradicts itself [never-applies]",
        "rules/way: 'two' is never reached: 'one' has the same condition and stands before it [way-shadowed]",
        "rules/way: 'y' and 'x' have the same rank and the same condition, so they always clash [ways-always-clash]",
    ]


JURISDICTION = """\
gaugebook: jurisdiction/1
id: harbour
title: Harbour
trigger: [site.filed]
periods:
  - {name: first, from: 2015-01-01, stack: [yard]{more}}
"""


def test_election_without_field() -> None:
    made = Jurisdiction(parse(JURISDICTION.replace("{more}", ", elect: yes"), "harbour.yaml"), Problems())
    ((name, span, values),) = made.faults({"yard": None})
    assert render(diagnose(name, span, **values)) == (
        "harbour.yaml:6:5: 'first' is open to election, and the document does not say where an election is stated "
        "[election-without-field]\n"
        "      - {name: first, from: 2015-01-01, stack: [yard], elect: yes}\n"
        "        ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^\n"
        "  help: give the document 'election: section.field'"
    )


def test_adoption_needs_field() -> None:
    problems = Problems()
    made = Jurisdiction(
        parse(JURISDICTION.replace("{more}", ", when: site.use is dwelling"), "harbour.yaml"), problems
    )
    assert made.adopt({"site.filed": "2016-01-01"}.get, None, problems) is None
    assert [render(problem) for problem in problems] == [
        "harbour asks for 'site.use' to say what applies, and the project does not state it [adoption-needs-field]"
    ]


# -- plugins, kept files


def test_unknown_plugin(say: Say, caplog: pytest.LogCaptureFixture) -> None:
    assert say("size", "p.yaml", "--without-plugin", "shedule", "--format", "csv")[0] == 0
    assert caplog.messages == [
        "warning: there is no plugin 'shedule' to switch off; nearest: schedule [unknown-plugin]\n"
        "  help: 'gaugebook plugins' lists them"
    ]


def test_cache_not_kept(say: Say, monkeypatch: pytest.MonkeyPatch) -> None:
    Path("taken").write_text("", "utf-8")
    monkeypatch.setenv(cache.VARIABLE, str(Path("taken").absolute()))
    status, told = say("size", "p.yaml", "--verbose")
    assert status == 0
    notes = [line for line in told if "[cache-not-kept]" in line]
    assert notes
    place = Path("taken").absolute()
    assert all(line.startswith(f"note: nothing could be kept at {place}/") for line in notes)
    assert all(line.endswith(": File exists [cache-not-kept]") for line in notes)


def test_book_changed(say: Say) -> None:
    book = gaugebook.open_book("yard")
    Path("yard.yaml").write_text(BOOK.replace("version: 1.0.0", "version: 1.0.1"), "utf-8")
    with pytest.raises(GaugebookError) as caught:
        book.written  # noqa: B018
    assert str(caught.value) == (
        "the files of yard were changed while they were in use [book-changed]\n  help: run it again"
    )
