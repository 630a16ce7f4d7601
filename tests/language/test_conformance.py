"""Drives grammar/conformance: every case that needs an evaluation, against the engine."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import yaml

from gaugebook.compiling import Pool, Writer, exactness
from gaugebook.diagnostics import Problems
from gaugebook.documents import parse
from gaugebook.entries import Book, Layer, Place
from gaugebook.evaluating import Run
from gaugebook.freezing import freeze
from gaugebook.grammar import parse as parse_rule
from gaugebook.grammar import print_tree
from gaugebook.layers import stacked
from gaugebook.loading import entries_of
from gaugebook.model import Model
from gaugebook.programs import Route, Rule, read_programs
from gaugebook.project import Builder
from gaugebook.resources import packaged
from gaugebook.rulebook import Rulebook
from gaugebook.runtime import Absent
from gaugebook.source import Source
from gaugebook.understanding import Reader
from gaugebook.units import NUMBER, Units

FOLDER = packaged("grammar", "conformance")
UNITS = Units.from_data(yaml.load(packaged("rulesets", "units.yaml").read_text(), yaml.BaseLoader))


def load() -> list[Any]:
    found = []
    for path in sorted(Path(FOLDER).glob("*.yaml")):
        data = parse(path.read_text(), path.name).data
        for case in data["cases"]:
            given = {**(data.get("given") or {}), **{k: v for k, v in case.items() if k in ENVIRONMENT}}
            for part in ENVIRONMENT:
                both = {**(data.get("given", {}).get(part) or {}), **(case.get(part) or {})}
                if both:
                    given[part] = both
            found.append(pytest.param(given, case, id=f"{path.stem}: {case['name']}"))
    return found


ENVIRONMENT = ("names", "terms", "series", "tables", "constants")


class World:
    """A ruleset and a project made from the environment of a case."""

    def __init__(self, given: dict[str, Any]) -> None:
        self.given = given
        self.ruleset: dict[str, Any] = {part: given[part] for part in ENVIRONMENT[1:] if part in given}
        self.ruleset["kinds"] = {"thing": {"section": "thing", "one": "yes"}}
        self.ruleset["fields"] = {}
        self.project: dict[str, Any] = {"gaugebook": "project/1"}
        self.project["thing"] = self.place("thing", given.get("names") or {})
        self.problems = Problems()
        document = parse(yaml.safe_dump(texts(self.ruleset)), "world.yaml")
        layer = Layer("world", {"id": "world"}, Place(document, ()), [], [], "sha256:0")
        layer.entries.extend(entries_of(document, "world", self.problems))
        self.book: Book = stacked([layer], self.problems)
        self.model = Model(self.book, UNITS, self.problems)
        self.programs = read_programs(self.model, self.problems)

    def place(self, kind: str, names: dict[str, Any]) -> dict[str, Any]:
        stated = {}
        for name, value in names.items():
            if isinstance(value, list):
                inner = f"{kind}_{name}"
                self.ruleset["kinds"].setdefault(inner, {"within": kind, "section": name})
                stated[name] = [self.place(inner, item) for item in value]
                continue
            told, declared = self.declared(value)
            self.ruleset["fields"][f"{kind}.{name}"] = declared
            if told is not None:
                stated[name] = told
        return stated

    def declared(self, value: Any) -> tuple[str | None, dict[str, Any]]:
        if isinstance(value, dict):
            if "value" in value:
                return None, {"unit": value["unit"], "may_be_none": "yes"}
            return None, {"unit": value["unit"]}
        text = str(value)
        if text in ("yes", "no"):
            return text, {"flag": "yes"}
        for name, words in (self.given.get("terms") or {}).items():
            if text in words:
                return text, {"terms": name}
        for name, series in (self.given.get("series") or {}).items():
            if "unit" not in series and text in map(str, series["members"]):
                return text, {"series": name}
        amount, _, unit = text.rpartition(" ")
        known = amount and not unit[0].isdigit()
        return text, {"unit": unit if known else "1"}

    def run(self) -> Run:
        frozen = freeze(self.book, self.model, self.programs, self.problems)
        self.problems.refuse_if_any()
        run = Run(Rulebook(frozen))
        source = Source(
            parse(yaml.safe_dump(texts(self.project), sort_keys=False), "p.yaml"), None, self.problems
        )
        with run.exactly():
            Builder(source, run.rulebook, run, self.problems).build()
        self.problems.refuse_if_any()
        return run


def texts(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(key): texts(item) for key, item in value.items()}
    if isinstance(value, list):
        return [texts(item) for item in value]
    return str(value)


@pytest.mark.parametrize(("given", "case"), load())
def test_conformance(given: dict[str, Any], case: dict[str, Any]) -> None:
    expression = str(case["expression"])
    if "printed" in case:
        assert print_tree(parse_rule(expression)) == case["printed"]
        return
    world = World(given)
    assert not list(world.problems)
    document = parse(yaml.safe_dump({"rule": {"is": expression}}), "case.yaml")
    entry = next(iter(world.book.entries.values()))
    entry.places[("is",)] = Place(document, ("rule", "is"))
    op = Reader(world.model, entry, "thing", world.problems).read(expression, "is")
    names = [problem.name for problem in world.problems]
    if "error" in case:
        assert names == [case["error"]] or names[:1] == [case["error"]]
        return
    assert not names, [str(problem) for problem in world.problems]
    if "unit" in case:
        unit = UNITS.unit(str(case["unit"]))
        assert op.type.sort == "number"
        assert op.type.detail == unit.kind
        return
    run = world.run()
    pool = Pool()
    written = Writer(world.model, pool, exactness(world.model, world.programs)).write(op)
    space: dict[str, Any] = dict(run.rulebook.namespace)
    exec("\n".join([*pool.lines, f"def answer(t):\n    return {written}"]), space)
    with run.exactly():
        if "outcome" in case:
            with pytest.raises(Absent) as caught:
                space["need"](space["answer"](run.only("thing")), "x")
            assert caught.value.void == (case["outcome"] == "void")
            return
        found = space["answer"](run.only("thing"))
        compare(found, op, case)


def compare(found: Any, op: Any, case: dict[str, Any]) -> None:
    wanted = wanted_of(op, case)
    if "near" in case:
        assert abs(found - wanted) <= Decimal("1e-9") * abs(wanted)
    else:
        assert found == wanted


def wanted_of(op: Any, case: dict[str, Any]) -> Any:
    """What a case says its expression is worth, as the engine keeps it."""
    expected = str(case.get("value", case.get("near")))
    if expected == "none":
        return None
    if op.type.sort == "truth":
        return {"yes": True, "no": False}[expected]
    if op.type.sort != "number":
        return expected
    unit = UNITS.unit(expected.rpartition(" ")[2]) if " " in expected.strip() else UNITS.unit("1")
    if op.type.detail == NUMBER and " " not in expected:
        unit = UNITS.unit("1")
    return UNITS.quantity_as(expected, unit)


@pytest.mark.parametrize(
    ("given", "case"), [param for param in load() if {"value", "near", "outcome"} & set(param.values[1])]
)
def test_conformance_of_columns(given: dict[str, Any], case: dict[str, Any]) -> None:
    """The same for a column of three rows, with every field left open; what cannot be done so says so."""
    np = pytest.importorskip("numpy")
    from gaugebook.case_columns import CannotColumn
    from gaugebook.columns import Block, Columns, Given
    from gaugebook.evaluating import UNSTATED
    from gaugebook.planning import CannotPlan, Planner
    from gaugebook.planning import Place as Place_

    world = World(given)
    entry = next(iter(world.book.entries.values()))
    document = parse(yaml.safe_dump({"rule": {"is": str(case["expression"])}}), "case.yaml")
    entry.places[("is",)] = Place(document, ("rule", "is"))
    op = Reader(world.model, entry, "thing", world.problems).read(str(case["expression"]), "is")
    run = world.run()
    values = {
        (thing.path, name): thing.memo.get(name, UNSTATED)
        for thing in run.things.values()
        for name, attribute in run.rulebook.attributes[thing.kind].items()
        if attribute.field is not None and attribute.role != "relation"
    }
    with run.exactly(), run.bound(values) as trial:
        planner = Planner(run, world, trial, set(values))  # type: ignore[arg-type]
        with planner._about(run.only("thing"), ("thing", "asked")):
            try:
                rest = planner.rest(op)
                plan = planner.plan()
            except CannotPlan:
                pytest.skip("has to be looked at row by row")
    thing = run.only("thing")
    asked = Place_(len(plan.places), thing, SimpleNamespace(role="rule"))
    asked.rule = Rule(entry, "thing", "asked", op.type, [Route("", None, rest)])
    plan.places.append(asked)
    try:
        columns = Columns(plan)
    except CannotColumn:
        pytest.skip("has to be looked at row by row")
    stated = {}
    for key, value in values.items():
        place = plan.places[plan.numbers[key]] if key in plan.numbers else None
        if place is not None and value is not UNSTATED:
            code = columns.column(place, value)
            stated[place.number] = Given(code._replace(data=np.array([code.data] * 3)), True)
    with np.errstate(all="ignore"):
        column = Block(columns, 3, stated).whole().read(asked.number)
    gone, none, data = (np.broadcast_to(part, 3).tolist() for part in (column.gone, column.none, column.data))
    if "outcome" in case:
        lost = [why or int(nothing) for why, nothing in zip(gone, none, strict=True)]
        assert lost == [{"void": 1, "undetermined": 2}[case["outcome"]]] * 3
        return
    assert gone == [0, 0, 0]
    if str(case.get("value")) == "none":
        assert none == [True] * 3
        return
    expected = columns.codes.code(wanted_of(op, case), op.type)
    assert data == [pytest.approx(expected, rel=1e-9, abs=1e-12)] * 3
