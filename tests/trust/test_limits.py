"""No ruleset and no project leads out of its folder, or takes more than is stated (DEVELOPERS.md, "Who is trusted").

Limits too great to reach in a test are lowered for it; the others are reached. Those of a YAML file are in
tests/engine/test_documents.py, tests/engine/test_units.py and the folders of tests/diagnostics, those of an
expression in tests/language/test_grammar.py, that of the cache in tests/fast/test_cache.py.
"""

from __future__ import annotations

import csv
import os
import re
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

import gaugebook
from gaugebook import (
    batch_run,
    cache,
    case_files,
    contents,
    diagnostics,
    documents,
    effort,
    evaluating,
    grammar,
    loading,
    planning,
    project,
    runtime,
    shelf,
    unit_table,
    varying,
    yamltree,
)
from gaugebook.batching import Batch, Job
from gaugebook.case_files import CaseTable
from gaugebook.diagnostics import GaugebookError, Problems, nearest
from gaugebook.grammar import SyntaxProblem, parse
from gaugebook.loading import shipped_units
from gaugebook.plugins import schedule, weather
from gaugebook.shelf import Shelf

HEAD = "gaugebook: ruleset/1\nid: yard\nversion: 1.0.0\ntitle: Yard\n"
KINDS = """\
kinds: {yard: {section: yard, one: yes}, box: {section: boxes}}
fields: {box.load: {unit: "1", default: 7}, yard.every: {links: box}}
"""
TRUSTED = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text("utf-8").partition("## Who is trusted")[2]
SIZE = Callable[[str, str], gaugebook.Result]


@pytest.fixture
def size(tmp_path: Path) -> SIZE:
    """Sizes a project under a ruleset, both given as text."""

    def sized(rules: str, things: str) -> gaugebook.Result:
        (tmp_path / "yard.yaml").write_text(HEAD + KINDS + rules, "utf-8")
        (tmp_path / "p.yaml").write_text(f"gaugebook: project/1\ntitle: p\n{things}", "utf-8")
        return gaugebook.size(tmp_path / "p.yaml", rulesets=["yard"], folders=[tmp_path])

    return sized


def test_the_limits_stated_are_those_in_force() -> None:
    mega, million = 1 << 20, 10**6
    stated = {
        "a YAML file": f"{documents.MOST_BYTES // mega} MiB, {yamltree.MOST_NODES:,} values, "
        f"{yamltree.DEEPEST} levels, {yamltree.MOST_ALIASES} aliases, {yamltree.MOST_DIGITS} digits a number",
        "an expression": f"{grammar.MAXIMUM_LENGTH:,} characters, {grammar.MAXIMUM_DEPTH} levels, "
        "exponents of two digits",
        "a file for a shipped plugin": f"plain, {documents.MOST_BYTES // mega} MiB, "
        f"{contents.MOST_UNPACKED // mega} MiB unpacked, {schedule.MOST_CELLS:,} cells",
        "a ruleset": f"{shelf.MOST_FILES} plain files",
        "a unit": f"{unit_table.MOST_FACTORS} factors, {unit_table.MOST_DIGITS} figures from its base",
        "a number worked out": f"{runtime.MOST_FIGURES} figures",
        "a project": f"{project.MOST_THINGS:,} things; {evaluating.MOST_STEPS // million} million steps, "
        f"one for each thing gone through and {evaluating.WORKED_OUT} for each value or candidate",
        "a program of its own for a batch": f"{planning.MOST_PLANNED:,} steps with its loops unrolled, "
        f"{effort.MOST_EFFORT // million} million worked through",
        "a block of columns": f"{batch_run.MOST_CELLS // million} million values",
        "faults told of one input": f"{diagnostics.MOST_FAULTS}; no nearest word among more than "
        f"{diagnostics.MOST_KNOWN} or for more than {diagnostics.LONGEST_WORD} characters",
        "a table of cases": f"{case_files.MOST_CHARACTERS // million} million characters",
        "the cache": f"{cache.MOST_FILES} files",
    }
    rows = re.findall(r"^\| (.*?) \| (.*?) \| `", TRUSTED.partition("| limit |")[2], re.MULTILINE)
    assert [name.partition(":")[0] for name, _ in rows] == [*stated]
    for (name, said), figures in zip(rows, stated.values(), strict=True):
        assert said.startswith(figures.replace(",000", " 000")), name


def refusal(ask: Callable[[], object]) -> tuple[str, str, str]:
    """Name, message and help of the last fault told."""
    with pytest.raises(GaugebookError) as caught:
        ask()
    last = caught.value.diagnostics[-1]
    return last.name, last.message, last.help or ""


# -- numbers


@pytest.mark.parametrize(
    ("rules", "reason"),
    [
        ("r: {of: box, unit: '1', is: (((load ^ 99) ^ 99) ^ 99) ^ 99}", "a power that is too great"),
        ("r: {of: box, unit: '1', is: (load ^ 99) ^ 2}", "a number that is too great or too small"),
        ("r: {of: box, unit: '1', is: 1 / (load ^ 99) ^ 2}", "a number that is too great or too small"),
        ("q: {of: box, unit: '1', is: load ^ 99}\n  r: {of: box, unit: '1', is: q * q}",
         "a number that is too great or too small"),
        ("r: {of: box, unit: '1', is: 'power(load, 10000000)'}", "a power that is too great"),
    ],
)  # fmt: skip
def test_a_number_that_grows_without_end_is_no_value(size: SIZE, rules: str, reason: str) -> None:
    result = size(f"rules:\n  {rules}\n", "boxes: {a: {}}\n")
    assert result.value("boxes.a.r") is None
    thing = result.run.things["boxes.a"]
    assert thing.memo["r"].reasons == (reason,)
    assert thing.memo["r"].void


def test_a_number_within_the_limit_is_one(size: SIZE) -> None:
    result = size("rules: {r: {of: box, unit: '1', is: load ^ 99 * load ^ 10}}\n", "boxes: {a: {}}\n")
    assert result.value("boxes.a.r") == pytest.approx(7.0**109)


def test_a_unit_that_is_far_from_all_others_is_none() -> None:
    units = shipped_units()
    assert units.unit("km9").scale == 10**27
    assert refusal(lambda: units.unit("km99*mm2")) == (
        "unit-astray",
        "'km99*mm2' and the base unit of its kind are more than 50 figures apart",
        "lower its powers",
    )


def test_a_unit_of_many_factors_is_none() -> None:
    units = shipped_units()
    assert units.unit("*".join(["m"] * 8)).text
    assert refusal(lambda: units.unit("*".join(["m"] * 9)))[0] == "bad-unit"


def test_an_exponent_has_two_figures() -> None:
    assert parse("load ^ 99")
    with pytest.raises(SyntaxProblem) as caught:
        parse("load ^ 100")
    assert caught.value.name == "exponent-not-whole"


# -- work

NESTED = "sum of (" * 5 + "load" + ") over yard.every" * 5
PICKS = "x6 > 8 + 0 * sum of load over yard.every"
for level in range(5, 0, -1):
    PICKS = f"(first x{level + 1} in s where {PICKS}) > 8 and x{level} > 8"
CHOICES = """\
series: {steps: {unit: "1", members: [1, 2, 3, 4, 5, 6, 7, 8, 9, 10]}}
choices: {a: {of: box, from: steps}, b: {of: box, from: steps}, c: {of: box, from: steps}, d: {of: box, from: steps}}
checks:
  ka: {of: box, constrains: a, require: a + 0 * b > 9}
  kb: {of: box, constrains: b, require: b + 0 * a + 0 * c > 9}
  kc: {of: box, constrains: c, require: c + 0 * a + 0 * b + 0 * d > 9}
  kd: {of: box, constrains: d, require: d + 0 * a + 0 * b + 0 * c > 9}
"""
TOO_MUCH = (
    "too-much-work",
    "working this out takes more than 10000 steps",
    "make the project smaller; where it is small, a rule or choice asks for the same things over and over",
)


MULTIPLIED = pytest.mark.parametrize(
    "rules",
    [
        f"rules: {{r: {{of: yard, unit: '1', is: {NESTED}}}}}\nchecks: {{k: {{of: yard, require: r > 1}}}}\n",
        f"checks: {{k: {{of: yard, require: {NESTED} > 1}}}}\n",
        f"series: {{s: {{unit: '1', members: [1, 2, 3, 4, 5, 6, 7, 8, 9]}}}}\n"
        f"rules: {{r: {{of: yard, unit: '1', is: first x1 in s where {PICKS}}}}}\n"
        "checks: {k: {of: yard, require: r > 1}}\n",
        CHOICES,
    ],
    ids=["sums within sums", "in a check", "picks within picks", "choices that lean on each other"],
)
NAMES = [f"b{number}" for number in range(20)]
BOXES = f"yard: {{every: [{', '.join(NAMES)}]}}\nboxes:\n" + "".join(f"  {name}: {{}}\n" for name in NAMES)


@MULTIPLIED
def test_work_that_multiplies_is_given_up(size: SIZE, monkeypatch: pytest.MonkeyPatch, rules: str) -> None:
    monkeypatch.setattr(evaluating, "MOST_STEPS", 10_000)
    assert refusal(lambda: size(rules, BOXES)) == TOO_MUCH


@pytest.fixture
def batch(tmp_path: Path) -> Callable[..., Batch]:
    """A batch with programs of its own that varies one box, of a project under a ruleset, both given as text."""

    def made(rules: str, things: str, header: str = "boxes.b0.load [1]") -> Batch:
        (tmp_path / "yard.yaml").write_text(HEAD + KINDS + rules, "utf-8")
        (tmp_path / "p.yaml").write_text(f"gaugebook: project/1\ntitle: p\n{things}", "utf-8")
        stacks, folders = (("yard",),), (str(tmp_path),)
        return Batch(Job(str(tmp_path / "p.yaml"), (header,), stacks, folders=folders, special=True))

    return made


@MULTIPLIED
def test_no_program_is_made_where_work_multiplies(
    batch: Callable[..., Batch], monkeypatch: pytest.MonkeyPatch, rules: str
) -> None:
    monkeypatch.setattr(evaluating, "MOST_STEPS", 10_000)
    monkeypatch.setattr(planning, "MOST_PLANNED", 10_000)
    monkeypatch.setattr(effort, "MOST_EFFORT", 1_000_000)
    made = batch(rules, BOXES)
    assert made.lacking == [("yard", "program")]
    (row,) = made.size([["3"]]).rows
    assert row[-1] == TOO_MUCH[1]


@pytest.mark.parametrize(("limit", "enough"), [("planning.MOST_PLANNED", 423), ("effort.MOST_EFFORT", 425)])
def test_a_program_is_made_up_to_the_limit(
    batch: Callable[..., Batch], monkeypatch: pytest.MonkeyPatch, limit: str, enough: int
) -> None:
    """The check has a comparison, a number, and 20 sums of 20 figures with a sum of them, for each pair."""
    rules = "checks: {k: {of: yard, require: sum of (sum of load over yard.every) over yard.every > 2799}}\n"
    found = []
    for most in (enough - 1, enough):
        monkeypatch.setattr(f"gaugebook.{limit}", most)
        made = batch(rules, BOXES)
        found.append((made.lacking, [row[1] for row in made.size([["7"], ["6"]]).rows]))
    assert found == [([("yard", "program")], ["yes", "no"]), ([], ["yes", "no"])]


def test_the_things_of_a_sum_may_be_many(batch: Callable[..., Batch]) -> None:
    names = [f"b{number}" for number in range(5000)]
    things = f"yard: {{every: [{', '.join(names)}]}}\nboxes:\n" + "".join(
        f"  {name}: {{}}\n" for name in names
    )
    made = batch("checks: {k: {of: yard, require: sum of load over yard.every >= 35000}}\n", things)
    assert made.lacking == []
    assert [row[1] for row in made.size([["7"], ["6"], ["8"]]).rows] == ["yes", "no", "yes"]


def test_a_block_too_small_for_its_work_is_done_row_by_row(
    batch: Callable[..., Batch], monkeypatch: pytest.MonkeyPatch
) -> None:
    rules = "checks: {k: {of: yard, require: sum of load over yard.every > 139}}\n"
    monkeypatch.setattr(varying, "COLUMN_STEPS", 5)
    (template,) = batch(rules, BOXES).templates
    plan, columns, asked = template._graphs[()]._plan, template._columns, []
    assert plan is not None
    assert columns is not None
    monkeypatch.setattr(columns, "outcomes", lambda rows: asked.append(len(rows)) or [None] * len(rows))
    enough = 1 + effort.effort_of(plan) // 5
    for count in (enough - 1, enough):
        assert [outcome.passes for outcome in template.outcomes([["7"]] * count)] == [True] * count
    assert asked == [enough]


@pytest.mark.parametrize(("most", "kept"), [(22, 1), (66, 3), (20_000, 5)])
def test_few_graphs_of_a_large_project_are_kept(
    batch: Callable[..., Batch], monkeypatch: pytest.MonkeyPatch, most: int, kept: int
) -> None:
    """The yard and its 20 boxes; each row leads to other boxes."""
    monkeypatch.setattr(varying, "MOST_THINGS", most)
    rules = "checks: {k: {of: yard, require: sum of load over yard.every > 8}}\n"
    (template,) = batch(rules, BOXES, "yard.every").templates
    rows = [["b1"], ["b1;b2"], ["b2"], ["b3;b4;b5"], ["b6"], ["b1"]]
    assert [outcome.passes for outcome in template.outcomes(rows)] == [False, True, False, True, False, False]
    assert len(template._graphs) == kept


def test_a_block_has_fewer_rows_where_there_are_more_columns() -> None:
    rows = [batch_run._block(columns) for columns in (0, 1, 500, 10_000, 10**6)]
    assert rows == [batch_run.BLOCK, batch_run.COLUMN_BLOCK, batch_run.COLUMN_BLOCK, 1677, batch_run.BLOCK]


def test_no_shipped_example_comes_near_the_limit_of_work() -> None:
    example = Path(__file__).parents[2] / "examples" / "carport.yaml"
    run = gaugebook.size(example).run
    assert 0 < run._steps < evaluating.MOST_STEPS / 100


def test_no_shipped_example_comes_near_the_limits_of_a_plan() -> None:
    example = Path(__file__).parents[2] / "examples" / "carport.yaml"
    (template,) = Batch(Job(str(example), ("site.ambient_high [degC]",), special=True)).templates
    plan = template._graphs[()]._plan
    assert plan is not None
    assert 0 < len(plan.places) < planning.MOST_PLANNED / 100
    assert 0 < effort.effort_of(plan) < effort.MOST_EFFORT / 10


# -- how many


def test_too_many_things(size: SIZE, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(project, "MOST_THINGS", 3)
    boxes = "boxes: {a: {}, b: {}, c: {}, d: {}}\n"
    assert refusal(lambda: size("", boxes)) == (
        "too-many-things", "more than 3 things in one project", "split it into several projects"
    )  # fmt: skip


def test_too_many_faults(size: SIZE, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(diagnostics, "MOST_FAULTS", 5)
    boxes = "boxes:\n" + "".join(f"  b{number}: {{laod: 1}}\n" for number in range(20))
    with pytest.raises(GaugebookError) as caught:
        size("", boxes)
    *found, last = caught.value.diagnostics
    assert [fault.name for fault in found] == ["unknown-key"] * 5
    assert (last.name, last.message) == (
        "too-many-faults",
        "more than 5 faults; nothing was looked at after them",
    )
    assert last.help == "mend the first ones"


def test_faults_up_to_the_limit_are_all_told() -> None:
    problems = Problems()
    for number in range(diagnostics.MOST_FAULTS):
        problems.add("not-a-day", None, text=number)
    assert len(problems) == diagnostics.MOST_FAULTS


def test_no_nearest_word_is_looked_for_among_too_many() -> None:
    known = [f"name{number}" for number in range(diagnostics.MOST_KNOWN + 1)]
    assert nearest("nane7", known[:100])
    assert nearest("nane7", known) == []
    assert nearest("name7" * 100, ["name7" * 100 + "x"]) == []


def test_too_many_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(loading, "MOST_FILES", 2)
    place = tmp_path / "yard"
    place.mkdir()
    (place / "ruleset.yaml").write_text(HEAD, "utf-8")
    for name in "ab":
        (place / f"{name}.yaml").write_text(f"terms: {{{name}s: [x]}}\n", "utf-8")
    assert refusal(lambda: gaugebook.open_book("yard", folders=[tmp_path])) == (
        "too-many-files", "the ruleset has more than 2 files", "join those of one topic"
    )  # fmt: skip


# -- files of other formats


def too_large(size: int) -> tuple[str, str, str]:
    """What is said of a file of more than 4 MiB."""
    return (
        "file-too-large",
        f"the file has {size} bytes; the limit is {documents.MOST_BYTES}",
        "split it, where it is a ruleset: the files of a folder are read together",
    )


def test_a_large_file_is_no_weather(tmp_path: Path) -> None:
    (tmp_path / "year.epw").write_bytes(b"LOCATION,\n" * 1_000_000)
    assert refusal(lambda: weather.look_up("year.epw", tmp_path)) == too_large(10_000_000)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_neither_a_pipe_nor_a_device_is_weather(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "year.epw")
    said = ("file-unreadable", "the file cannot be read: it is no regular file", "")
    for name in ("year.epw", "/dev/zero"):
        assert refusal(lambda name=name: weather.look_up(name, tmp_path)) == said


def test_a_long_cell_is_no_weather(tmp_path: Path) -> None:
    (tmp_path / "year.epw").write_bytes(b"LOCATION," + b"x" * 3_000_000)
    before = csv.field_size_limit(1 << 20)  # what the standard library has, or less than a table of cases may
    try:
        assert refusal(lambda: weather.look_up("year.epw", tmp_path))[0] == "sheet-unreadable"
    finally:
        csv.field_size_limit(before)


@pytest.mark.parametrize(
    "text", ["label\nshort\n" + "x" * 1001, 'label\nshort\n"' + "x\n" * 501, "label\nshort\n" + "x," * 501]
)
def test_a_long_cell_or_line_is_no_case(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    monkeypatch.setattr(case_files, "MOST_CHARACTERS", 1000)
    (tmp_path / "cases.csv").write_text(text, "utf-8")
    before = csv.field_size_limit(1000)
    try:
        found = CaseTable(tmp_path / "cases.csv").rows()
        assert next(found) == ["short"]
        with pytest.raises(GaugebookError) as caught:
            next(found)
    finally:
        csv.field_size_limit(before)
    (fault,) = caught.value.diagnostics
    assert (fault.name, fault.message) == (
        "case-cell-too-long", "a cell or a line has more than 1000 characters"
    )  # fmt: skip
    assert fault.span is not None
    assert fault.span.line >= 3


def test_the_limit_of_a_cell_is_in_force() -> None:
    assert csv.field_size_limit() == case_files.MOST_CHARACTERS == 1 << 24


def test_a_large_schedule_is_none(tmp_path: Path) -> None:
    (tmp_path / "p.csv").write_bytes(b"circuit,role\n" + b"a,b\n" * 1_200_000)
    assert refusal(lambda: gaugebook.size(tmp_path / "p.csv")) == too_large(4_800_013)


def workbook(path: Path, sheet: str, more: int = 0) -> Path:
    """A spreadsheet with the rows of one sheet as they stand in the file, and so many noughts beside them."""
    openpyxl = pytest.importorskip("openpyxl", reason="the optional extra 'spreadsheet' is part of 'test'")
    plain = path.with_name("plain.xlsx")
    openpyxl.Workbook().save(plain)
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    with zipfile.ZipFile(plain) as old, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            text = f'<worksheet xmlns="{main}"><sheetData>{sheet}</sheetData></worksheet>'.encode()
            new.writestr(name, text if name == "xl/worksheets/sheet1.xml" else old.read(name))
        new.writestr("more.bin", b"0" * more)
    return path


CELL = '<row r="{row}"><c r="{column}{row}"><v>1</v></c></row>'


@pytest.mark.parametrize(
    ("sheet", "more", "fault", "message"),
    [
        (CELL.format(row=1, column="A"), 1 << 26, "unpacks-too-large", "; the limit is 67108864"),
        (CELL.format(row=1048576, column="XFD"), 0, "too-many-values", "more than 400000 values in one file"),
        ("".join(CELL.format(row=row, column="XFD") for row in range(1, 30)), 0, "too-many-values",
         "more than 400000 values in one file"),
    ],
    ids=["a bomb", "a cell far below", "cells far to the right"],
)  # fmt: skip
def test_a_spreadsheet_that_grows_is_none(
    tmp_path: Path, sheet: str, more: int, fault: str, message: str
) -> None:
    path = workbook(tmp_path / "p.xlsx", sheet, more)
    assert path.stat().st_size < 100_000
    for ask in (lambda: gaugebook.size(path), lambda: CaseTable(path)):
        name, said, _ = refusal(ask)
        assert name == fault
        assert said.endswith(message)


def test_a_spreadsheet_within_the_limits_is_read(tmp_path: Path) -> None:
    rows = "".join(CELL.format(row=row, column="XFD") for row in range(1, 20, 2))
    table = CaseTable(workbook(tmp_path / "p.xlsx", rows, 1000))
    assert [row[-1] for row in table.rows()] == ["1"] * 9


# -- which files


def test_folders_of_a_ruleset_may_lie_deep(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = tmp_path / "yard"
    place.mkdir()
    (place / "ruleset.yaml").write_text(HEAD, "utf-8")
    monkeypatch.chdir(place)
    depth = 1500
    for _ in range(depth):
        Path("d").mkdir()
        os.chdir("d")
    assert [*gaugebook.open_book("yard", folders=[tmp_path]).stack] == ["yard"]
    for _ in range(depth):  # too deep for those who clear up
        os.chdir("..")
        Path("d").rmdir()


def test_a_link_to_a_folder_is_not_followed(tmp_path: Path) -> None:
    place = tmp_path / "yard"
    (place / "more").mkdir(parents=True)
    (tmp_path / "elsewhere").mkdir()
    (place / "ruleset.yaml").write_text(HEAD, "utf-8")
    for folder, word in ((place / "more", "here"), (tmp_path / "elsewhere", "there")):
        (folder / "words.yaml").write_text(f"terms: {{{word}: [x]}}\n", "utf-8")
    for name, to in (("again", place), ("out", tmp_path / "elsewhere")):
        try:
            (place / name).symlink_to(to, target_is_directory=True)
        except OSError:
            pytest.skip("no links here")
    assert [*gaugebook.open_book("yard", folders=[tmp_path]).rulebook.frozen["terms"]] == ["here"]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_a_pipe_in_a_ruleset_is_not_waited_for(tmp_path: Path) -> None:
    place = tmp_path / "yard"
    place.mkdir()
    (place / "ruleset.yaml").write_text(HEAD, "utf-8")
    os.mkfifo(place / "more.yaml")
    assert refusal(lambda: gaugebook.open_book("yard", folders=[tmp_path])) == (
        "no-regular-file", "this is no regular file", "a ruleset is made of plain files"
    )  # fmt: skip


@pytest.mark.parametrize(
    "id",
    [
        "../outside/yard",
        "..",
        ".",
        "",
        "{outside}/yard",
        "yard/../../outside/yard",
        "..\\outside\\yard",
        "x\0",
    ],
)
def test_the_name_of_a_ruleset_is_no_path(tmp_path: Path, id: str) -> None:
    outside, inside = tmp_path / "outside", tmp_path / "inside"
    for folder in (outside / "yard", inside):
        folder.mkdir(parents=True)
        (folder / "ruleset.yaml").write_text(HEAD, "utf-8")
    name = id.format(outside=outside)
    assert Shelf([inside]).place(name) is None
    assert refusal(lambda: gaugebook.open_book(name, folders=[inside]))[0] == "unknown-ruleset"


@pytest.mark.parametrize("key", ["extends", "borrow"])
def test_neither_a_project_nor_a_ruleset_names_one_by_its_path(tmp_path: Path, key: str) -> None:
    inside = tmp_path / "inside"
    inside.mkdir()
    (tmp_path / "other.yaml").write_text(HEAD.replace("yard", "other") + "terms: {words: [a, b]}\n", "utf-8")
    path = tmp_path / "inside" / "p.yaml"
    path.write_text("gaugebook: project/1\nsite: {rulesets: [../other]}\n", "utf-8")
    assert refusal(lambda: gaugebook.size(path, folders=[inside]))[0] == "unknown-ruleset"
    asks = {"extends": "extends: ../other\n", "borrow": "amend: [{borrow: terms/words, from: ../other}]\n"}
    (inside / "yard.yaml").write_text(HEAD + asks[key], "utf-8")
    assert refusal(lambda: gaugebook.open_book("yard", folders=[inside]))[0] == "unknown-ruleset"
