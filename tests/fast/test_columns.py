"""Columns against decimals: many random designs, and those that stand on a bound of a table or on a rating.

`GAUGEBOOK_DESIGNS=100000 pytest -n 0 -m differential -s tests/fast/test_columns.py` tries so many of every book;
without it a sample is tried. All cores are used. The whole row is compared: verdict, governing check, margin,
choices and error.
"""

from __future__ import annotations

import gc
import itertools
import os
import random
from concurrent.futures import ProcessPoolExecutor
from decimal import Decimal
from itertools import repeat
from multiprocessing import get_context
from pathlib import Path

import pytest

from gaugebook.arrays import Column
from gaugebook.batching import Batch, Job
from gaugebook.cli import main
from gaugebook.outcomes import Field, Outcome, share_text
from gaugebook.project import breaches, words_of
from gaugebook.rulebook import Rulebook
from gaugebook.runtime import REST
from gaugebook.units import UnitError
from gaugebook.varying import Graph, Template

ROOT = Path(__file__).parents[2]
DESIGNS = int(os.environ.get("GAUGEBOOK_DESIGNS", "0"))
FIELDS = 10
"""So many fields vary at once."""

NEC = ["nec-2008", "nec-2011", "nec-2014", "nec-2017", "nec-2020", "nec-2023"]
LAID_OUT = [("boathouse", book) for book in NEC] + [
    ("ground_mount", "nec-2020"),
    ("carport", "nec-2023"),
    ("orchard_barn", "iec-60364"),
    ("orchard_barn", "bs-7671-2018"),
]


class Designs:
    """Random cells for the fields of a template; numbers stand on a bound as often as not."""

    def __init__(self, template: Template, fields: list[Field], chance: random.Random) -> None:
        self.fields, self.chance = fields, chance
        self.rulebook = template.rulebook
        run = next(iter(template._graphs.values())).run
        self.makers = [
            self._cells(field, run.things[field.thing].memo.get(field.attribute.name)) for field in fields
        ]

    def row(self) -> list[str]:
        """One design; now and then a cell is empty."""
        return ["" if self.chance.random() < 0.05 else self.chance.choice(cells) for cells in self.makers]

    def _cells(self, field: Field, stated: object) -> list[str]:
        attribute = field.attribute
        if attribute.unit is None:
            return words_of(self.rulebook, attribute)
        found = self._numbers(field, stated)
        fits = [cell for cell in found if not self._beyond(field, cell)]
        return [*fits, *found[:1]] if fits else found

    def _beyond(self, field: Field, cell: str) -> bool:
        attribute = field.attribute
        assert attribute.unit is not None
        value = self.rulebook.units.quantity_as(f"{cell} {attribute.unit.text}", attribute.unit)
        return any(True for _ in breaches(self.rulebook, attribute, value))

    def _numbers(self, field: Field, stated: object) -> list[str]:
        attribute = field.attribute
        assert attribute.unit is not None
        middle = attribute.unit.from_base(stated) if isinstance(stated, Decimal) else Decimal(10)
        found = {str(round(middle * Decimal(str(self.chance.uniform(0.2, 3))), 3)) for _ in range(40)}
        for bound in itertools.islice(sharp(self.rulebook, field), 400):
            found |= {f"{bound:f}", f"{bound + Decimal('0.001'):f}", f"{bound - Decimal('0.001'):f}"}
        return sorted(found)


def sharp(rulebook: Rulebook, field: Field) -> list[Decimal]:
    """Bounds of tables and members of series that a field can meet, also through the factors of the book."""
    unit = field.attribute.unit
    assert unit is not None
    bounds: set[Decimal] = set()
    for data in rulebook.frozen["tables"].values():
        for axis in data["axes"]:
            if axis["number"]:
                bounds |= {Decimal(key) for key in axis["keys"] if key != REST}
    for series in rulebook.frozen["series"].values():
        if series["unit"] is not None and rulebook.units.unit(series["unit"]).kind == unit.kind:
            bounds |= {Decimal(value) for value in series["values"]}
    factors = [Decimal(1), Decimal("1.25"), Decimal("1.5625"), Decimal(2)]
    made = {unit.from_base(bound / factor) for bound in bounds for factor in factors if not unit.kind.point}
    made |= {unit.from_base(bound) for bound in bounds}
    short = sorted(value for value in made if len(f"{value.normalize():f}") <= 9)
    random.Random(len(short)).shuffle(short)
    return [value.normalize() for value in short]


def varied(project: str, book: str, count: int, seed: int) -> tuple[int, int]:
    """Compare that many designs; answers how many passed, and how many were done in columns."""
    chance = random.Random(seed)
    path = str(ROOT / "examples" / f"{project}.yaml")
    names = fields_of(Batch(Job(path, (), ((book,),))).templates[0])
    chance.shuffle(names)
    header = tuple(names[:FIELDS])
    batch = Batch(Job(path, header, ((book,),), special=True))
    assert not batch.lacking
    template = batch.templates[0]
    designs = Designs(template, [field for field in template.fields if field is not None], chance)
    rows = [designs.row() for _ in range(count)]
    made = template._columns
    assert made is not None
    passed = once = 0
    for cells, outcome in zip(rows, made.outcomes(rows), strict=True):
        if outcome is not None:
            assert said(outcome) == said(template.outcome(cells)), dict(zip(header, cells, strict=True))
            once += 1
            passed += bool(outcome.passes)
    return passed, once


def said(outcome: Outcome) -> tuple[object, ...]:
    """What a row shows of an outcome."""
    return *outcome[:2], None if outcome.margin is None else share_text(outcome.margin), outcome.choices


def fields_of(template: Template) -> list[str]:
    """Headers for every field that the project states, or that its book has a default for."""
    graph: Graph = next(iter(template._graphs.values()))
    found = []
    for thing in graph.run.things.values():
        for attribute in template.rulebook.attributes[thing.kind].values():
            if attribute.field is None or attribute.role == "relation":
                continue
            if attribute.sort not in ("number", "word", "truth", "member"):
                continue
            if attribute.name not in thing.memo and "default" not in attribute.field:
                continue
            try:
                unit = f" [{attribute.unit.text}]" if attribute.unit is not None else ""
                template.rulebook.units.unit(attribute.unit.text if attribute.unit else "1")
            except UnitError:
                continue
            found.append(f"{thing.path}.{'.'.join(attribute.steps)}{unit}")
    return found


@pytest.mark.parametrize(("project", "book"), LAID_OUT)
def test_columns_give_what_decimals_give(project: str, book: str) -> None:
    _, once = varied(project, book, 80, 0)
    assert once > 30


@pytest.mark.parametrize("hoist", ["east", "west"])
def test_without_columns_the_same_comes_out(
    kept: Path, shelf: Path, project: Path, tmp_path: Path, hoist: str
) -> None:
    """The hoist in the west has nothing to add up."""
    cases = tmp_path / "cases.csv"
    lines = [f"{number % 97},{10 + number % 45}" for number in range(1600)]
    cases.write_text(f"hoists.{hoist}.load [kg],yard.heat [degC]\n" + "\n".join(lines) + "\n", "utf-8")
    found = []
    for way in ([], ["--no-columns"]):
        output = tmp_path / f"out{len(way)}.csv"
        main(["batch", str(project), str(cases), "--output", str(output), "--rulesets", str(shelf), *way])
        found.append(output.read_bytes())
    assert found[0] == found[1]


def test_a_block_leaves_nothing_behind_that_has_to_be_looked_for(
    kept: Path, shelf: Path, project: Path
) -> None:
    """Columns that hold each other would stay until rubbish is collected, which a batch does seldom."""
    header = ("hoists.east.load [kg]", "yard.heat [degC]")
    batch = Batch(Job(str(project), header, folders=(str(shelf),), special=True))
    assert not batch.lacking
    gc.collect()
    gc.disable()
    try:
        before = sum(isinstance(one, Column) for one in gc.get_objects())
        assert len(batch.size([[str(row % 97), "20"] for row in range(500)]).rows) == 500
        assert sum(isinstance(one, Column) for one in gc.get_objects()) == before
    finally:
        gc.enable()


GREAT = """\
gaugebook: ruleset/1
id: piles
version: 1.0.0
title: Piles of Larkmere
document: Pile book 1
sources: {S1: {what: written for this test}}
kinds: {yard: {section: yard, one: yes}, pile: {section: piles}}
fields: {pile.side: {unit: "1", required: yes}}
rules: {stones: {of: pile, unit: "1", cites: "1", is: side ^ 10}}
checks: {few: {of: pile, cites: "2", require: stones <= 1000000 * side ^ 9}}
"""


def test_numbers_too_great_to_mean_anything_are_left_to_decimals(kept: Path, tmp_path: Path) -> None:
    (tmp_path / "piles.yaml").write_text(GREAT, "utf-8")
    project = tmp_path / "yard.yaml"
    project.write_text("gaugebook: project/1\nyard: {rulesets: [piles]}\npiles: {east: {side: 3}}\n", "utf-8")
    job = Job(str(project), ("piles.east.side",), (("piles",),), folders=(str(tmp_path),), special=True)
    rows = [["3"], ["20000000000"], ["0.00000000002"], ["0"], ["1000000"], ["3000000"]]
    columns, decimals = Batch(job), Batch(job._replace(special=False))
    assert not columns.lacking
    made = columns.size(rows)
    assert made == decimals.size(rows)
    assert [row[1] for row in made.rows] == ["yes", "no", "no", "yes", "yes", "no"]
    template = columns.templates[0]._columns
    assert template is not None
    assert [outcome is None for outcome in template.outcomes(rows)] == [False, True, True, False, False, False]


@pytest.mark.differential
@pytest.mark.parametrize(("project", "book"), LAID_OUT)
def test_a_hundred_thousand_designs(project: str, book: str) -> None:
    count, part = DESIGNS or 2000, 2000
    begun = range(0, count, part)
    sizes = [min(part, count - done) for done in begun]
    with ProcessPoolExecutor(mp_context=get_context("fork")) as pool:
        tried = list(
            pool.map(varied, repeat(project), repeat(book), sizes, [100 + done for done in begun])
        )
    passed, once = (sum(numbers) for numbers in zip(*tried, strict=True))
    print(f"\n  {book} on {project}: {count} designs, {passed} pass, {once} as columns, 0 differences")
