"""Design temperatures from a made-up year: the figures, what is said about them, and every bad line."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest

import gaugebook
from gaugebook.plugins.weather import exceeded_by, look_up

EPW_HEAD = """\
LOCATION,Larkmere,LK,ZZZ,made up,000000,45.00,-93.00,-6.0,250.0
DESIGN CONDITIONS,0
TYPICAL/EXTREME PERIODS,0
GROUND TEMPERATURES,0
HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0
COMMENTS 1,made up for a test
COMMENTS 2,
DATA PERIODS,1,1,Data,Sunday,1/1,12/31
"""
TMY3_HEAD = """\
000000,"LARKMERE",LK,-6.0,45.000,-93.000,250
Date (MM/DD/YYYY),Time (HH:MM),ETR (W/m^2),Dry-bulb (C),Dry-bulb source
"""
COLDEST, WARMEST = "-23.4", "36.6"


def hours() -> Iterator[tuple[datetime, str]]:
    """A smooth year, warmest in July, with one hour far below and one far above everything else."""
    for number in range(8760):
        when = datetime(2019, 1, 1) + timedelta(hours=number)
        season = -math.cos(2 * math.pi * (number / 8760 - 0.04))
        day = -math.cos(2 * math.pi * (when.hour - 3) / 24)
        text = f"{10 + 14 * season + 5 * day:.1f}"
        if when == datetime(2019, 1, 17, 6):
            text = COLDEST
        if when == datetime(2019, 7, 20, 15):
            text = WARMEST
        yield when, text


def epw(folder: Path, year: str = "2019") -> Path:
    lines = [f"{year},{w.month},{w.day},{w.hour + 1},60,?9,{t},5.0,60,99000" for w, t in hours()]
    path = folder / "larkmere.epw"
    path.write_text(EPW_HEAD + "\n".join(lines) + "\n", "utf-8")
    return path


def tmy3(folder: Path) -> Path:
    lines = [f"{w.month:02}/{w.day:02}/{1990 + w.month},{w.hour + 1:02}:00,0,{t},A" for w, t in hours()]
    path = folder / "larkmere.csv"
    path.write_text(TMY3_HEAD + "\n".join(lines) + "\n", "utf-8")
    return path


def by_hand(percent: float) -> Decimal:
    """The 744 hours of July, counted: the lowest one that no more than the share exceeds."""
    july = [Decimal(text) for when, text in hours() if when.month == 7]
    return min(value for value in july if sum(other > value for other in july) <= len(july) * percent / 100)


@pytest.mark.parametrize("make", [epw, tmy3])
def test_the_coldest_hour_and_the_warm_percentile(tmp_path: Path, make: object) -> None:
    path = make(tmp_path)  # type: ignore[operator]
    taken = look_up(path.name, tmp_path)
    assert taken.values == {"ambient_low": f"{COLDEST} degC", "ambient_high": f"{by_hand(2)} degC"}
    assert by_hand(2) < Decimal(WARMEST)


def test_the_percentage_is_stated_and_can_be_chosen(tmp_path: Path) -> None:
    epw(tmp_path)
    taken = look_up("larkmere.epw, 0.4 %", tmp_path)
    assert (
        taken.values["ambient_high"]
        == f"{by_hand(0.4)} degC"
        != look_up("larkmere.epw", tmp_path).values["ambient_high"]
    )
    assert "no more than 0.4 % of the July hours" in taken.says


def test_what_the_figures_are_and_are_not(tmp_path: Path) -> None:
    epw(tmp_path)
    taken = look_up("larkmere.epw", tmp_path)
    assert "8760 hours" in taken.says and "17 January, hour 7" in taken.says
    assert (
        "not a mean of yearly minima" in taken.says
        and "colder and hotter hours must be expected" in taken.says
    )
    assert f"{WARMEST} degC" in taken.says
    assert "typical year" not in taken.says, "all months are of one year"
    assert taken.source.startswith("larkmere.epw, EPW of Larkmere, LK, ZZZ, sha256:")


def test_a_year_of_many_years_is_called_typical(tmp_path: Path) -> None:
    tmy3(tmp_path)
    assert "months of 1991 to 2002" in look_up("larkmere.csv", tmp_path).says


def test_hours_without_a_reading_are_left_out_and_counted(tmp_path: Path) -> None:
    path = epw(tmp_path)
    path.write_text(path.read_text("utf-8").replace(f",{COLDEST},", ",99.9,"), "utf-8")
    taken = look_up("larkmere.epw", tmp_path)
    assert "1 hours without a reading are left out" in taken.says
    assert taken.values["ambient_low"] != f"{COLDEST} degC"


def test_the_lowest_that_few_enough_exceed() -> None:
    hundred = [Decimal(number) for number in range(1, 101)]
    assert exceeded_by(hundred, Decimal(2)) == 98
    assert exceeded_by(hundred, Decimal(0)) == 100
    assert exceeded_by(hundred, Decimal(100)) == 1


def refused(folder: Path, item: str = "larkmere.epw") -> list[tuple[str, int]]:
    with pytest.raises(gaugebook.Refused) as caught:
        look_up(item, folder)
    return [(fault.name, fault.span.line) for fault in caught.value.diagnostics if fault.span]


def test_every_bad_line_is_told(tmp_path: Path) -> None:
    path = epw(tmp_path)
    lines = path.read_text("utf-8").splitlines()
    lines[20], lines[30] = "2019,1,1", lines[30].replace(",60,?9,", ",60,?9,warm")
    lines[40] = lines[40].replace("2019,1,", "2019,13,")
    path.write_text("\n".join(lines), "utf-8")
    assert refused(tmp_path) == [("weather-line", 21), ("weather-line", 31), ("weather-line", 41)]


def test_half_a_year_is_none(tmp_path: Path) -> None:
    path = epw(tmp_path)
    path.write_text("\n".join(path.read_text("utf-8").splitlines()[:4000]), "utf-8")
    assert refused(tmp_path) == [("weather-hours", 1)]


def test_a_file_of_another_kind(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("It was warm.\n", "utf-8")
    assert refused(tmp_path, "notes.txt") == [("weather-header", 2)]
    assert refused(tmp_path, "nothing.epw") == [("file-unreadable", 1)]


PROJECT = """\
gaugebook: project/1
title: Boathouse roof
site:
  rulesets: [nec-2017]
  taken_from: "weather: larkmere.epw"
  occupancy: dwelling
modules:
  roof_module: {short_circuit_current: 10 A}
"""


def test_a_project_takes_them_and_the_result_says_so(tmp_path: Path) -> None:
    epw(tmp_path)
    project = tmp_path / "project.yaml"
    project.write_text(PROJECT, "utf-8")
    result = gaugebook.size(project)
    (taken,) = result.data["taken"]
    assert (taken["thing"], taken["catalogue"], taken["item"]) == ("site", "weather", "larkmere.epw")
    assert taken["values"]["ambient_low"] == f"{COLDEST} degC"
    page = " ".join(gaugebook.render_text(result).split())
    assert "Taken from catalogues" in page and "not a mean of yearly minima" in page


def test_what_the_project_states_itself_stands(tmp_path: Path) -> None:
    epw(tmp_path)
    project = tmp_path / "project.yaml"
    project.write_text(PROJECT.replace("  occupancy", "  ambient_low: -30 degC\n  occupancy"), "utf-8")
    result = gaugebook.size(project)
    assert "ambient_low" not in result.data["taken"][0]["values"]
    assert result.source.data["site"]["ambient_low"] == "-30 degC"


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("weather: none_such.epw", "file-unreadable"),
        ("wether: larkmere.epw", "unknown-catalogue"),
        ("larkmere.epw", "catalogue-without-item"),
    ],
)
def test_what_cannot_be_taken_is_told_where_it_is_asked(tmp_path: Path, text: str, fault: str) -> None:
    project = tmp_path / "project.yaml"
    project.write_text(PROJECT.replace("weather: larkmere.epw", text), "utf-8")
    with pytest.raises(gaugebook.Refused) as caught:
        gaugebook.size(project)
    (found,) = caught.value.diagnostics
    assert found.name == fault
    assert found.span is not None
    assert found.span.file.endswith(".epw" if fault == "file-unreadable" else "project.yaml")
