"""The plugin as installed: its layer, its function, its cutting list. Installing it was the only step."""

from __future__ import annotations

import subprocess
import sys
from decimal import Decimal
from pathlib import Path

import pytest
from brackwater_cable.cutting import Piece, packed
from brackwater_cable.pulling import pulling_tension

import gaugebook

SHED = Path(__file__).parent / "shed.yaml"


def call(*arguments: str) -> subprocess.CompletedProcess[str]:
    """Run the program."""
    command = [sys.executable, "-m", "gaugebook", *arguments]
    return subprocess.run(command, capture_output=True, text=True, timeout=120)


@pytest.fixture(autouse=True)
def test_mode(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every answer of the function is checked in full."""
    monkeypatch.setenv("GAUGEBOOK_TEST", "1")


@pytest.fixture(scope="module")
def shed() -> gaugebook.Result:
    return gaugebook.size(SHED)


def test_it_is_installed_and_found() -> None:
    said = call("plugins")
    assert (said.returncode, said.stderr) == (0, "")
    assert "gaugebook-brackwater" in said.stdout
    assert "cutting-list" in said.stdout


def test_the_cases_of_the_layer_hold() -> None:
    said = call("ruleset", "test", "brackwater-2026")
    assert said.returncode == 0, said.stdout + said.stderr
    assert "5 cases, 5 pass, 0 fail" in said.stdout


def test_the_shed_passes_under_the_layer(shed: gaugebook.Result) -> None:
    assert shed.passes is True
    assert shed.value("circuits.array.conductor_size") == "10 AWG"
    assert shed.value("circuits.array.corrected_ampacity") == pytest.approx(33.06)
    assert shed.book.stack[-1] == "brackwater-2026"


def test_the_tension_is_in_the_result(shed: gaugebook.Result) -> None:
    """0.078 kg/m x 30 m x 9.80665 m/s2 x 0.35, times e^(0.35 x 3 x pi/2)."""
    value = shed.values["circuits.array.runs[0].pulling_tension"]
    assert value["value"] == pytest.approx(8.0316 * 5.2037, rel=1e-4)
    assert value["unit"] == "N"


def test_a_straight_pull_is_weight_times_friction() -> None:
    assert pulling_tension(Decimal(100), Decimal(10), Decimal("0.5"), Decimal(0)) == Decimal("4.903325")


def test_a_size_that_is_not_made_is_passed_over(tmp_path: Path) -> None:
    project = tmp_path / "heavy.yaml"
    text = SHED.read_text("utf-8").replace("short_circuit_current: 10.2 A", "short_circuit_current: 34 A")
    project.write_text(text, "utf-8")
    made = gaugebook.size(project)
    assert made.value("circuits.array.conductor_size") == "2 AWG"
    assert "3 AWG" in [other["value"] for other in made.values["circuits.array.conductor_size"]["rejected"]]


def test_the_cutting_list() -> None:
    said = call("size", str(SHED), "--format", "cutting-list")
    assert said.returncode == 0, said.stderr
    assert said.stdout.count("circuits.array") == 2
    assert "43.5 m" in said.stdout, "42 m and two ends"
    assert "9.0 m" in said.stdout, "7.2 m and two ends, rounded up to the half metre"


def test_drums_are_as_short_as_the_pieces_allow() -> None:
    lengths = [43.5, 43.5, 9, 9]
    drums = packed([Piece("c", "14 AWG", Decimal(str(length))) for length in lengths])
    assert [drum.length for drum in drums] == [100, 100]
    assert sum(len(drum.pieces) for drum in drums) == len(lengths)
    assert all(drum.left >= 0 for drum in drums)


def test_a_piece_longer_than_any_drum_is_made_to_order() -> None:
    assert [drum.length for drum in packed([Piece("c", "2 AWG", Decimal("612.5"))])] == [613]


def test_without_the_plugin_the_layer_is_unknown() -> None:
    said = call("size", str(SHED), "--without-plugin", "brackwater")
    assert said.returncode == 2
    assert "brackwater-2026" in said.stderr
