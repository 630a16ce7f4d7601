"""The root cause of a difference: one entry changed by an overlay is named, and only that one."""

from __future__ import annotations

import copy
import os
import random
from pathlib import Path
from typing import Any

import yaml

from gaugebook.questions import Comparison, compare

HERE = Path(__file__).parent

TRIALS = int(os.environ.get("GAUGEBOOK_TRIALS", "60"))
"""How many random changes are tried; `GAUGEBOOK_TRIALS=500 pytest tests/comparing` for the long run."""

BOOK: dict[str, Any] = yaml.load((HERE / "hoist.yaml").read_text("utf-8"), yaml.BaseLoader)

TEXTS = {
    ("rules/gross", "is"): ["mass * pieces + 5 kg", "1.2 * mass * pieces"],
    ("rules/crate_load", "is"): ["greatest of gross over lifts", "sum of mass over lifts"],
    ("rules/total_length", "is"): [
        "1 m + (sum of length over stretches)",
        "2 * sum of length over stretches",
    ],
    ("rules/pieces", "is"): ["1 + (sum of pieces over lifts)", "count of lifts"],
    ("rules/own_weight", "is"): ["1.5 * gauge.weight * total_length"],
    ("rules/design_load", "otherwise"): ["reserve * crate_load + 2 * own_weight", "2 * crate_load"],
    ("rules/local_heat", "is"): ["yard.heat", "yard.heat + heat_adder[bend]", "yard.heat + 4 K"],
    ("rules/condition", "is"): [
        "heat_share * dust_factor[yard.dust]",
        "least(heat_share, bend_factor[bend])",
    ],
    ("rules/capacity", "is"): [
        "strength[gauge, grade] * age_share",
        "0.8 * strength[gauge, grade] * age_share",
    ],
    ("rules/age_share", "branches.worn.is"): ["wear * wear"],
    ("rules/age_share", "branches.worn.when"): ["age is given and age > age_limit / 3"],
    ("rules/age_share", "exceptions.silk_keeps.when"): ["grade is silk", "total_length < 40 m"],
    ("rules/pull", "is"): ["design_load", "round_up(design_load, 100 kg)"],
    ("rules/smallest_pulley", "otherwise"): ["middle", "if crate_load >= 50 kg then large else small"],
    ("checks/strong_enough", "require"): ["capacity >= 1.5 * design_load", "capacity >= crate_load"],
    ("checks/not_too_heavy", "require"): ["own_weight <= crate_load / 8"],
    ("checks/hook_holds", "require"): ["hook >= 2 * pull"],
    ("checks/pulley_fits", "require"): ["pulley >= smallest_pulley and pulley >= middle"],
    ("checks/not_too_long", "require"): ["total_length <= 10 m"],
    ("checks/cool_enough", "when"): ["yes"],
    ("choices/hook", "when"): ["count of lifts > 1"],
    ("fields/yard.dust", "default"): ["41 %", "80 %"],
    ("fields/crate.pieces", "default"): ["2"],
    ("fields/stretch.bend", "default"): ["0.15 m", "1 m"],
    ("fields/rope.rating", "default"): ["40 degC"],
    ("fields/yard.guarded", "default"): ["no"],
    ("readings/reserve_on", "default"): ["both"],
    ("constants/reserve", "value"): ["1.1", "2", "3"],
    ("constants/age_limit", "value"): ["100", "300"],
    ("constants/wear", "value"): ["0.5"],
    ("constants/longest", "value"): ["30"],
    ("series/hooks", "members"): [
        ["60", "120", "300", "500", "900", "4000"],
        ["90", "100", "250", "260", "4000"],
    ],
    ("series/gauges", "properties.weight.values"): [["0.3", "0.4", "0.5", "0.9", "1.8", "2.1", "3.6", "4.4"]],
}


def change(chance: random.Random) -> tuple[str, dict[str, Any]]:
    """A random change of one entry: the entry, and a layer that makes it."""
    layer: dict[str, Any] = {
        "gaugebook": "ruleset/1",
        "id": "over",
        "version": "1",
        "title": "over",
        "document": "Over",
        "extends": "hoist",
    }
    kind = chance.choice(["cell", "cell", "cell", "text", "text", "text", "text", "remove", "add", "except"])
    if kind == "text":
        entry, path = chance.choice(sorted(TEXTS))
        return entry, layer | {
            "amend": [{"set": entry, "property": path, "to": chance.choice(TEXTS[entry, path])}]
        }
    if kind == "remove":
        entry = chance.choice(
            ["checks/not_too_heavy", "checks/strong_enough", "checks/pulley_fits", "checks/hook_holds"]
        )
        return entry, layer | {"amend": [{"remove": entry}]}
    if kind == "add":
        check = {"of": "rope", "require": "gauge >= G5", "constrains": "gauge", "cites": "1"}
        return "checks/stout", layer | {"checks": {"stout": check}}
    if kind == "except":
        operation = {
            "except": "rules/design_load",
            "name": "light",
            "when": "crate_load < 150 kg",
            "is": "150 kg",
            "cites": "2",
        }
        return "rules/design_load", layer | {"amend": [operation]}
    table = chance.choice(sorted(BOOK["tables"]))
    body = BOOK["tables"][table]
    row = chance.choice(sorted(body["rows"]))
    at, old = [row], body["rows"][row]
    if "columns" in body:
        column = chance.randrange(len(body["columns"]))
        at, old = [row, body["columns"][column]], body["rows"][row][column]
    new = (
        f"{float(old) * chance.choice([0.4, 0.7, 1.3, 2.1]):.3f}"
        if old != "-"
        else str(chance.choice([0.3, 700]))
    )
    return f"tables/{table}", layer | {
        "amend": [{"set": f"tables/{table}", "cells": [{"at": at, "to": new}]}]
    }


def trial(shelf: Any, seed: int) -> tuple[str, Comparison]:
    """Compare a random project under the book and under the book with one random change."""
    chance = random.Random(seed)
    entry, layer = change(chance)
    shelf.write("over", layer)
    path = shelf.project(chance)
    return entry, compare(path, ["hoist", "over"], layouts=["base"], folders=[shelf.folder], values=True)


def test_a_changed_entry_is_named_and_only_it(shelf: Any) -> None:
    told = 0
    for seed in range(TRIALS):
        entry, comparison = trial(shelf, seed)
        differing = [row["name"] for row in comparison.data["rows"]]
        assert comparison.causes == ([entry] if differing else []), (seed, entry, differing)
        told += bool(differing)
        for difference in comparison.data["differences"]:
            assert difference["rows"] == differing, seed
    assert told >= TRIALS * 2 // 5, "too few of the random changes made a difference to prove anything"


def test_a_changed_cell_is_named(shelf: Any) -> None:
    layer = {
        "gaugebook": "ruleset/1",
        "id": "over",
        "version": "1",
        "title": "over",
        "document": "Over",
        "extends": "hoist",
        "amend": [
            {"set": "tables/strength", "cells": [{"at": ["G3", "hemp"], "was": 160, "to": 120}], "cites": "9"}
        ],
    }
    shelf.write("over", layer)
    path = shelf.write("project", SIMPLE)
    comparison = compare(path, ["hoist", "over"], folders=[shelf.folder])
    [cause] = comparison.data["differences"][0]["causes"]
    assert cause["name"] == "tables/strength"
    assert cause["entries"] == ["hoist:tables/strength", "hoist:tables/strength"]
    assert cause["cells"] == [
        {"at": ["G3", "hemp"], "from": {"value": 160.0, "unit": "kg"}, "to": {"value": 120.0, "unit": "kg"}}
    ]
    assert cause["changes"] == [{"layer": "over", "what": "[G3, hemp]: 160 became 120"}]
    assert cause["explains"] == [row["name"] for row in comparison.data["rows"]]
    assert "ropes.r.gauge" in cause["explains"]


SIMPLE: dict[str, Any] = {
    "gaugebook": "project/1",
    "title": "one rope",
    "yard": {"heat": "15 degC"},
    "crates": {"c": {"mass": "95 kg"}},
    "ropes": {"r": {"lifts": ["c"], "stretches": [{"length": "10 m", "bend": "1.2 m"}]}},
    "layouts": {"far": {"ropes": {"r": {"stretches": [{"length": "64 m", "bend": "1.2 m"}]}}}},
}


def test_layouts_differ_by_their_inputs(shelf: Any) -> None:
    path = shelf.write("project", SIMPLE)
    comparison = compare(path, ["hoist"], folders=[shelf.folder])
    assert [column["layout"] for column in comparison.data["columns"]] == [None, "far"]
    assert comparison.causes == ["ropes.r.stretches[0].length"]
    [cause] = comparison.data["differences"][0]["causes"]
    assert cause["kind"] == "input"
    assert cause["values"] == [{"value": 10.0, "unit": "m"}, {"value": 64.0, "unit": "m"}]
    assert "ropes.r.pulley" in cause["explains"]


def test_layouts_times_rulesets_compare_neighbours(shelf: Any) -> None:
    shelf.write(
        "over",
        {
            "gaugebook": "ruleset/1",
            "id": "over",
            "version": "1",
            "title": "over",
            "document": "Over",
            "extends": "hoist",
        },
    )
    path = shelf.write("project", SIMPLE)
    data = compare(path, ["hoist", "hoist+over"], ["base", "far"], folders=[shelf.folder]).data
    assert [(pair["from"], pair["to"]) for pair in data["differences"]] == [(0, 1), (2, 3), (0, 2), (1, 3)]
    assert [pair["causes"] for pair in data["differences"][:2]] == [[], []]


def test_a_thing_that_only_one_layout_has(shelf: Any) -> None:
    made = copy.deepcopy(SIMPLE)
    made["layouts"] = {"two": {"ropes": {"s": {"lifts": ["c"], "stretches": [{"length": "3 m"}]}}}}
    path = shelf.write("project", made)
    data = compare(path, ["hoist"], folders=[shelf.folder]).data
    row = next(row for row in data["rows"] if row["name"] == "ropes.s.gauge")
    assert row["cells"][0] is None
    assert [cause["name"] for cause in data["differences"][0]["causes"]] == ["ropes.s"]


def test_a_reading_that_only_one_book_has_does_not_hide_what_changed(shelf: Any) -> None:
    """Both rules ask a reading of their own; only the table between them decides."""
    asking = {
        "question": "Which heat?",
        "options": {"local": {"says": "there"}, "yard": {"says": "all over"}},
        "default": "local",
    }
    share = "heat_factor[local_heat, rope.rating]"
    layer = {"gaugebook": "ruleset/1", "version": "1", "title": "t", "document": "D"}

    def book(id: str, parent: str, reading: str, **rest: Any) -> dict[str, Any]:
        other = {"yard": {"when": f"{reading} is yard", "is": "heat_factor[yard.heat, rope.rating]"}}
        rule = {"of": "stretch", "unit": "1", "cites": "4.8", "branches": other, "otherwise": share}
        amend = [{"replace": "rules/heat_share", "with": rule}, *rest.get("amend", [])]
        return layer | {"id": id, "extends": parent, "readings": {reading: asking}, "amend": amend}

    shelf.write("old", book("old", "hoist", "old_heat"))
    cooler = {"set": "tables/heat_factor", "cells": [{"at": [20, 60], "was": 1, "to": "0.5"}]}
    gone = {"remove": "readings/old_heat"}
    shelf.write("new", book("new", "old", "new_heat", amend=[cooler, gone]))
    path = shelf.write("project", SIMPLE)
    comparison = compare(path, ["old", "new"], layouts=["base"], folders=[shelf.folder], values=True)
    assert comparison.causes == ["tables/heat_factor"]


def test_nothing_differs(shelf: Any) -> None:
    path = shelf.write("project", SIMPLE)
    comparison = compare(path, ["hoist", "hoist"], layouts=["base"], folders=[shelf.folder], values=True)
    assert comparison.data["rows"] == []
    assert comparison.causes == []
    everything = compare(path, ["hoist"], layouts=["base"], folders=[shelf.folder], everything=True).data
    assert [row["name"] for row in everything["rows"]][:3] == [
        "ropes.r.gauge",
        "ropes.r.hook",
        "ropes.r.pulley",
    ]
