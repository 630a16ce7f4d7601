"""The tables of the NEC family against physics, for every edition.

The layers are flattened here with nothing but PyYAML, so that a fault of the engine and a fault of a table
cannot hide each other. Each check names the relation it stands on.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Iterator
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import yaml

RULESETS = Path(__file__).parents[2] / "rulesets"
EDITIONS = (2008, 2011, 2014, 2017, 2020, 2023)
FROM_2011 = EDITIONS[1:]
SECTIONS = ("tables", "series", "terms", "constants")
every_edition = pytest.mark.parametrize("edition", EDITIONS)

CELSIUS_20_COEFFICIENT = {"copper": 0.00393, "aluminum": 0.00403}
CONDUCTIVITY = {"copper": 1.0, "aluminum": 0.61}
"""Relative to the international annealed copper standard (IEC 60028): 100 % and 61 %."""
COPPER_OHM_CMIL_PER_FT = 10.371
"""Resistivity of that standard at 20 degC."""
LAY = {"dc_resistance": 1.02, "dc_resistance_solid": 1.00}
"""Extra length of the wires of a concentric strand (ASTM B8)."""


# -- the books, flattened


def documents(edition: int) -> Iterator[dict[str, Any]]:
    """Every part of one layer, all scalars as text."""
    for path in sorted((RULESETS / f"nec-{edition}").rglob("*.yaml")):
        if path.parent.name in SECTIONS:
            yield yaml.load(path.read_text(encoding="utf-8"), yaml.BaseLoader)


def listed(value: Any) -> list[Any]:
    return value if isinstance(value, list) else [value]


def amend(entries: dict[str, Any], operation: dict[str, Any]) -> None:
    """Apply one operation; only what it does to figures matters here."""
    if "remove" in operation:
        del entries[operation["remove"]]
    elif "replace" in operation:
        entries[operation["replace"]] = operation["with"]
    elif "set" in operation:
        entry = entries[operation["set"]]
        for cell in operation.get("cells", []):
            row = entry["rows"][cell["at"][0]]
            place = [listed(column) for column in entry["columns"]].index(cell["at"][1:])
            assert row[place] == cell["was"], (operation["set"], cell)
            row[place] = cell["to"]


@cache
def book(edition: int) -> dict[str, Any]:
    """The entries of an edition by id."""
    earlier = [year for year in EDITIONS if year < edition]
    entries = copy.deepcopy(book(earlier[-1])) if earlier else {}
    parts = list(documents(edition))
    assert parts, f"nec-{edition} has no tables"
    for part in parts:
        for section in SECTIONS:
            for name, body in (part.get(section) or {}).items():
                assert f"{section}/{name}" not in entries, name
                entries[f"{section}/{name}"] = copy.deepcopy(body)
    for part in parts:
        for operation in part.get("amend") or []:
            amend(entries, operation)
    return entries


def printed(edition: int, table: str) -> dict[tuple[str, ...], str]:
    """The cells of a table as written, dashes and missing ones left out."""
    body = book(edition)[f"tables/{table}"]
    columns = [tuple(listed(column)) for column in body.get("columns", [[]])]
    return {
        (row, *column): text
        for row, texts in body["rows"].items()
        for column, text in zip(columns, listed(texts), strict=True)
        if text not in ("-", "missing")
    }


def numbers(edition: int, table: str) -> dict[tuple[str, ...], float]:
    """The same as numbers; a table without any would make its checks empty, so it is refused."""
    cells = {at: float(text) for at, text in printed(edition, table).items()}
    assert cells, table
    return cells


def sizes(edition: int, name: str) -> dict[str, float]:
    """A property of the conductor sizes."""
    series = book(edition)["series/conductor_sizes"]
    return dict(zip(series["members"], map(float, series["properties"][name]["values"]), strict=True))


def half_step(text: str) -> float:
    """Half a unit of the last printed digit: what rounding may have taken."""
    return float(Decimal(1).scaleb(int(Decimal(text).as_tuple().exponent))) / 2


def two_figures(value: float) -> float:
    """Half a unit of the second significant figure."""
    return 10.0 ** (math.floor(math.log10(value)) - 1) / 2


def circle(diameter: float) -> float:
    return math.pi / 4 * diameter**2


# -- conductors


@every_edition
def test_areas_follow_the_wire_gauge(edition: int) -> None:
    """ASTM B258: the diameter in mils is 5 * 92^((36 - n) / 39), with n = 0, -1, -2, -3 for 1/0 to 4/0."""
    gauges = {name: area for name, area in sizes(edition, "area").items() if name.endswith("AWG")}
    assert len(gauges) == 15
    for name, area in gauges.items():
        word = name.removesuffix(" AWG")
        n = 1 - int(word.removesuffix("/0")) if word.endswith("/0") else int(word)
        assert area == pytest.approx((5 * 92 ** ((36 - n) / 39)) ** 2, rel=0.005), name


@every_edition
def test_metric_areas_are_the_circular_mils(edition: int) -> None:
    """One circular mil is pi/4 * (0.0254 mm)^2; kcmil sizes are named by their area."""
    metric = sizes(edition, "area_metric")
    for name, area in sizes(edition, "area").items():
        assert metric[name] == pytest.approx(area * circle(0.0254), rel=0.005), name
        if name.endswith("kcmil"):
            assert area == 1000 * float(name.removesuffix(" kcmil"))


@every_edition
@pytest.mark.parametrize("table", sorted(LAY))
def test_resistance_follows_from_resistivity(edition: int, table: str) -> None:
    """IEC 60028 resistivity, the coefficients at 20 degC, and the lay of the strand give R at 75 degC."""
    areas = sizes(edition, "area")
    for (size, material, coating), value in numbers(edition, table).items():
        if coating == "coated":
            continue
        warm = 1 + CELSIUS_20_COEFFICIENT[material] * 55
        ohm_per_kft = COPPER_OHM_CMIL_PER_FT / CONDUCTIVITY[material] * 1000 / areas[size] * warm * LAY[table]
        assert value == pytest.approx(ohm_per_kft, rel=0.015), (size, material)


@every_edition
@pytest.mark.parametrize("table", sorted(LAY))
def test_tinned_copper_resists_a_little_more(edition: int, table: str) -> None:
    """ASTM B33: the tin costs up to a few percent, the more the finer the wires."""
    cells = numbers(edition, table)
    coated = {at: value for at, value in cells.items() if at[2] == "coated"}
    assert coated
    for (size, material, _), value in coated.items():
        assert 1.02 < value / cells[size, material, "uncoated"] < 1.07, size


@every_edition
@pytest.mark.parametrize("material", ["copper", "aluminum"])
def test_coefficient_at_75_follows_from_the_one_at_20(edition: int, material: str) -> None:
    """The same straight line about another temperature: a75 = a20 / (1 + 55 a20)."""
    at_20 = CELSIUS_20_COEFFICIENT[material]
    stated = numbers(edition, "resistance_coefficient")[(material,)] / 100
    assert stated == pytest.approx(at_20 / (1 + 55 * at_20), abs=0.000005)


@every_edition
def test_bare_areas_are_circles(edition: int) -> None:
    """Geometry, within the printed thousandth of a square inch; 12 AWG is printed 0.006 for 0.00665."""
    areas = numbers(edition, "bare_conductor_area")
    diameters = numbers(edition, "bare_conductor_diameter")
    assert areas.keys() == diameters.keys()
    outside = {
        size
        for (size,), diameter in diameters.items()
        if areas[(size,)] != pytest.approx(circle(diameter), rel=0.002, abs=0.0005)
    }
    assert outside == {"12 AWG"}


@every_edition
def test_insulated_areas_are_circles(edition: int) -> None:
    """Geometry, for ordinary and compact conductors (whose diameters are metric)."""
    for prefix, inch in (("", 1.0), ("compact_", 25.4)):
        areas = numbers(edition, f"{prefix}conductor_area")
        diameters = numbers(edition, f"{prefix}conductor_diameter")
        assert areas.keys() == diameters.keys()
        for at, diameter in diameters.items():
            assert areas[at] == pytest.approx(circle(diameter / inch), rel=0.005), at


@every_edition
def test_insulation_surrounds_the_conductor(edition: int) -> None:
    """Geometry: insulated is thicker than bare, an outer covering adds to it, compact is thinner.

    Only 8 AWG of the TW-THW family is thicker when compact: Table 5A keeps its older, heavier wall.
    """
    bare = numbers(edition, "bare_conductor_diameter")
    diameters = numbers(edition, "conductor_diameter")
    for (size, family), diameter in diameters.items():
        assert diameter > bare[(size,)], (size, family)
        assert family == "RHH-RHW-covered" or diameter < diameters[size, "RHH-RHW-covered"]
    compact = numbers(edition, "compact_conductor_diameter")
    thicker = {at for at, millimetres in compact.items() if millimetres / 25.4 >= diameters[at]}
    assert thicker == {("8 AWG", "TW-THW")}


@every_edition
def test_compact_strands_are_about_nine_percent_thinner(edition: int) -> None:
    """Chapter 9 Table 8, notes: a compact strand measures some 9 % less than a concentric one."""
    bare = numbers(edition, "bare_conductor_diameter")
    for (size,), millimetres in numbers(edition, "compact_bare_diameter").items():
        assert millimetres / 25.4 / bare[(size,)] == pytest.approx(0.91, abs=0.02), size


# -- ambient temperature


def correction_tables() -> Iterator[tuple[int, str]]:
    for edition in EDITIONS:
        yield edition, "ambient_correction"
        if edition in FROM_2011:
            yield edition, "ambient_correction_40"
        if edition < 2020:
            yield edition, "pv_ambient_correction"
        else:
            yield edition, "pv_correction_high_temperature"


@pytest.mark.parametrize(("edition", "table"), list(correction_tables()))
def test_ambient_factors_are_the_heat_balance(edition: int, table: str) -> None:
    """Neher and McGrath, AIEE 1957: losses grow with I^2, so I goes with the root of the temperature rise.

    A printed factor belongs to the upper end of its band and is rounded to two places.
    """
    basis = float(book(edition)[f"tables/{table}"]["basis"]["ambient"].removesuffix(" degC"))
    for (band, rating), factor in numbers(edition, table).items():
        ambient, limit = float(band), float(rating)
        if (edition, table, band) == (2008, "ambient_correction", "20"):
            assert factor == 1  # nothing is printed there: no credit for cold
            continue
        law = math.sqrt((limit - ambient) / (limit - basis))
        assert factor == pytest.approx(law, abs=0.00501), (band, rating)


@pytest.mark.parametrize(("edition", "table"), list(correction_tables()))
def test_no_factor_where_the_ambient_reaches_the_rating(edition: int, table: str) -> None:
    """The same relation: no current may flow in a conductor that is as warm as it may be."""
    for band, rating in printed(edition, table):
        assert float(band) < float(rating)


# -- ampacity

OUTSIDE_THE_LAW = {
    ("ampacity_free_air", "2008"): {
        ("600 kcmil", "aluminum", "90"), ("800 kcmil", "aluminum", "60"), ("900 kcmil", "aluminum", "60"),
        ("1250 kcmil", "aluminum", "60"), ("2000 kcmil", "aluminum", "90"),
    },
    ("ampacity_free_air", "later"): {
        ("800 kcmil", "aluminum", "60"), ("900 kcmil", "aluminum", "60"), ("1250 kcmil", "aluminum", "60"),
    },
}  # fmt: skip
"""Cells known to lie off the square-root law by more than rounding to 5 A explains."""


@every_edition
@pytest.mark.parametrize("table", ["ampacity_in_raceway", "ampacity_free_air"])
def test_ampacity_columns_follow_the_75_degree_column(edition: int, table: str) -> None:
    """Neher and McGrath again, with R at each temperature; both cells are rounded to 5 A."""

    def scaled(ampacity: float, material: str, rating: float) -> float:
        resistance = [1 + CELSIUS_20_COEFFICIENT[material] * (hot - 20) for hot in (75, rating)]
        return ampacity * math.sqrt((rating - 30) / (75 - 30) * resistance[0] / resistance[1])

    cells = numbers(edition, table)
    outside = set()
    for (size, material, rating), value in cells.items():
        middle = cells.get((size, material, "75"))
        if middle is None or rating == "75":
            continue
        low, high = (scaled(middle + step, material, float(rating)) + step for step in (-2.5, 2.5))
        if not low <= value <= high:
            outside.add((size, material, rating))
    known = OUTSIDE_THE_LAW.get((table, "2008" if edition == 2008 else "later"), set())
    assert outside == known


@pytest.mark.parametrize("edition", (2020, 2023))
def test_pv_ampacities_rise_steadily_from_105_to_125(edition: int) -> None:
    """The heat balance gives 1.08 to 1.10 for the ratio; printed to 1 A it runs from 1.05 to 1.09."""
    cells = numbers(edition, "pv_ampacity_high_temperature")
    for size, material, _ in cells:
        assert 1.05 <= cells[size, material, "125"] / cells[size, material, "105"] <= 1.10, size


@every_edition
def test_ampacity_grows_with_size_rating_and_conductivity(edition: int) -> None:
    """More metal, more heat allowed, less resistance: each must carry more."""
    order = book(edition)["series/conductor_sizes"]["members"]
    tables = ["ampacity_in_raceway", "ampacity_free_air", "ampacity_messenger"]
    if edition >= 2020:
        tables.append("pv_ampacity_high_temperature")
    for table in tables:
        cells = numbers(edition, table)
        for (size, material, rating), value in cells.items():
            larger = (v for (s, m, r), v in cells.items()
                      if (m, r) == (material, rating) and order.index(s) > order.index(size))  # fmt: skip
            assert all(value < other for other in larger), (table, size, material, rating)
            hotter = (v for (s, m, r), v in cells.items()
                      if (s, m) == (size, material) and float(r) > float(rating))  # fmt: skip
            assert all(value <= other for other in hotter), (table, size, material, rating)
            if material == "aluminum":
                assert value < cells.get((size, "copper", rating), math.inf), (table, size, rating)


@pytest.mark.parametrize(("table", "count"), [("ampacity_in_raceway", 15), ("ampacity_free_air", 13)])
def test_what_the_2011_revision_changed(table: str, count: int) -> None:
    """The complete lists of the revision: 15 and 13 cells, none of 310.16 in a 75 degC column."""
    before, after = printed(2008, table), printed(2011, table)
    changed = [at for at in before if before[at] != after[at]]
    assert len(changed) == count
    assert before.keys() == after.keys()
    if table == "ampacity_in_raceway":
        assert not [at for at in changed if at[2] == "75"]
    assert all(printed(edition, table) == after for edition in FROM_2011)


# -- impedance


@every_edition
def test_effective_impedance_is_made_of_resistance_and_reactance(edition: int) -> None:
    """Chapter 9 Table 9, note: Z = R cos + X sin, here at 0.85; every figure carries its own rounding."""
    reactance, impedance = printed(edition, "ac_reactance"), printed(edition, "effective_impedance_85")
    for at, text in printed(edition, "ac_resistance").items():
        size, _, conduit = at
        x, z = reactance[size, conduit], impedance[at]
        sine = math.sqrt(1 - 0.85**2)
        computed = 0.85 * float(text) + sine * float(x)
        rounding = 0.85 * two_figures(float(text)) + sine * half_step(x) + two_figures(float(z))
        assert float(z) == pytest.approx(computed, abs=rounding), at


@every_edition
def test_alternating_current_meets_no_less_resistance(edition: int) -> None:
    """Skin and proximity effect only add: equal to dc up to 3/0 AWG within rounding, never below it."""
    direct, areas = numbers(edition, "dc_resistance"), sizes(edition, "area")
    for (size, material, conduit), value in numbers(edition, "ac_resistance").items():
        plain = direct[size, material, "uncoated"]
        slack = two_figures(value) * 1.001
        assert value >= plain - slack, (size, material, conduit)
        if conduit == "PVC" and areas[size] <= areas["3/0 AWG"]:
            assert value <= plain + slack, (size, material)


@every_edition
def test_steel_conduit_raises_the_reactance(edition: int) -> None:
    """A magnetic pipe around the conductors links more flux; the printed ratio is about 1.25."""
    cells = numbers(edition, "ac_reactance")
    for size, _ in cells:
        assert cells[size, "PVC"] == cells[size, "aluminum"]
        assert cells[size, "steel"] / cells[size, "PVC"] == pytest.approx(1.25, abs=0.025), size


# -- raceways


@every_edition
def test_raceway_areas_are_circles(edition: int) -> None:
    """Geometry."""
    areas, diameters = numbers(edition, "raceway_area"), numbers(edition, "raceway_inside_diameter")
    assert areas.keys() == diameters.keys()
    for at, diameter in diameters.items():
        assert areas[at] == pytest.approx(circle(diameter), rel=0.005), at


# -- voltage, grounding, conditions


@every_edition
def test_cold_factors_follow_the_coefficient_of_silicon(edition: int) -> None:
    """Crystalline silicon loses 0.38 to 0.40 % of its open-circuit voltage per kelvin from 25 degC."""
    for (bound,), factor in numbers(edition, "cold_voltage_factor").items():
        for coefficient in (0.0038, 0.0040):
            assert factor == pytest.approx(1 + coefficient * (25 - float(bound)), rel=0.009), bound


@every_edition
def test_grounding_conductors_withstand_the_same_multiple(edition: int) -> None:
    """ICEA P-32-382: copper stands 1 A per 42.25 cmil for five seconds. From 200 A up every row stands about
    three times its device; aluminum needs about 1/0.61 of the area."""
    areas = sizes(edition, "area")
    cells = printed(edition, "grounding_conductor")
    for (device, material), size in cells.items():
        if material == "aluminum":
            assert 1.45 < areas[size] / areas[cells[device, "copper"]] < 1.80, device
        elif float(device) >= 200:
            assert areas[size] / 42.25 / float(device) == pytest.approx(3.14, rel=0.06), device
        else:
            assert areas[size] / 42.25 / float(device) > 3.14, device


@every_edition
@pytest.mark.parametrize("metal", ["copper", "aluminum"])
def test_electrode_conductors_grow_with_the_service(edition: int, metal: str) -> None:
    """The rows go up on both sides, and aluminum is two steps above copper."""
    order = book(edition)["series/conductor_sizes"]["members"]
    table = book(edition)[f"tables/grounding_electrode_conductor_ac_{metal}"]
    bounds = [float(row) for row in table["rows"] if row != "rest"]
    assert bounds == sorted(bounds)
    for column in (0, 1):
        ranks = [order.index(cells[column]) for cells in table["rows"].values()]
        assert ranks == sorted(set(ranks))
    assert all(order.index(aluminum) > order.index(copper) for copper, aluminum in table["rows"].values())


@every_edition
def test_more_conductors_and_less_height_are_never_better(edition: int) -> None:
    """Heat from neighbours and from the roof: both factors are monotonous."""
    factors = list(numbers(edition, "adjustment_factors").values())
    assert factors[0] == 1
    assert factors == sorted(factors, reverse=True)
    adders = list(numbers(edition, "rooftop_adder").values())
    assert adders[-1] == 0
    assert adders == sorted(adders, reverse=True)
