"""A circuit schedule as a project: the same answers as the YAML, and row and column of whatever is wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

import gaugebook
from gaugebook.cli import main
from gaugebook.diagnostics import Problems
from gaugebook.extending import extensions

openpyxl = pytest.importorskip("openpyxl", reason="the optional extra 'spreadsheet' is part of 'test'")

BOATHOUSE = Path(__file__).parents[2] / "examples" / "boathouse.yaml"

SCHEDULE = """\
[project]
title,Boathouse roof
[site]
rulesets,nec-2017
permit_date,2021-03-15
ambient_high (degC),41
ambient_low,-9 degC
occupancy,dwelling

[modules]
name,short_circuit_current [A],open_circuit_voltage [V],maximum_power_current [A],maximum_power_voltage [V],\
open_circuit_voltage_coefficient [%/K],maximum_series_fuse [A]
roof_module,10.42,48.6,9.81,40.7,-0.27,20
[inverters]
name,maximum_input_voltage [V],continuous_output_current [A],output_voltage [V],output_phases
garage_inverter,600,25,240,1
[circuits]
Circuit,Role,Module,Modules in series,Fed by,Inverter,conductor.material,conductor.insulation,\
Terminal rating (degC),Overcurrent device
east_string,pv_source,roof_module,11,,,copper,PV-wire,75,
west_string,pv_source,roof_module,11,,,copper,PV-wire,75,
array,pv_output,,,east_string; west_string,garage_inverter,copper,THWN-2,75,
inverter_feed,inverter_output,,,,garage_inverter,copper,THWN-2,75,breaker
[runs]
Circuit,Method,Setting,In sunlight,Height above roof [in],Length [m],Raceway
east_string,free_air,rooftop,yes,4,7,
west_string,free_air,rooftop,yes,4,9,
array,,,,,9,roof_pipe
array,,,,,6,wall_pipe
inverter_feed,,,,,5,feed_pipe
[raceways]
name,type,setting,in_sunlight,height_above_roof [in]
roof_pipe,EMT,rooftop,yes,1
wall_pipe,EMT,outdoor,,
feed_pipe,EMT,indoor,,
"""


def as_workbook(text: str, path: Path) -> Path:
    """The schedule as a spreadsheet, numbers as numbers and yes as true."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    sheet = None
    for line in text.splitlines():
        if line.startswith("["):
            sheet = book.create_sheet(line.strip("[]").title())
        elif line:
            cells: list[object] = []
            for cell in line.split(","):
                number = cell.replace(".", "", 1).lstrip("-").isdigit()
                cells.append(float(cell) if number else True if cell == "yes" else cell or None)
            assert sheet is not None
            sheet.append(cells)
    book.save(path)
    return path


def faults(path: Path) -> list[tuple[str, int, int]]:
    """Name, row and column of everything wrong with a schedule."""
    with pytest.raises(gaugebook.Refused) as caught:
        gaugebook.size(path)
    spans = [(fault.name, fault.span) for fault in caught.value.diagnostics]
    assert all(span is not None and str(path) in span.file for _, span in spans)
    return [(name, span.line, span.column) for name, span in spans if span is not None]


@pytest.fixture(scope="module")
def written() -> gaugebook.Result:
    return gaugebook.size(BOATHOUSE)


def test_csv_gives_the_answers_of_the_yaml(tmp_path: Path, written: gaugebook.Result) -> None:
    path = tmp_path / "boathouse.csv"
    path.write_text(SCHEDULE, "utf-8")
    made = gaugebook.size(path)
    assert made.values == written.values
    assert made.checks == written.checks
    assert made.data["project"]["title"] == "Boathouse roof"


def test_a_spreadsheet_gives_the_answers_of_the_yaml(tmp_path: Path, written: gaugebook.Result) -> None:
    made = gaugebook.size(as_workbook(SCHEDULE, tmp_path / "boathouse.xlsx"))
    assert made.values == written.values
    assert made.checks == written.checks


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_tabs_and_line_ends_are_fine(tmp_path: Path, written: gaugebook.Result, ending: str) -> None:
    path = tmp_path / "tabs.csv"
    path.write_bytes(
        SCHEDULE.replace("[project]\n", "").replace(",", "\t").replace("\n", ending).encode("utf-8-sig")
    )
    lines = path.read_bytes().decode("utf-8-sig").split(ending)
    path.write_bytes(ending.join(["[project]\t", *lines]).encode())
    assert gaugebook.size(path).values == written.values


@pytest.mark.parametrize(
    ("was", "to", "expected"),
    [
        ("array,pv_output", "array,pv_outputt", ("unknown-word", 20, 2)),
        ("wall_pipe,EMT", "wall_pipe,EMTT", ("unknown-word", 32, 2)),
        (",,9,roof_pipe", ",,9 s,roof_pipe", ("wrong-kind-of-quantity", 26, 6)),
        ("array,,,,,6", "arrax,,,,,6", ("sheet-row-of-nothing", 27, 1)),
        ("east_string; west_string", "east_string; north_string", ("unknown-thing", 20, 5)),
        ("west_string,pv_source", "east_string,pv_source", ("sheet-row-twice", 19, 1)),
        ("west_string,pv_source", ",pv_source", ("sheet-row-unnamed", 19, 1)),
        ("Length [m],Raceway", "Length [m],length (m)", ("sheet-header-twice", 23, 7)),
        ("feed_pipe,EMT,indoor,,", "feed_pipe,EMT,indoor,,,7", ("sheet-header-empty", 33, 6)),
        ("ambient_low,-9 degC", "ambient_low,-9 degC,x", ("sheet-header-empty", 7, 3)),
        ("ambient_low,-9 degC", "ambient_low,-9", ("missing-unit", 7, 2)),
        ("ambient_low,-9 degC", "ambient_high,-9 degC", ("sheet-row-twice", 7, 1)),
        ("Modules in series", "Modules in row", ("unknown-key", 17, 4)),
        ("[raceways]", "[circuits]", ("sheet-section-twice", 30, 1)),
        ("title,Boathouse roof", 'title,"Boathouse roof', ("sheet-unreadable", 2, 1)),
        ("title,Boathouse roof", "title,Boat\u202ehouse", ("control-character", 2, 2)),
        ("feed_pipe,EMT", "feed\ufeff_pipe,EMT", ("control-character", 33, 1)),
    ],
)
def test_faults_in_csv_have_row_and_column(
    tmp_path: Path, was: str, to: str, expected: tuple[str, int, int]
) -> None:
    path = tmp_path / "bad.csv"
    assert SCHEDULE.count(was) >= 1
    path.write_text(SCHEDULE.replace(was, to, 1), "utf-8")
    assert expected in faults(path)


def test_an_unknown_field_is_told_once_at_its_header(tmp_path: Path) -> None:
    path = tmp_path / "bad.csv"
    path.write_text(SCHEDULE.replace("Modules in series", "Modules in row"), "utf-8")
    assert ("unknown-key", 17, 4) in faults(path)
    assert [name for name, *_ in faults(path)].count("unknown-key") == 1


def test_all_faults_come_together(tmp_path: Path) -> None:
    path = tmp_path / "bad.csv"
    text = (
        SCHEDULE.replace("pv_output,", "pv_outputt,")
        .replace("wall_pipe,EMT", "wall_pipe,EMTT")
        .replace("array,,,,,6", "no,,,,,6")
    )
    path.write_text(text, "utf-8")
    assert [name for name, _, _ in faults(path)] == ["unknown-word", "sheet-row-of-nothing", "unknown-word"]


def test_faults_in_a_spreadsheet_name_the_sheet(tmp_path: Path) -> None:
    path = as_workbook(SCHEDULE.replace("wall_pipe,EMT", "wall_pipe,EMTT"), tmp_path / "bad.xlsx")
    with pytest.raises(gaugebook.Refused) as caught:
        gaugebook.size(path)
    (fault,) = caught.value.diagnostics
    assert str(fault.span) == f"{path}[Raceways]:3:2"


def test_a_formula_without_its_result_is_not_an_empty_cell(tmp_path: Path) -> None:
    path = as_workbook(SCHEDULE, tmp_path / "sums.xlsx")
    book = openpyxl.load_workbook(path)
    book["Runs"]["F2"] = "=3+4"
    book.save(path)
    assert faults(path) == [("sheet-formula", 2, 6)]


@pytest.mark.parametrize("name", ["broken.xlsx", "broken.csv"])
def test_what_is_no_table_at_all(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.write_bytes(b"\xff\xfe\x00nothing of the kind")
    assert [fault[1:] for fault in faults(path)] == [(1, 1)]


def test_a_bare_schedule_of_circuits(tmp_path: Path) -> None:
    path = tmp_path / "bare.csv"
    path.write_text("circuit,role,module\none,pv_source,none_such\n", "utf-8")
    with pytest.raises(gaugebook.Refused) as caught:
        gaugebook.size(path, ["nec-2017"])
    assert ("unknown-thing", 2, 3) in [
        (f.name, f.span.line, f.span.column) for f in caught.value.diagnostics if f.span
    ]


def test_a_table_of_designs(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.append(["site.ambient_high [degC]", "circuits.array.runs[0].length [m]"])
    book.active.append([41, 9.5])
    book.active.append([38.0, None])
    book.save(tmp_path / "designs.xlsx")
    _, reader = extensions().case_readers()[".xlsx"]
    rows = [list(row) for row in reader.read(tmp_path / "designs.xlsx", Problems())]
    assert rows[1:] == [["41", "9.5"], ["38", ""]]


def test_a_batch_from_a_spreadsheet_is_that_from_csv(tmp_path: Path) -> None:
    rows = [["site.ambient_high [degC]", "circuits.array.runs[0].length [m]"], ["41", "9"], ["52.5", "90"]]
    (tmp_path / "designs.csv").write_text("\n".join(",".join(row) for row in rows), "utf-8")
    book = openpyxl.Workbook()
    book.active.append(rows[0])
    for row in rows[1:]:
        book.active.append([float(cell) for cell in row])
    book.save(tmp_path / "designs.xlsx")
    made = []
    for name in ("designs.csv", "designs.xlsx"):
        output = tmp_path / f"{name}.out.csv"
        status = main(["batch", str(BOATHOUSE), str(tmp_path / name), "--output", str(output)])
        made.append((status, output.read_text("utf-8")))
    assert made[0] == made[1]
    assert len(made[0][1].splitlines()) == len(rows)


def test_a_table_of_a_kind_nobody_reads(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "designs.doc").write_text("a,b", "utf-8")
    output = tmp_path / "out.csv"
    assert main(["batch", str(BOATHOUSE), str(tmp_path / "designs.doc"), "--output", str(output)]) == 2
    assert ".csv, .parquet, .xlsx" in capsys.readouterr().err


@pytest.mark.parametrize(
    "cell", ["[" * 20_000, "a" + "( " * 10_000 + "x", "[a" + " " * 20_000 + "b,c", "a [" + " " * 20_000]
)
def test_brackets_without_end_take_no_time(tmp_path: Path, cell: str) -> None:
    path = tmp_path / "schedule.csv"
    path.write_text(f"[circuits]\n{cell}\none\n", "utf-8")
    with pytest.raises(gaugebook.Refused):
        gaugebook.size(path, ["nec-2017"])


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("[circuits]\nname,a,a.b\none,1,2\n", "sheet-header-inside"),
        ("[circuits]\nname,a.b,a\none,1,2\n", "sheet-header-twice"),
        ("[project]\nsite,1\n[site]\nheat,2\n", "sheet-section-twice"),
        ("[project]\ncircuits.a,1\n[circuits]\nname,a\none,1\n", "sheet-section-twice"),
        ("[project]\ncircuits,one\n[runs]\ncircuit,a\none,1\n", "sheet-row-of-nothing"),
        ("[circuits]\nname,runs\none,3\n[runs]\ncircuit,a\none,1\n", "sheet-header-inside"),
    ],
)
def test_a_value_that_is_also_a_group(tmp_path: Path, text: str, fault: str) -> None:
    path = tmp_path / "schedule.csv"
    path.write_text(text, "utf-8")
    with pytest.raises(gaugebook.Refused) as caught:
        gaugebook.size(path, ["nec-2017"])
    assert fault in [found.name for found in caught.value.diagnostics]
