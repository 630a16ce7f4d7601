"""Real modules through every NEC edition, and the cold voltage against a physical model of them.

The modules are those of the public table of the California Energy Commission that the library pvlib
carries. The reference for the voltage is pvlib's single-diode model with the parameters fitted to each
module (Dobos 2012, after De Soto 2006) at 1000 W/m2. What the books do is linear in temperature, with the
module's coefficient.

What differs, measured over the 21535 modules at -15 degC: the straight line lies between 3.1 % below and
2.5 % above the model for 98 of 100 modules (median 1.0 % below; the extremes 6.1 % below and 14.1 % above).
Nearly all of that is the model's own: to meet a module's power coefficient the fit changes its voltage
coefficient by the percentage `Adjust` of the table. With the coefficient changed likewise the line lies
0.06 % to 0.14 % above the model for every module, as it should: the voltage rises a little less than
linearly towards the cold.

`pytest -m whole_table` pushes every module through every edition; the ordinary suite takes a sample.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator, Sequence
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from gaugebook.diagnostics import Problems
from gaugebook.plugins import module_table
from gaugebook.session import Book, Result, open_book, read_project, size_source

numpy = pytest.importorskip("numpy")
pvsystem = pytest.importorskip("pvlib.pvsystem")

EDITIONS = ("nec-2008", "nec-2011", "nec-2014", "nec-2017", "nec-2020", "nec-2023")
SAMPLE = 32
"""Modules of the sample, evenly over the table; the extremes of every column come on top."""
TOGETHER = 100
"""Modules in one project."""
RATING_TEMPERATURE, COLD = 25, -15
FUSES = (1, 3, 6, 10, 15, 20, 25, 30)
"""Series fuse ratings in use: the table has none, so each module gets the next one its current asks for."""

ROOF = "setting: rooftop, in_sunlight: yes, height_above_roof: 1 in"

Module = dict[str, str]


@cache
def table() -> tuple[Module, ...]:
    """Every module; the two lines below the names of the columns are units and keys."""
    with module_table.table_path().open(encoding="utf-8-sig", newline="") as file:
        return tuple(csv.DictReader(file))[module_table.HEADER_LINES :]


def different(modules: Sequence[Module]) -> list[Module]:
    """One module for each set of the figures that a calculation uses."""
    columns = ("I_sc_ref", "V_oc_ref", "beta_oc", "I_mp_ref", "V_mp_ref")
    return list({tuple(module[column] for column in columns): module for module in modules}.values())


def sample() -> list[Module]:
    modules = table()
    extremes = [
        pick(modules, key=lambda module: number(module, column))
        for column in ("I_sc_ref", "V_oc_ref", "beta_oc", "Adjust")
        for pick in (min, max)
    ]
    return different([*modules[:: len(modules) // SAMPLE], *extremes])


def number(module: Module, column: str) -> float:
    return float(module[column])


def in_series(module: Module) -> int:
    """As many as stay below 600 V with a fifth to spare for the cold, at least one."""
    return max(1, int(600 / (1.2 * number(module, "V_oc_ref"))))


def project(modules: Sequence[Module]) -> Iterator[str]:
    """Each module as a single string in free air, and as three strings leaving together through a pipe of their own."""
    yield "gaugebook: project/1"
    yield f"site: {{ambient_high: 41 degC, ambient_low: {COLD} degC, occupancy: other_building}}"
    yield "modules:"
    for index, module in enumerate(modules):
        item = json.dumps(f"module-table: {module['Name']}", ensure_ascii=False)
        asked = 1.25 * 1.25 * number(module, "I_sc_ref")
        fuse = next(rating for rating in FUSES if rating >= asked)
        yield f"  m{index}: {{taken_from: {item}, maximum_series_fuse: {fuse} A}}"
    yield "circuits:"
    for index, module in enumerate(modules):
        common = f"role: pv_source, module: m{index}, modules_in_series: {in_series(module)}"
        for name, insulation, more in (
            ("single", "PV-wire", f"runs: [{{method: free_air, length: 10 m, {ROOF}}}]"),
            ("three", "THWN-2", f"strings: 3, runs: [{{raceway: pipe{index}, length: 10 m}}]"),
        ):
            conductor = f"conductor: {{material: copper, insulation: {insulation}}}, terminal_rating: 75 degC"
            yield f"  {name}{index}: {{{common}, {conductor}, {more}}}"
    yield "raceways:"
    for index in range(len(modules)):
        yield f"  pipe{index}: {{type: EMT, {ROOF}}}"


@cache
def book(edition: str) -> Book:
    return open_book(edition)


def size(modules: Sequence[Module], edition: str, folder: Path) -> Result:
    path = folder / "modules.yaml"
    path.write_text("\n".join(project(modules)), "utf-8")
    problems = Problems()
    return size_source(read_project(path, None, problems), book(edition), {}, problems)


def model_voltage(modules: Sequence[Module], temperature: float) -> Any:
    """Open-circuit voltage of each module at 1000 W/m2 and a cell temperature in degC, by pvlib."""
    columns = ("alpha_sc", "a_ref", "I_L_ref", "I_o_ref", "R_sh_ref", "R_s", "Adjust")
    fitted = [numpy.array([number(module, column) for module in modules]) for column in columns]
    return pvsystem.singlediode(*pvsystem.calcparams_cec(1000, temperature, *fitted))["v_oc"].to_numpy()


def hold(modules: Sequence[Module], edition: str, folder: Path) -> set[str]:
    """Every module gets a size, or fails a check that says by how much; its current is the factors of the code
    on its own, and its voltage the one the model explains. The sizes of three strings come back."""
    result = size(modules, edition, folder)
    sizes = set()
    for index, module in enumerate(modules):
        for circuit, strings in ((f"circuits.single{index}", 1), (f"circuits.three{index}", 3)):
            current = strings * number(module, "I_sc_ref") * 1.25
            assert result.value(f"{circuit}.maximum_current") == pytest.approx(current)
            assert result.value(f"{circuit}.required_before_conditions") == pytest.approx(1.25 * current)
            found = result.values[f"{circuit}.conductor_size"]
            assert found["value"] or (found["why"] and not found["undetermined"]), (module["Name"], found)
        sizes.add(str(found["value"]))
    for check in result.checks:
        assert check["passes"] is not None, check
        assert check["passes"] or (check["actual"] is not None and check["limit"] is not None), check
    expected = model_voltage(modules, COLD)
    for index, module in enumerate(modules):
        change = number(module, "beta_oc") * (COLD - RATING_TEMPERATURE)
        voltage = result.value(f"circuits.single{index}.maximum_voltage") / in_series(module)
        assert voltage == pytest.approx(number(module, "V_oc_ref") + change, rel=1e-8), module["Name"]
        as_fitted = voltage + change * number(module, "Adjust") / 100
        assert 1 <= as_fitted / expected[index] <= 1.002, module["Name"]
    return sizes


@pytest.mark.parametrize("edition", EDITIONS)
def test_a_sample_of_modules(edition: str, tmp_path: Path) -> None:
    assert len(hold(sample(), edition, tmp_path)) >= 4


@pytest.mark.whole_table
@pytest.mark.parametrize("edition", EDITIONS)
def test_every_module(edition: str, tmp_path: Path) -> None:
    modules = different(table())
    for start in range(0, len(modules), TOGETHER):
        hold(modules[start : start + TOGETHER], edition, tmp_path)


def test_what_the_straight_line_leaves_out() -> None:
    """The figures of the head of this file: plain coefficients against the model, over the whole table."""
    modules = table()
    rated = numpy.array([number(module, "V_oc_ref") for module in modules])
    change = numpy.array([number(module, "beta_oc") for module in modules])
    line = rated + change * (COLD - RATING_TEMPERATURE)
    low, middle, high = numpy.quantile(100 * (line / model_voltage(modules, COLD) - 1), [0.01, 0.5, 0.99])
    assert (round(low, 1), round(middle, 1), round(high, 1)) == (-3.1, -1.0, 2.5)


def printed_factors() -> dict[int, float]:
    """The book's table of cold-weather factors: the cold end of each band in degC, and its factor."""
    printed = book("nec-2008").rulebook.frozen["tables"]["cold_voltage_factor"]
    keys = printed["axes"][0]["keys"]
    return {int(keys[place]): float(factor) for (place,), factor in printed["cells"]}


def test_printed_factors_hold_the_middle_module() -> None:
    """At the cold end of each band the middle module of crystalline silicon lies between the factor of the
    band before and that of its own: a factor read wrong by two hundredths falls out. One module in ten."""
    factors = printed_factors()
    crystalline = [module for module in table() if module["Technology"] in ("Mono-c-Si", "Multi-c-Si")][::10]
    rated = numpy.array([number(module, "V_oc_ref") for module in crystalline])
    bands = sorted(factors.items(), reverse=True)
    assert len(bands) == 14 and bands[0] == (RATING_TEMPERATURE, 1)
    for (_, before), (temperature, factor) in pairwise(bands):
        middle = float(numpy.median(model_voltage(crystalline, temperature) / rated))
        assert before < middle <= factor, (temperature, middle)
