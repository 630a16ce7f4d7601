"""Batches: every row comes out as the project it stands for; no row is lost or written twice."""

import csv
import json
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

import gaugebook
from gaugebook import batch_run
from gaugebook.batching import Batch, Job, size_rows
from gaugebook.case_files import CaseTable
from gaugebook.cli import main
from gaugebook.documents import read
from gaugebook.loading import plain

Run = Callable[..., tuple[int, list[dict[str, str]], str, str]]


@pytest.fixture
def run(kept: Path, shelf: Path, project: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Run:
    """Runs a batch of a table given as text."""

    def call(table: str | None, *options: str) -> tuple[int, list[dict[str, str]], str, str]:
        cases, output = tmp_path / "cases.csv", tmp_path / "outcome.csv"
        if table is not None:
            cases.write_bytes(table.encode("utf-8", "surrogateescape"))
        status = main(
            ["batch", str(project), str(cases), "--output", str(output), "--rulesets", str(shelf), *options]
        )
        printed = capsys.readouterr()
        rows: list[dict[str, str]] = []
        if output.exists():
            with output.open(encoding="utf-8", errors="surrogateescape", newline="") as file:
                rows = list(csv.DictReader(file))
        return status, rows, printed.out, printed.err

    return call


def test_a_row_takes_its_cells_and_leaves_the_rest_as_the_template_has_it(run: Run) -> None:
    table = "case,hoists.east.load [kg],yard.heat [degF]\nfirst,20,\nsecond,,104\nthird,56,77\n"
    status, rows, out, err = run(table)
    assert status == 1
    assert [row["hoists.east.rope"] for row in rows] == ["medium", "medium", "thick"]
    assert [row["hoists.east.hook"] for row in rows] == ["20 kg", "20 kg", "50 kg"]
    assert [row["hoists.west.rope"] for row in rows] == ["thin"] * 3
    assert [row["case"] for row in rows] == ["first", "second", "third"]
    # a thick rope does not fit the first pulley
    assert [row["passes"] for row in rows] == ["yes", "yes", "no"]
    assert {row["error"] for row in rows} == {""}
    assert rows[2]["governing"] == "hoists.east.pulleys[0] passes_pulley"
    assert "3 rows: 2 pass, 1 fail, 0 undetermined, 0 bad" in out
    assert "carried through as labels, because they name no field: case" in err


def test_the_governing_check_fails_or_is_the_tightest(run: Run) -> None:
    table = "hoists.east.pulleys[0].width [mm],hoists.east.load [kg]\n19,20\n20,20\n200,20\n"
    status, rows, _, _ = run(table)
    assert status == 1
    assert [row["passes"] for row in rows] == ["no", "yes", "yes"]
    assert rows[0]["governing"] == rows[1]["governing"] == "hoists.east.pulleys[0] passes_pulley"
    assert float(rows[0]["margin"]) == -0.05
    assert rows[2]["governing"] == "hoists.east holds"


def test_where_nothing_passes_the_choice_is_empty(run: Run) -> None:
    status, rows, _, _ = run("hoists.west.load [kg],yard.heat [degC]\n70,20\n10,55\n")
    assert status == 1
    assert [row["passes"] for row in rows] == ["no", "no"]
    assert [row["hoists.west.rope"] for row in rows] == ["", ""]
    assert rows[1]["hoists.west.hook"] == "10 kg"


def test_a_choice_may_be_a_column(run: Run) -> None:
    status, rows, _, _ = run("hoists.east.rope,hoists.east.load [kg]\nthin,20\n,20\nthick,20\nthin,8\n")
    assert status == 1
    assert [row["passes"] for row in rows] == ["no", "yes", "no", "yes"]
    assert rows[0]["governing"] == "hoists.east holds"
    assert [row["hoists.east.rope"] for row in rows] == ["thin", "", "thick", "thin"]
    assert [row["hoists.east.rope chosen"] for row in rows] == ["thin", "medium", "thick", "thin"]


def test_bad_rows_come_through_with_their_reasons(run: Run) -> None:
    status, rows, out, err = run(
        "hoists.east.load [kg],yard.cover,hoists.east.wet,case\n"
        "20,roof,no,good\n"
        "much,roof,no,word\n"
        "-1,rof,maybe,three\n"
        "20,roof,no\n"
        "20,roof,no,long,er\n"
        "20 mm,roof,no,unit\n"
        "\n"
        "nan,roof,no,nan\n"
        "1e400,roof,no,huge\n"
        "20,ro\udcffof,no,bytes\n"
        "20,roof,no,last\n"
    )
    assert status == 2
    assert [row["case"] for row in rows] == [
        "good", "word", "three", "", "long", "unit", "nan", "huge", "bytes", "last",
    ]
    assert [row["passes"] for row in rows] == ["yes", *[""] * 8, "yes"]
    assert rows[1]["hoists.east.load [kg]"] == "much"
    assert rows[1]["error"] == "hoists.east.load [kg]: 'much' does not read as a quantity"
    for part in ("'load' is below 0 kg", "yard.cover: 'rof'", "hoists.east.wet: 'maybe'"):
        assert part in rows[2]["error"]
    assert "it has 3 cells and the header has 4" in rows[3]["error"]
    assert rows[4]["error"].endswith("(er)")
    assert rows[8]["yard.cover"] == "ro\udcffof"
    assert all(row["error"] for row in rows[1:-1])
    assert "10 rows: 2 pass, 0 fail, 0 undetermined, 8 bad" in out
    assert "row 2, column 'hoists.east.load [kg]': 'much'" in err


def test_of_very_many_bad_rows_only_some_are_told(run: Run) -> None:
    status, rows, _, err = run("hoists.east.load [kg]\n" + "x\n" * 300)
    assert (status, len(rows)) == (2, 300)
    assert err.count("[bad-case]") == batch_run.MOST_FAULTS
    assert f"{300 - batch_run.MOST_FAULTS} more rows" in err


@pytest.mark.parametrize(
    ("header", "name", "said"),
    [
        ("hoists.east.laod [kg]", "unknown-case-field", "nearest: hoists.east.load"),
        ("hoists.east.load [mm]", "wrong-kind-of-quantity", "mm"),
        ("hoists.east.load [kgg]", "unknown-unit", "kgg"),
        ("hoists.east.wet [kg]", "case-field-without-unit", "kg"),
        ("hoists.east.burden [kg]", "unknown-case-field", "burden"),
        ("yard.heat [degC],yard.heat [degC]", "case-column-twice", "yard.heat [degC]"),
        ("case,passes", "case-column-twice", "passes"),
    ],
)
def test_a_wrong_header_stops_before_anything_is_written(
    run: Run, tmp_path: Path, header: str, name: str, said: str
) -> None:
    status, rows, _, err = run(f"{header}\n1\n")
    assert status == 2
    assert f"[{name}]" in err
    assert said in err
    assert not rows
    assert not [path for path in tmp_path.iterdir() if path.name.startswith("outcome")]


def test_an_empty_table_is_none(run: Run) -> None:
    for table in ("", "\n", ",,\n1,2,3\n"):
        status, rows, _, err = run(table)
        assert (status, rows) == (2, [])
        assert "[case-without-header]" in err
    assert run("case\n")[:2] == (0, [])


def test_several_stacks_are_told_apart(run: Run) -> None:
    status, rows, _, _ = run(
        "yard.heat [degC],hoists.east.load [kg]\n25,20\n20,20\n",
        "--ruleset", "hoists", "--ruleset", "hoists+hoists-2",
    )
    assert status == 1
    assert [row["passes @ hoists"] for row in rows] == ["yes", "yes"]
    assert [row["passes @ hoists+hoists-2"] for row in rows] == ["no", "yes"]
    assert [row["hoists.east.rope @ hoists"] for row in rows] == ["medium", "medium"]
    assert [row["hoists.east.rope @ hoists+hoists-2"] for row in rows] == ["thick", "medium"]


def test_columns_may_tie_things_together(run: Run) -> None:
    status, rows, _, _ = run("hoists.west.next,case\neast,a\n,b\nwest,c\nnobody,d\neast,e\n")
    assert status == 2
    assert [bool(row["error"]) for row in rows] == [False, False, True, True, False]
    assert "leads back" in rows[2]["error"]
    assert "nobody" in rows[3]["error"]


def _overridden(data: dict[str, object], row: dict[str, str]) -> dict[str, object]:
    made = json.loads(json.dumps(data))
    for header, cell in row.items():
        if not cell or "." not in header.partition("[")[0]:
            continue
        name, _, unit = header.partition(" [")
        steps: list[str | int] = []
        for step in name.split("."):
            word, _, index = step.partition("[")
            steps += [word, int(index[:-1])] if index else [word]
        at = made
        for step in steps[:-1]:
            at = at[step] if isinstance(at, list) else at.setdefault(step, {})
        at[steps[-1]] = f"{cell} {unit[:-1]}" if unit else cell
    return made


def _random_rows(cells: Sequence[Callable[[random.Random], str]], count: int) -> list[list[str]]:
    chance = random.Random(7)
    return [["" if chance.random() < 0.15 else cell(chance) for cell in cells] for _ in range(count)]


def _agree(project: Path, job: Job, rows: list[list[str]], folder: Path) -> None:
    """Every row comes out as the project it stands for."""
    data = plain(read(project).data)
    made = size_rows(job, rows)
    columns = None
    for cells, row in zip(rows, made.rows, strict=True):
        changed = folder / "changed.yaml"
        changed.write_text(json.dumps(_overridden(data, dict(zip(job.header, cells, strict=True)))), "utf-8")
        folders = [Path(name) for name in job.folders]
        result = gaugebook.size(changed, list(job.stacks[0]) or None, folders=folders)
        if columns is None:
            columns = [name for name, value in result.values.items() if "rejected" in value]
        verdict = {True: "yes", False: "no", None: "undetermined"}[result.passes]
        at = len(job.header)
        assert row[at] == verdict, (cells, row)
        for name, cell in zip(columns, row[at + 3 : -1], strict=True):
            value = result.values[name]
            if "why" in value:
                expected = ""
            elif value["value"] is None:
                expected = "none"
            elif isinstance(value["value"], float):
                expected = f"{value['value']:g}" + (f" {value['unit']}" if value["unit"] else "")
            else:
                expected = str(value["value"])
            assert cell == expected, (name, cells, row)
        margins = [check["margin"] for check in result.checks if check["margin"] is not None]
        if result.passes and margins:
            assert float(row[at + 2]) == pytest.approx(min(margins), rel=1e-5, abs=1e-9)


def test_every_row_comes_out_as_the_project_it_stands_for(
    kept: Path, shelf: Path, project: Path, tmp_path: Path
) -> None:
    header = (
        "hoists.east.load [kg]", "yard.heat [degC]", "hoists.east.wet", "hoists.east.lifts",
        "hoists.east.pulleys[1].extra [kg]", "hoists.west.rope", "hoists.west.next",
    )
    rows = _random_rows([
        lambda chance: str(chance.choice([0, 5, 16, 20, 32, 64, chance.uniform(1, 90)])),
        lambda chance: str(chance.choice([20, 30, 30.0000001, 40, 50, 51])),
        lambda chance: chance.choice(["yes", "no"]),
        lambda chance: chance.choice(["1", "2", "1/2"]),
        lambda chance: str(chance.choice([0, 1.5])),
        lambda chance: chance.choice(["thin", "huge"]),
        lambda chance: "east",
    ], 60)
    _agree(project, Job(str(project), header, ((),), folders=(str(shelf),)), rows, tmp_path)


def test_the_example_roof_row_by_row(tmp_path: Path) -> None:
    project = Path(__file__).parents[2] / "examples" / "boathouse.yaml"
    header = (
        "site.ambient_high [degC]", "circuits.array.runs[0].length [m]", "circuits.array.conductor.material",
        "modules.roof_module.short_circuit_current [A]", "circuits.east_string.modules_in_series",
        "raceways.roof_pipe.height_above_roof [in]", "circuits.inverter_feed.conductor.size",
    )
    rows = _random_rows([
        lambda chance: str(chance.randint(20, 60)),
        lambda chance: str(chance.randint(1, 300)),
        lambda chance: chance.choice(["copper", "aluminum"]),
        lambda chance: str(round(chance.uniform(5, 16), 2)),
        lambda chance: str(chance.randint(6, 13)),
        lambda chance: chance.choice(["0.4", "7/8", "12", "40"]),
        lambda chance: chance.choice(["12 AWG", "8 AWG", "6 AWG"]),
    ], 10)
    _agree(project, Job(str(project), header, (("nec-2017",),)), rows, tmp_path)


SHARP = ["0", "16", "16.000000001", "15.999999999", "32", "64", "128", "160", "7.3"]
"""Loads on and beside the bounds at which one rope or hook gives way to the next."""


def test_a_program_of_its_own_gives_the_same_rows(kept: Path, shelf: Path, project: Path) -> None:
    header = (
        "hoists.east.load [kg]", "yard.heat [degC]", "hoists.east.wet", "hoists.east.lifts",
        "hoists.east.pulleys[1].extra [kg]", "hoists.west.rope", "hoists.east.pulleys[0].width [mm]",
        "hoists.west.load [kg]",
    )
    rows = _random_rows([
        lambda chance: chance.choice([*SHARP, "-1"]),
        lambda chance: chance.choice(["20", "30", "30.00000000001", "30.0000001", "40", "50", "51"]),
        lambda chance: chance.choice(["yes", "no"]),
        lambda chance: chance.choice(["1", "2", "1/2", "1/3"]),
        lambda chance: chance.choice(["0", "1.5"]),
        lambda chance: chance.choice(["thin", "huge"]),
        lambda chance: chance.choice(["10", "20", "40", "80", "81"]),
        lambda chance: chance.choice(SHARP),
    ], 1500)
    job = Job(str(project), header, (("hoists",), ("hoists", "hoists-2")), folders=(str(shelf),))
    batch = Batch(job._replace(special=True))
    assert not batch.lacking
    special, plain_rows = batch.size(rows), Batch(job).size(rows)
    assert special == plain_rows
    assert min(special.counts[:2]) > 50 and special.counts[3]


def test_the_example_roof_as_a_program_of_its_own() -> None:
    project = Path(__file__).parents[2] / "examples" / "boathouse.yaml"
    header = (
        "site.ambient_high [degC]", "circuits.array.runs[0].length [m]", "circuits.array.conductor.material",
        "modules.roof_module.short_circuit_current [A]", "circuits.east_string.modules_in_series",
        "raceways.roof_pipe.height_above_roof [in]", "circuits.inverter_feed.conductor.size", "site.occupancy",
    )
    rows = _random_rows([
        lambda chance: str(chance.randint(20, 60)),
        lambda chance: str(chance.randint(1, 300)),
        lambda chance: chance.choice(["copper", "aluminum"]),
        lambda chance: chance.choice(["8.96", "8.9600000001", "12.8", str(round(chance.uniform(5, 16), 2))]),
        lambda chance: str(chance.randint(6, 13)),
        lambda chance: chance.choice(["1/2", "7/8", "0.8750001", "12", "40"]),
        lambda chance: chance.choice(["12 AWG", "8 AWG", "6 AWG"]),
        lambda chance: chance.choice(["dwelling", "other_building"]),
    ], 80)
    job = Job(str(project), header, (("nec-2014",), ("nec-2020",)))
    batch = Batch(job._replace(special=True))
    assert not batch.lacking
    assert batch.size(rows) == Batch(job).size(rows)


def test_workers_change_nothing(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(batch_run, "BLOCK", 5)
    table = "hoists.east.load [kg]\n" + "".join(f"{number}\n" for number in range(40)) + "x\n"
    alone, several = run(table), run(table, "--workers", "2")
    assert alone[1] == several[1]
    assert [row["hoists.east.load [kg]"] for row in several[1]] == [*map(str, range(40)), "x"]


# --- stopping and going on ------------------------------------------------------------------------


def _table(rows: int) -> str:
    return "case,hoists.east.load [kg]\n" + "".join(f"{number},{number % 70}\n" for number in range(rows))


def test_a_killed_batch_goes_on_without_repeated_or_missing_rows(
    kept: Path, shelf: Path, project: Path, tmp_path: Path
) -> None:
    cases, output = tmp_path / "cases.csv", tmp_path / "outcome.csv"
    cases.write_text(_table(12_000), "utf-8")
    call = [
        sys.executable, "-m", "gaugebook", "batch", "--no-columns", str(project), str(cases), "--output", str(output),
        "--rulesets", str(shelf),
    ]
    part = tmp_path / "outcome.csv.part"
    killed = 0
    for _ in range(3):
        before = part.stat().st_size if part.exists() else 0
        process = subprocess.Popen(call, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        until = time.monotonic() + 60
        while process.poll() is None and time.monotonic() < until:
            if part.exists() and part.stat().st_size > before + 20_000:
                process.send_signal(signal.SIGKILL)
                killed += process.wait() == -signal.SIGKILL
                break
            time.sleep(0.005)
        process.wait()
    assert killed
    assert not output.exists()
    done = subprocess.run(call, capture_output=True, text=True, check=False)
    assert done.returncode == 1, done.stderr
    assert "going on after them" in done.stderr
    assert "12,000 rows" in done.stdout
    with output.open(newline="") as file:
        assert [row["case"] for row in csv.DictReader(file)] == [str(number) for number in range(12_000)]
    assert not part.exists()
    assert not (tmp_path / "outcome.csv.journal").exists()
    whole = tmp_path / "whole.csv"
    subprocess.run([*call[:-3], str(whole), *call[-2:]], check=False, capture_output=True)
    assert whole.read_bytes() == output.read_bytes()


def _stopped_after(blocks: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The next batch is interrupted, as by Ctrl-C, when it has done some blocks."""
    made = batch_run._made

    def stopping(*rest: object) -> object:
        for number, block in enumerate(made(*rest)):  # type: ignore[arg-type]
            if number == blocks:
                raise KeyboardInterrupt
            yield block

    monkeypatch.setattr(batch_run, "_made", stopping)


def test_interrupted_it_says_how_to_go_on(run: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    with monkeypatch.context() as patch:
        _stopped_after(2, patch)
        status, rows, _, err = run(_table(500))
    assert (status, rows) == (130, [])
    assert f"stopped after {2 * batch_run.BLOCK} rows" in err
    with (tmp_path / "outcome.csv.part").open("ab") as file:
        file.write(b"half a li")  # written, but not yet in the journal
    status, rows, _, err = run(None)
    assert status == 1
    assert f"holds {2 * batch_run.BLOCK} rows of the same batch" in err
    assert [row["case"] for row in rows] == [str(number) for number in range(500)]
    assert {row["error"] for row in rows} == {""}


@pytest.mark.parametrize("what", ["cases", "project", "book", "options"])
def test_the_rest_of_another_batch_is_not_continued(
    run: Run, monkeypatch: pytest.MonkeyPatch, project: Path, shelf: Path, what: str
) -> None:
    with monkeypatch.context() as patch:
        _stopped_after(2, patch)
        run(_table(300))
    options: list[str] = []
    if what == "project":
        project.write_text(project.read_text("utf-8").replace("heat: 25", "heat: 26"), "utf-8")
    elif what == "book":
        book = shelf / "hoists" / "ruleset.yaml"
        book.write_text(book.read_text("utf-8").replace("1.25 * load", "1.3 * load"), "utf-8")
    elif what == "options":
        options = ["--ruleset", "hoists-2"]
    _, rows, _, err = run(_table(299) if what == "cases" else None, *options)
    assert "belongs to another batch; starting anew" in err
    assert [row["case"] for row in rows] == [str(number) for number in range(299 if what == "cases" else 300)]


@pytest.mark.skipif(os.name != "posix", reason="locks of another kind")
def test_two_batches_do_not_write_one_output(run: Run, tmp_path: Path) -> None:
    import fcntl

    with (tmp_path / "outcome.csv.part").open("wb") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        status, _, _, err = run(_table(3))
    assert status == 2
    assert "[batch-running]" in err


def test_the_input_is_never_the_output(run: Run, tmp_path: Path) -> None:
    table = _table(3)
    status, _, _, err = run(table, "--output", str(tmp_path / "cases.csv"))
    assert status == 2
    assert "[output-is-input]" in err
    assert (tmp_path / "cases.csv").read_text("utf-8") == table


def test_columnar_files_give_the_same(run: Run, tmp_path: Path, shelf: Path, project: Path) -> None:
    pyarrow = pytest.importorskip("pyarrow")
    from pyarrow import parquet

    table = pyarrow.table({"case": ["a", None, "c"], "hoists.east.load [kg]": [20.0, None, 56.5]})
    parquet.write_table(table, tmp_path / "cases.parquet")
    output = tmp_path / "outcome.parquet"
    status = main(
        ["batch", str(project), str(tmp_path / "cases.parquet"), "--output", str(output),
         "--rulesets", str(shelf)]
    )
    assert status == 1
    made = parquet.read_table(output).to_pydict()
    assert made["case"] == ["a", None, "c"]
    assert made["hoists.east.load [kg]"] == [20.0, None, 56.5]
    _, rows, _, _ = run("case,hoists.east.load [kg]\na,20\n,\nc,56.5\n")
    assert made["hoists.east.rope"] == [row["hoists.east.rope"] for row in rows]
    assert made["margin"] == [float(row["margin"]) for row in rows]
    assert made["error"] == [None] * 3


def test_memory_does_not_grow_with_the_rows(
    kept: Path, shelf: Path, project: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import tracemalloc

    monkeypatch.setattr(batch_run, "COLUMN_BLOCK", batch_run.BLOCK)  # so that all of them are many blocks
    peaks = []
    for rows in (2000, 2000, 6000):
        cases = tmp_path / "cases.csv"
        cases.write_text(_table(rows), "utf-8")
        table = CaseTable(cases)
        job = Job(str(project), table.header, ((),), folders=(str(shelf),))
        tracemalloc.start()
        batch_run.run_batch(job, table, tmp_path / "outcome.csv", lambda told: None)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[2] < 1.1 * peaks[1]
