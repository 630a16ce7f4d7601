"""What a sheet says is as for another thing would indeed read the same, and what would not is told in full."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import gaugebook
from gaugebook.deriving import Deriver
from gaugebook.explaining import lines
from gaugebook.retelling import Retelling

from .conftest import EXAMPLES, ROOT

Tree = dict[str, Any]

STRINGS = """\
gaugebook: project/1
site: {rulesets: [nec-2017], permit_date: 2021-03-15, ambient_high: 41 degC, ambient_low: -9 degC,
       occupancy: dwelling}
modules:
  flat: {short_circuit_current: 10.4 A, open_circuit_voltage: 48.6 V, maximum_power_current: 9.8 A,
         maximum_power_voltage: 40.7 V, open_circuit_voltage_coefficient: -0.27 %/K, maximum_series_fuse: 20 A}
  same: {short_circuit_current: 10.4 A, open_circuit_voltage: 48.6 V, maximum_power_current: 9.8 A,
         maximum_power_voltage: 40.7 V, open_circuit_voltage_coefficient: -0.27 %/K, maximum_series_fuse: 20 A}
circuits:
"""
STRING = (
    "  {name}: {{role: pv_source, module: {module}, modules_in_series: {count}, conductor: {{insulation: PV-wire"
    "{metal}}}, terminal_rating: 75 degC, runs: [{{method: free_air, setting: rooftop, in_sunlight: yes, "
    "height_above_roof: 4 in, "
    "length: {length} m}}]}}\n"
)


def nodes(tree: Tree) -> Iterator[Tree]:
    yield tree
    for key in ("checks", "inputs"):
        for child in tree.get(key, []):
            yield from nodes(child)


def retold(result: gaugebook.Result) -> Iterator[tuple[str, str, str]]:
    """What is told to be as for another thing: the thing, the other one, and the attribute."""
    run = result.run
    with run.exactly():
        deriver = Deriver(run, result.book.written, retelling=Retelling(run))
        for path, thing in run.things.items():
            for name, attribute in run.rulebook.attributes[thing.kind].items():
                if attribute.role not in ("rule", "choice"):
                    continue
                for node in nodes(deriver.node(thing, name)):
                    if "like" in node:
                        owner, _, of = node["id"].rpartition(".")
                        yield owner, node["like"], of
                        assert run.things[owner].kind == run.things[node["like"]].kind, path


def told(result: gaugebook.Result, path: str, name: str, other: str) -> set[str]:
    """The lines of a derivation by itself; a choice below it only by its value, and both things by a mark."""
    run = result.run
    with run.exactly():
        tree = cut(Deriver(run, result.book.written).node(run.things[path], name))
    marks = str.maketrans({"\1": "it", "\2": "the other"})
    return {
        swapped(line.text, path, other).translate(marks) + str(line.cite.clauses)
        for line in lines(tree, False)
        if not line.text.startswith(("see above", "do not apply"))
    }


def swapped(text: str, path: str, other: str) -> str:
    return re.sub(rf"{re.escape(path)}(?![\w\[])", "\1", re.sub(rf"{re.escape(other)}(?![\w\[])", "\2", text))


def cut(tree: Tree) -> Tree:
    """The tree without what is below the choices in it."""
    made = dict(tree)
    for key in ("checks", "inputs"):
        children = [child for child in tree.get(key, []) if child.get("value") != "does not apply"]
        made[key] = [leaf(child) if child.get("role") == "choice" else cut(child) for child in children]
    return made


def leaf(node: Tree) -> Tree:
    return {key: part for key, part in node.items() if key not in ("checks", "inputs", "rejected", "route")}


def some_strings(folder: Path, **differing: str) -> gaugebook.Result:
    """Two strings that differ in length, the second also in what is given."""
    plain = {"module": "flat", "count": "11", "metal": ", material: copper"}
    body = STRING.format(name="near", length=7, **plain) + STRING.format(
        name="far", length=9, **plain | differing
    )
    path = folder / "strings.yaml"
    path.write_text(STRINGS + body, "utf-8")
    return gaugebook.size(path)


def checked(result: gaugebook.Result) -> set[tuple[str, str, str]]:
    """What is retold, each held against both derivations in full."""
    found = set(retold(result))
    for path, like, name in found:
        assert told(result, path, name, like) == told(result, like, name, path), (path, like, name)
    return found


@pytest.mark.parametrize("name", EXAMPLES)
def test_what_is_retold_reads_the_same_in_full(name: str) -> None:
    checked(gaugebook.size(ROOT / "examples" / f"{name}.yaml"))


def test_what_does_not_depend_on_the_difference_is_retold(tmp_path: Path) -> None:
    found = checked(some_strings(tmp_path))
    names = {name for path, _, name in found if path == "circuits.far"}
    assert {"maximum_current", "conductor_size", "overcurrent_rating"} <= names
    assert not names & {"voltage_drop", "power_loss"}


def test_another_number_is_not_retold(tmp_path: Path) -> None:
    found = checked(some_strings(tmp_path, count="10"))
    names = {name for path, _, name in found if path == "circuits.far"}
    assert "maximum_voltage" not in names and "conductor_size" in names


def test_siblings_that_read_each_other_change_places(tmp_path: Path) -> None:
    """What the first reads of the second, the second reads of the first."""
    (tmp_path / "pulls.yaml").write_text(PULLS, "utf-8")
    project = tmp_path / "team.yaml"
    project.write_text(
        "gaugebook: project/1\nsite: {rulesets: [pulls]}\n"
        "ropes: {one: {load: 4 kg}, two: {load: 4 kg}, odd: {load: 5 kg}}\n"
        "knots: {top: {ropes: [one, two, odd]}}\n",
        "utf-8",
    )
    found = checked(gaugebook.size(project, folders=[tmp_path]))
    assert {(path, like) for path, like, name in found if name == "others"} == {("ropes.two", "ropes.one")}


def test_the_same_value_of_another_thing_is_not_retold(tmp_path: Path) -> None:
    """Two modules of the same figures are two modules: a derivation names the one it read."""
    found = checked(some_strings(tmp_path, module="same"))
    assert not {name for path, _, name in found if path == "circuits.far"} & {
        "maximum_current",
        "maximum_voltage",
    }


def test_the_same_figure_found_on_another_way_is_not_retold(tmp_path: Path) -> None:
    """Who the partner is, a derivation says: two partners with one load are told apart."""
    link = "  rope.partner: {{links: rope}}\n  rope.spare"
    book = WAYS.replace("  rope.spare", link).format(rule="sum of load over partner")
    (tmp_path / "ways.yaml").write_text(book, "utf-8")
    project = tmp_path / "ropes.yaml"
    project.write_text(
        "gaugebook: project/1\nsite: {rulesets: [ways]}\nropes:\n"
        "  one: {load: 4 kg, partner: left}\n  two: {load: 4 kg, partner: right}\n"
        "  three: {load: 4 kg, partner: right}\n  left: {load: 1 kg}\n  right: {load: 1 kg}\n",
        "utf-8",
    )
    found = set(retold(gaugebook.size(project, folders=[tmp_path])))
    assert found == {("ropes.three", "ropes.two", "pull"), ("ropes.right", "ropes.left", "pull")}


def test_what_is_stated_and_what_is_assumed_are_not_the_same(tmp_path: Path) -> None:
    """Copper both times, once stated and once assumed."""
    result = some_strings(tmp_path, metal="")
    found = checked(result)
    assert result.value("circuits.near.conductor_size") == result.value("circuits.far.conductor_size")
    assert "conductor_size" not in {name for path, _, name in found if path == "circuits.far"}


PULLS = """\
gaugebook: ruleset/1
id: pulls
version: 1.0.0
title: Pulls
kinds: {site: {section: site, one: yes}, rope: {section: ropes}, knot: {section: knots}}
fields:
  rope.load: {unit: kg, ask: load}
  knot.ropes: {links: rope, inverse: knots}
rules:
  rope.pull: {unit: kg, is: load * 2}
  rope.others: {unit: kg, is: sum of pull over knots.ropes - pull}
"""

WAYS = """\
gaugebook: ruleset/1
id: ways
version: 1.0.0
title: Ways
kinds: {{site: {{section: site, one: yes}}, rope: {{section: ropes}}}}
fields:
  rope.load: {{unit: kg, ask: load}}
  rope.spare: {{unit: kg, ask: spare}}
  rope.wet: {{flag: yes, default: no}}
rules:
  rope.pull: {{unit: kg, is: {rule}}}
sheet:
  all: {{form: derivation, of: rope, shows: [pull]}}
"""


@pytest.mark.parametrize(
    ("rule", "second", "alike"),
    [
        ("load * 2", "", True),
        ("if wet then load * 2 else load + load", "wet: yes", False),
        ("if spare is given then load * 2 else load * 2", "spare: 1 kg", False),
        ("if wet or load > 1 kg then load else load * 3", "wet: yes", False),
    ],
)
def test_the_same_value_by_another_way_is_not_retold(
    tmp_path: Path, rule: str, second: str, alike: bool
) -> None:
    (tmp_path / "ways.yaml").write_text(WAYS.format(rule=rule), "utf-8")
    project = tmp_path / "ropes.yaml"
    more = f", {second}" if second else ""
    ropes = f"ropes:\n  one: {{load: 4 kg}}\n  two: {{load: 4 kg{more}}}\n"
    project.write_text(f"gaugebook: project/1\nsite: {{rulesets: [ways]}}\n{ropes}", "utf-8")
    result = gaugebook.size(project, folders=[tmp_path])
    assert result.value("ropes.one.pull") == result.value("ropes.two.pull")
    assert bool(set(retold(result))) is alike
