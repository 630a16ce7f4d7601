"""The shipped layers of real and invented authorities: sound, sourced, true to their days."""

from __future__ import annotations

import copy
import datetime
import textwrap
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import gaugebook
from gaugebook import bench
from gaugebook.adopting import Adoption, Jurisdiction, read_jurisdiction
from gaugebook.casework import case_files, try_cases
from gaugebook.diagnostics import Problems
from gaugebook.entries import Layer
from gaugebook.linting import GROUNDED
from gaugebook.loading import as_list, load_layer
from gaugebook.shelf import Shelf

EDITIONS = ("nec-", "iec-", "bs-")
PLACES = {id: place for id, place in sorted(Shelf().places().items()) if not id.startswith(EDITIONS)}
INVENTED = ("larkmere-county-2020", "larkmere-2021")
REAL = [id for id in PLACES if id not in INVENTED]
JURISDICTIONS = sorted(Shelf().jurisdictions())
BINDS_NOBODY = ("model", "interpretation", "guidance")

PROJECT = """
gaugebook: project/1
title: A string, an inverter and a panel
site:
  ambient_high: 35 degC
  ambient_low: -9 degC
  occupancy: dwelling
  generating_capacity: 6 kW
modules:
  m:
    short_circuit_current: 10 A
    open_circuit_voltage: 40 V
    maximum_power_current: 9 A
    maximum_power_voltage: 33 V
    open_circuit_voltage_coefficient: -0.3 %/K
    maximum_series_fuse: 20 A
inverters:
  i: {continuous_output_current: 25 A, output_voltage: 240 V, output_phases: 1, maximum_input_voltage: 600 V}
circuits:
  string:
    role: pv_source
    module: m
    modules_in_series: 10
    inverter: i
    conductor: {material: aluminum, insulation: THWN-2}
    terminal_rating: 75 degC
    runs: [{raceway: pipe, length: 60 m}]
  out:
    role: inverter_output
    inverter: i
    conductor: {insulation: THWN-2}
    terminal_rating: 75 degC
    overcurrent_device: breaker
    runs: [{raceway: pipe, length: 5 m}]
raceways:
  pipe: {type: PVC-80, setting: rooftop, in_sunlight: yes, height_above_roof: 3 in}
busbars:
  panel: {rating: 200 A, main_rating: 200 A, fed_by: [out], supplies_many: no, source_position: elsewhere}
supply_connections:
  tap: {service_rating: 200 A}
"""


def layer_of(id: str) -> Layer:
    problems = Problems()
    layer = load_layer(PLACES[id], problems)
    problems.refuse_if_any()
    assert layer is not None
    return layer


def test_there_are_enough_of_them() -> None:
    assert len(REAL) >= 15
    assert len(JURISDICTIONS) >= 7


# -- sound, and no wider than what was read


@pytest.mark.parametrize("id", PLACES)
def test_it_is_sound_and_nothing_deserves_a_look(id: str) -> None:
    assert "worth a look" not in bench.check(id, [])


@pytest.mark.parametrize("id", JURISDICTIONS)
def test_a_jurisdiction_is_sound(id: str) -> None:
    assert "is sound" in bench.check(str(Shelf().jurisdictions()[id]), [])


@pytest.mark.parametrize("id", [id for id in JURISDICTIONS if id != "larkmere"])
def test_a_jurisdiction_says_where_it_was_read_and_what_is_unknown(id: str) -> None:
    place = read_jurisdiction(id, Shelf(), Problems())
    assert place is not None
    assert place.data["not_encoded"]
    sources = place.data["sources"]
    assert all({"what", "at", "read"} <= source.keys() for source in sources.values())
    for period in place.periods:
        assert period["transcription"] in ("second_hand", "recalled")
        assert set(as_list(period["source"])) <= sources.keys()
        assert "from" in period and ("until" in period or "note" in period)


@pytest.mark.parametrize("id", PLACES)
def test_its_cases_hold(id: str) -> None:
    assert case_files(PLACES[id])
    outcome = try_cases(id, PLACES[id])
    assert outcome.cases > 0
    assert [str(miss) for miss in outcome.misses] == []


@pytest.mark.parametrize("id", REAL)
def test_it_says_where_it_was_read_and_what_it_leaves_out(id: str) -> None:
    header = layer_of(id).header
    assert header["not_encoded"]
    assert all(part.keys() == {"cites", "what"} for part in header["not_encoded"])
    assert all({"what", "at", "read"} <= source.keys() for source in header["sources"].values())
    assert header["territory"]
    if header["standing"] in BINDS_NOBODY:
        assert header["force"] == "no"


@pytest.mark.parametrize("id", REAL)
def test_every_entry_and_every_change_says_how_well_it_was_read(id: str) -> None:
    """No copy of any of these laws was open: nothing is `checked`, and every entry touched names a source."""
    layer = layer_of(id)
    stated = [(entry.id, entry.body) for entry in layer.entries if entry.section in GROUNDED]
    stated += [(one.target, one.body) for one in layer.operations if one.kind != "recite"]
    sourced = {target for target, body in stated if {"source", "transcription"} <= body.keys()}
    assert {target for target, _ in stated} == sourced
    assert {body.get("transcription") for _, body in stated} <= {"second_hand", "recalled", None}


# -- what they add that no case file can expect


def sized(folder: Path, ruleset: str, day: str | None = None) -> dict[str, Any]:
    path = folder / "project.yaml"
    path.write_text(PROJECT, "utf-8")
    data: dict[str, Any] = gaugebook.size(path, [ruleset], date=day).data
    return data


def made(data: Mapping[str, Any]) -> set[str]:
    """The names of the outputs a result asks for."""
    return {output["output"] for output in data["outputs"]}


def test_colorado_puts_off_a_clause_until_its_day(tmp_path: Path) -> None:
    def told(day: str) -> bool:
        return any("690.12" in caution for caution in sized(tmp_path, "colorado-2015", day)["cautions"])

    assert [told(day) for day in ("2015-03-31", "2015-07-31", "2015-08-01")] == [False, False, True]


def test_washington_asks_for_documents_from_its_day(tmp_path: Path) -> None:
    before, after = (sized(tmp_path, "washington-2017", day) for day in ("2019-08-22", "2019-08-23"))
    assert made(before) == {"design_review"}
    assert made(after) == {"design_review", "interconnection_review"}
    assert sum("230.82(6)" in caution for caution in after["cautions"]) == 1
    assert not any("230.82(6)" in caution for caution in before["cautions"])


@pytest.mark.parametrize(
    ("equipment", "occupancy", "asked"),
    [
        ("39 A", "other_building", False),
        ("200 A", "other_building", True),
        ("400 A", "dwelling", False),
        ("401 A", "dwelling", True),
    ],
)
def test_washington_asks_for_a_plate_at_a_lesser_feeder(
    tmp_path: Path, equipment: str, occupancy: str, asked: bool
) -> None:
    feeder = (
        "  feed: {role: feeder, fed_by: [out], terminal_rating: 75 degC, overcurrent_device: breaker,\n"
        f"    conductor: {{insulation: THWN-2, size: 6 AWG}}, equipment_rating: {equipment},\n"
        "    runs: [{raceway: pipe, length: 5 m}]}\n"
    )
    text = PROJECT.replace("raceways:\n", feeder + "raceways:\n", 1).replace(
        "PVC-80, setting: rooftop", "EMT, setting: indoor"
    )
    path = tmp_path / "project.yaml"
    path.write_text(text.replace("occupancy: dwelling", f"occupancy: {occupancy}"), "utf-8")
    data = gaugebook.size(path, ["washington-2017"], date="2020-01-01").data
    assert ("feeder_plate" in made(data)) is asked


@pytest.mark.parametrize(
    ("before", "asked", "certain"),
    [("4 kW", False, None), ("4.1 kW", True, True), (None, True, False)],
)
def test_hawaii_county_counts_earlier_permits(
    tmp_path: Path, before: str | None, asked: bool, certain: bool | None
) -> None:
    path = tmp_path / "project.yaml"
    stated = f"site:\n  permitted_before: {before}\n" if before else "site:\n"
    path.write_text(PROJECT.replace("site:\n", stated, 1), "utf-8")
    found = gaugebook.size(path, ["hawaii-county-2026"]).data["outputs"]
    assert [one["certain"] for one in found] == ([certain] if asked else [])


def test_michigan_sends_a_dwelling_to_another_book(tmp_path: Path) -> None:
    def told(day: str) -> bool:
        return any("R 408.30801" in caution for caution in sized(tmp_path, "michigan-2024", day)["cautions"])

    assert [told(day) for day in ("2024-03-11", "2024-03-12")] == [False, True]


def test_a_layer_without_force_says_so(tmp_path: Path) -> None:
    stack = sized(tmp_path, "kern-county-2014")["ruleset"]["stack"]
    assert [(layer["id"], layer["force"]) for layer in stack][-2:] == [
        ("nec-2014", "yes"),
        ("kern-county-2014", "no"),
    ]


# -- a later layer never changes an earlier day's answer


@pytest.mark.parametrize("id", PLACES)
def test_a_layer_adopted_later_changes_no_earlier_answer(id: str, tmp_path: Path) -> None:
    """A town adopts the parents, then the layer: the day before, the answer is that of the parents."""
    parents = [str(parent) for parent in as_list(layer_of(id).header["extends"])]
    (tmp_path / "jurisdictions").mkdir()
    (tmp_path / "jurisdictions" / "town.yaml").write_text(
        textwrap.dedent(f"""
        gaugebook: jurisdiction/1
        id: town
        title: A town
        trigger: site.permit_date
        periods:
          - {{name: before, from: 2026-01-01, until: 2026-06-30, stack: [{", ".join(parents)}]}}
          - {{name: after, from: 2026-07-01, stack: [{", ".join(parents)}, {id}]}}
    """),
        "utf-8",
    )
    path = tmp_path / "project.yaml"
    path.write_text(PROJECT, "utf-8")

    def answer(day: str, **how: Any) -> dict[str, Any]:
        data: dict[str, Any] = gaugebook.size(path, folders=[tmp_path], date=day, **how).data
        return data

    before = answer("2026-06-30", jurisdiction="town")
    after = answer("2026-07-01", jurisdiction="town")
    assert before["ruleset"].pop("jurisdiction")["period"] == "before"
    assert before == _plain(answer("2026-06-30", rulesets=parents))
    assert after["ruleset"].pop("jurisdiction")["period"] == "after"
    assert [layer["id"] for layer in after["ruleset"]["stack"]][-1] == id


def _plain(data: dict[str, Any]) -> dict[str, Any]:
    data["ruleset"].pop("jurisdiction", None)
    return data


def adopted(id: str, day: str, elected: str | None, until: str | None = None) -> Adoption | None:
    """What a jurisdiction adopts on a day, nothing where it refuses; `until`: as its document stood that day."""
    problems = Problems()
    place = read_jurisdiction(id, Shelf(), problems)
    assert place is not None
    if until is not None:
        place = _as_of(place, until)
    return place.adopt({"site.election": elected}.get, day, problems)


def _as_of(place: Jurisdiction, day: str) -> Jurisdiction:
    """The document without what begins after a day."""
    earlier = copy.copy(place)
    earlier.periods = [
        {**period, "stack": [item for item in period["stack"] if _begun(item, day)]}
        for period in place.periods
        if _begun(period, day)
    ]
    return earlier


def _begun(part: Any, day: str) -> bool:
    return not isinstance(part, dict) or str(part.get("from", "")) <= day


def elections(id: str) -> list[str | None]:
    """Nothing, and every period of a jurisdiction that can be elected."""
    place = read_jurisdiction(id, Shelf(), Problems())
    assert place is not None
    return [None, *(str(one["name"]) for one in place.periods if one.get("elect") == "yes")]


@pytest.mark.parametrize("id", JURISDICTIONS)
@settings(deadline=None, max_examples=40)
@given(data=st.data(), day=st.dates(datetime.date(2007, 1, 1), datetime.date(2027, 1, 1)))
def test_what_a_jurisdiction_adopts_later_changes_no_earlier_day(
    id: str, data: st.DataObject, day: datetime.date
) -> None:
    elected = data.draw(st.sampled_from(elections(id)))
    now = adopted(id, day.isoformat(), elected)
    assert now == adopted(id, day.isoformat(), elected, until=day.isoformat())


@pytest.mark.parametrize(
    ("id", "facts", "stack"),
    [
        ("minnesota", {"permit_applied": "2023-06-30", "permit_date": "2023-08-01"}, "nec-2017 nec-2020"),
        ("minnesota", {"permit_applied": "2023-07-01", "permit_date": "2023-08-01"}, "nec-2017 nec-2020 nec-2023"),
        ("minnesota", {"permit_applied": "2020-10-01", "permit_date": "2020-11-16"}, "nec-2017"),
        (
            "minnesota",
            {"work_started": "2014-07-01", "permit_applied": "2014-06-02", "permit_date": "2014-06-20"},
            "nec-2011 nec-2014",
        ),
        (
            "minnesota",
            {"work_started": "2014-06-30", "permit_applied": "2014-06-02", "permit_date": "2014-06-20"},
            "nec-2011",
        ),
        ("virginia", {"permit_applied": "2024-06-01", "election": "code_of_2018_kept"}, "nec-2017"),
        ("virginia", {"permit_applied": "2024-06-01", "election": "code_of_2021_elected"}, "nec-2020"),
        ("virginia", {"permit_applied": "2024-06-01"}, None),
        ("new-jersey", {"permit_applied": "2016-03-21", "election": "older_edition"}, "nec-2011"),
        ("new-jersey", {"permit_applied": "2016-03-22", "election": "older_edition"}, None),
        ("new-jersey", {"permit_applied": "2016-03-21"}, "nec-2014"),
        ("idaho", {"permit_date": "2024-04-18"}, "nec-2017"),
        ("idaho", {"permit_date": "2024-04-19"}, "nec-2023"),
        ("idaho", {"permit_date": "2025-06-01"}, None),
        ("colorado", {"permit_date": "2015-07-31"}, "nec-2014 colorado-2015"),
        ("washington", {"permit_purchased": "2020-10-28", "permit_date": "2020-11-20"}, "nec-2017 washington-2017"),
        ("washington", {"permit_date": "2020-10-29"}, "nec-2020 washington-2017"),
        ("new-york-city", {"permit_date": "2025-06-01"}, None),
        ("rhode-island", {"permit_date": "2020-07-01"}, "nec-2020"),
        ("michigan", {"permit_date": "2024-03-11"}, None),
        ("michigan", {"permit_date": "2024-03-12"}, "nec-2023 michigan-2024"),
        ("oregon", {"permit_date": "2017-10-01"}, "nec-2017"),
        ("wisconsin", {"permit_date": "2018-07-31"}, None),
    ],
)  # fmt: skip
def test_the_facts_of_a_job_decide(id: str, facts: Mapping[str, str], stack: str | None) -> None:
    problems = Problems()
    place = read_jurisdiction(id, Shelf(), problems)
    assert place is not None
    stated = {f"site.{name}": day for name, day in facts.items()}
    found = place.adopt(stated.get, None, problems)
    assert (None if found is None else " ".join(found.stack)) == stack
    assert bool(list(problems)) is (stack is None)
