"""Ratios against the same job written by hand, or against a bare interpreter, measured side by side.

Absolute times mean nothing on shared machines, so every variant runs once in each round and the ratio is taken
inside the round. `pytest -n 0 -m ratios -s tests/benchmarks` prints them with their bars; nothing else runs them.
"""

import os
import random
import shutil
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import by_hand

from gaugebook.arrays import Column
from gaugebook.batch_run import COLUMN_BLOCK
from gaugebook.batching import Batch, Job
from gaugebook.columns import Block, Given
from gaugebook.nests import Numbers
from gaugebook.resources import packaged
from gaugebook.runtime import Absent
from gaugebook.straight import VOID, straighten, told

pytestmark = pytest.mark.ratios
ROOT = Path(__file__).parents[2]
ROOF = ROOT / "examples" / "boathouse.yaml"
LEEWAY = 1.25
"""Bars are for a quiet machine; a ratio is a fault only beyond this share of its bar."""


def report(name: str, ratio: float, bar: float | None) -> None:
    """Print a ratio, and fail where it is clearly beyond its bar."""
    print(f"\n  {name}: {ratio:.2f}" + (f" (bar {bar})" if bar else ""))
    assert bar is None or ratio <= bar * LEEWAY


def seconds(call: list[str], environment: dict[str, str]) -> float:
    """Processor time of one process."""
    process = subprocess.Popen(call, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    _, _, usage = os.wait4(process.pid, 0)
    return usage.ru_utime + usage.ru_stime


def test_cold_calls_against_a_bare_interpreter(tmp_path: Path) -> None:
    """25 ms over a bare interpreter of 8.3 ms is 4 times bare; 250 ms over it is 31 times bare.

    Where the package is installed for editing, the bare interpreter is slower and the ratios flatter.
    """
    environment = {**os.environ, "GAUGEBOOK_CACHE": str(tmp_path / "kept")}
    books = tmp_path / "books"
    shutil.copytree(str(packaged("rulesets")), books)
    size = [sys.executable, "-m", "gaugebook", "size", str(ROOF), "--output", str(tmp_path / "page")]
    edited = [*size, "--rulesets", str(books)]
    bare = [sys.executable, "-c", "pass"]
    seconds(size, environment)
    seconds(edited, environment)
    found: dict[str, list[float]] = {name: [] for name in ("bare", "cached", "whole", *EDITS)}
    for number in range(15):
        found["bare"].append(seconds(bare, environment))
        found["cached"].append(seconds(size, environment))
        for edit, (file, old, new) in EDITS.items():
            place = books / file
            text = place.read_text("utf-8")
            assert text.count(old.format(number)) == 1
            place.write_text(text.replace(old.format(number), new.format(number + 1)), "utf-8")
            found[edit].append(seconds(edited, environment))
        if number < 5:
            found["whole"].append(seconds([*size, "--no-cache"], environment))
    least = {name: min(values) for name, values in found.items()}
    report("call without a cache / bare interpreter", least["whole"] / least["bare"], None)
    for edit in EDITS:
        report(f"first call after an edit of {edit} / bare interpreter", least[edit] / least["bare"], 31.0)
    report("cached call / bare interpreter", least["cached"] / least["bare"], 4.0)


RULES = "nec-2017/rules/changes.yaml"
EDITS = {
    "a remark": (RULES, "\nconstants:\n", "\n# remark {}\nconstants:\n"),
    "a figure": (RULES, "value: 3{}\n", "value: 3{}\n"),
    "an expression": (RULES, "is: {} K\n", "is: {} K\n"),
}
"""What is edited in a book: file, what stands there, and what is put in its place."""

ROPES = {"thin": (20, 15, 1), "medium": (40, 30, 2), "thick": (80, 60, 4), "huge": (160, None, 8)}
HOOKS = (10, 20, 35, 50, 100)
WEAKENING = ((20, "1"), (30, "0.91"), (40, "0.82"), (50, "0.71"))


def hoist_by_hand(load: Decimal, heat: Decimal, wet: bool) -> tuple[bool, str | None, Decimal | None]:
    """The book of `tests/fast` on one hoist, as somebody would write it who knows no other."""
    burden = Decimal("1.25") * load
    factor = next((Decimal(factor) for bound, factor in WEAKENING if heat <= bound), None)
    rope = None
    if factor is not None:
        for name, (dry, damp, _) in ROPES.items():
            bears = damp if wet else dry
            if bears is not None and bears * factor >= burden:
                rope = name
                break
    hook = next((Decimal(hook) for hook in HOOKS if hook * 2 >= burden), None)
    fits = rope is not None and ROPES[rope][2] * 10 <= 20
    return rope is not None and hook is not None and fits, rope, hook


def test_rows_of_a_batch_against_the_rules_by_hand(tmp_path: Path) -> None:
    """Ours reads cells, checks their ranges and finds the governing check besides; by hand does not."""
    from gaugebook.documents import parse

    book = (ROOT / "tests" / "fast" / "conftest.py").read_text("utf-8").split('BOOK = """\\\n')[1].split('"""')[0]
    assert parse(book, "book").data["id"] == "hoists"
    (tmp_path / "hoists.yaml").write_text(book, "utf-8")
    project = tmp_path / "yard.yaml"
    project.write_text(
        "gaugebook: project/1\nyard: {rulesets: [hoists]}\n"
        "hoists: {east: {load: 20 kg, pulleys: [{width: 20 mm}]}}\n", "utf-8",
    )
    chance = random.Random(1)
    rows = [
        [str(chance.randint(0, 90)), str(chance.randint(10, 55)), chance.choice(["yes", "no"])]
        for _ in range(2000)
    ]
    job = Job(
        str(project), ("hoists.east.load [kg]", "yard.heat [degC]", "hoists.east.wet"), folders=(str(tmp_path),)
    )
    plain, special = Batch(job), Batch(job._replace(special=True))
    assert not special.lacking

    def hand() -> list[tuple[bool, str | None, Decimal | None]]:
        return [hoist_by_hand(Decimal(load), Decimal(heat), wet == "yes") for load, heat, wet in rows]

    for row, (passes, rope, hook) in zip(special.size(rows).rows, hand(), strict=True):
        assert row[3] == ("yes" if passes else "no")
        assert row[6:8] == [rope or "", f"{hook} kg" if hook is not None else ""]
    variants: list[Callable[[], object]] = [hand, lambda: special.size(rows), lambda: plain.size(rows)]
    rounds = []
    for _ in range(5):
        took = []
        for variant in variants:
            start = time.process_time()
            variant()
            took.append(time.process_time() - start)
        rounds.append(took)
    report("a program of its own / by hand in decimals", statistics.median(r[1] / r[0] for r in rounds), None)
    report("row by row / by hand in decimals", statistics.median(r[2] / r[0] for r in rounds), None)
    faster = statistics.median(r[1] / r[2] for r in rounds)
    report("a program of its own / row by row", faster, 1.0)


def test_rows_of_the_example_roof() -> None:
    """Four circuits under one edition."""
    chance = random.Random(3)
    header = (
        "site.ambient_high [degC]", "circuits.array.runs[0].length [m]",
        "modules.roof_module.short_circuit_current [A]",
    )
    rows = [
        [str(chance.randint(20, 60)), str(chance.randint(1, 300)), str(round(chance.uniform(5, 13), 2))]
        for _ in range(150)
    ]
    job = Job(str(ROOF), header, (("nec-2017",),))
    columns = Batch(job._replace(special=True))
    template = columns.templates[0]
    columns.size(rows)
    counts = {"in columns": 20_000, "by the roof's own program": 150, "one by one": 60}
    many = [rows[number % len(rows)] for number in range(counts["in columns"])]
    ways: list[Callable[[], object]] = [
        lambda: columns.size(many),
        lambda: [template.outcome(row) for row in rows],
        lambda: Batch(job).size(rows[: counts["one by one"]]),
    ]
    took = []
    for (name, count), way in zip(counts.items(), ways, strict=True):
        start = time.process_time()
        way()
        took.append((time.process_time() - start) / count)
        print(f"\n  {1 / took[-1]:,.0f} rows a second and core {name}")
    report("in columns / by the roof's own program", took[0] / took[1], 1.0)
    report("by the roof's own program / one by one", took[1] / took[2], 1.0)


FEED = {
    "short [A]": lambda chance: str(round(chance.uniform(4, 14), 2)),
    "strings": lambda chance: str(chance.randint(1, 12)),
    "metal": lambda chance: chance.choice(by_hand.METALS),
    "cover": lambda chance: chance.choice(["warm75", "warm90"]),
    "ends": lambda chance: chance.choice(["warm60", "warm75"]),
    "ambient [degC]": lambda chance: str(chance.randint(10, 48)),
    "height [mm]": lambda chance: str(chance.randint(5, 1200)),
    "bundled": lambda chance: str(chance.choice([2, 3, 4, 6, 8, 12])),
    "length [m]": lambda chance: str(chance.randint(5, 120)),
    "voltage [V]": lambda chance: str(chance.randint(200, 1000)),
}
WORDS = ("metal", "cover", "ends")


def feeds(count: int, folder: Path, names: Sequence[str] = ("east",)) -> tuple[Batch, list[list[str]]]:
    """A batch over one feed or several under the book of the benchmark, and random cases."""
    project = folder / "yard.yaml"
    stated = (
        "short: 9 A, strings: 2, metal: red, cover: warm90, ends: warm75, ambient: 35 degC, height: 50 mm, "
        "bundled: 4, length: 30 m, voltage: 400 V"
    )
    listed = ", ".join(f"{name}: {{{stated}}}" for name in names)
    project.write_text(f"gaugebook: project/1\nyard: {{rulesets: [feeds]}}\nfeeds: {{{listed}}}\n", "utf-8")
    chance = random.Random(1)
    rows = [[make(chance) for _ in names for make in FEED.values()] for _ in range(count)]
    header = tuple(f"feeds.{feed}.{name}" for feed in names for name in FEED)
    return Batch(Job(str(project), header, folders=(str(Path(__file__).parent),), special=True)), rows


def ratios(rounds: int, ours: Callable[[], object], theirs: Callable[[], object]) -> float:
    """The middle of the ratios of two jobs done one after the other, in processor time."""
    found = []
    for _ in range(rounds):
        took = []
        for job in (ours, theirs):
            start = time.process_time()
            job()
            took.append(time.process_time() - start)
        found.append(took[0] / took[1])
    return statistics.median(found)


def test_one_design_against_plain_python(tmp_path: Path) -> None:
    """One feed by the function of its plan, against the rules by hand in binary numbers."""
    _against_plain_python(tmp_path, ["east"], 2000)


def test_twenty_circuits_against_plain_python(tmp_path: Path) -> None:
    """A project of twenty feeds in one function, against the rules by hand twenty times."""
    _against_plain_python(tmp_path, [f"f{number}" for number in range(20)], 100)


def _against_plain_python(folder: Path, names: list[str], count: int) -> None:
    """Both begin with numbers and words and end with size, device and what rejected each smaller size."""
    batch, rows = feeds(count, folder, names)
    template = batch.templates[0]
    graph = template._graphs[()]
    fields = [field for field in template.fields if field is not None]
    values = [
        {(f.thing, f.attribute.name): template._value(f, cell, graph.run) for f, cell in zip(fields, row, strict=True)}
        for row in rows
    ]
    wide = len(FEED)
    numbered = [
        [cell if name in WORDS else float(cell) for name, cell in zip(FEED, row[place : place + wide], strict=True)]
        for row in rows
        for place in range(0, len(row), wide)
    ]
    hand: list[tuple[int | None, float | None, list[int]]] = []

    def theirs() -> None:
        hand[:] = [by_hand.size_feed(*row) for row in numbered]  # type: ignore[arg-type]

    plan = graph._plan
    assert plan is not None
    wanted = [(thing.path, attribute.name) for thing, attribute in graph.choices]
    named = f"{len(names)} feeds" if len(names) > 1 else "one feed"
    bars = [("values", False, False, 1.3), ("recorded", False, True, 1.6), ("decimals, recorded", True, True, 3.0)]
    for name, exact, recorded, bar in bars:
        made = straighten(plan, wanted, exact, recorded)
        numbers = Numbers(exact)
        given = [[numbers.of(one[key]) for key in made.inputs] for one in values]
        function = made.function
        found: list[tuple[object, ...]] = []

        def ours() -> None:
            with graph.run.exactly():
                found[:] = [function(*row) for row in given]  # noqa: B023  called at once

        ratio = ratios(7, ours, theirs)
        split = [made.split(row) for row in found]
        _same_feeds(names, wanted, made.choices, split, hand, recorded)
        report(f"{named}, {name} / plain Python in binary numbers", ratio, bar)
    if len(names) > 1:
        return
    program = graph._program
    assert program is not None
    answers = [program.answers[key] for key in wanted]

    def asked() -> None:
        with graph.run.exactly():
            for one in values:
                program.start(one)
                for answer in answers:
                    _or_none(answer)

    ratio = ratios(3, asked, theirs)
    report(f"{named}, by the plan's program in decimals / plain Python in binary numbers", ratio, None)


def _same_feeds(
    names: list[str], wanted: list[tuple[str, str]], choices: list[tuple[str, str]],
    found: Sequence[tuple[object, ...]], hand: list[tuple[int | None, float | None, list[int]]], recorded: bool,
) -> None:
    """Sizes, devices and what rejected the smaller sizes are those by hand."""
    expected = iter(hand)
    for answers, _, records in found:
        chosen = dict(zip(wanted, answers, strict=True))  # type: ignore[call-overload]
        rejected = dict(zip(choices, records, strict=True))  # type: ignore[call-overload]
        for name in names:
            size, device, failed = next(expected)
            key = (f"feeds.{name}", "size")
            assert chosen[key] == (VOID if size is None else by_hand.SIZES[size])
            assert chosen[f"feeds.{name}", "device"] == (VOID if device is None else device)
            checks = [spot for spot, _, _ in told(rejected[key])] if recorded else rejected[key]
            if size is not None:  # by hand nothing is said where the heat or the device already settles it
                assert checks == failed


def _or_none(answer: Callable[[], object]) -> object:
    try:
        return answer()
    except Absent:
        return None


def test_a_block_of_columns_against_numpy(tmp_path: Path) -> None:
    """Both begin with arrays and end with the size and the device of every feed."""
    count = 131072
    batch, rows = feeds(count, tmp_path)
    made = batch.templates[0]._columns
    assert made is not None
    cells = list(zip(*rows, strict=True))
    lists = {"metal": by_hand.METALS, "cover": by_hand.COVERS, "ends": by_hand.COVERS}
    arrays = [
        np.array([lists[name].index(cell) for cell in column]) if name in lists else np.array(column, float)
        for name, column in zip(FEED, cells, strict=True)
    ]
    given = {}
    for reader, column in zip(made.readers, cells, strict=True):
        assert reader is not None and reader.number is not None
        given[reader.number] = reader.read(column, np.zeros(count, bool))
    places = {place.attribute.name: place.number for place in made.plan.places if place.chosen}
    answers: dict[str, np.ndarray] = {name: np.empty(count) for name in places}

    def ours() -> None:
        for start in range(0, count, COLUMN_BLOCK):
            part = slice(start, start + COLUMN_BLOCK)
            some = {number: Given(Column(all.column.data[part]), True) for number, all in given.items()}
            whole = Block(made.columns, len(arrays[0][part]), some).whole()
            with np.errstate(all="ignore"):
                for name, number in places.items():
                    column = whole.read(number)
                    answers[name][part] = np.where(np.asarray(column.gone) == 0, column.data, -1)

    hand: list[tuple[np.ndarray, np.ndarray]] = []

    def walked() -> None:
        hand[:] = [by_hand.size_feeds(*arrays)]

    def turned() -> None:
        hand[:] = [by_hand.threshold_feeds(*arrays)]

    for name, theirs, bar in (("walk", walked, 1.3), ("thresholds", turned, None)):
        ratio = ratios(7, ours, theirs)
        assert (answers["size"] == hand[0][0]).all()
        assert (np.where(answers["device"] < 0, np.inf, answers["device"]) == hand[0][1]).all()
        report(f"columns / numpy by hand, {name}", ratio, bar)
    del made.columns.starts[places["size"]]
    ratio = ratios(7, ours, walked)
    assert (answers["size"] == hand[0][0]).all()
    report("columns that look at every size / numpy by hand, walk", ratio, None)


def test_rows_from_file_to_file(tmp_path: Path) -> None:
    """What a batch does besides: read cells, check ranges, find the governing check, write the outcome."""
    batch, rows = feeds(20_000, tmp_path)
    start = time.process_time()
    batch.size(rows)
    took = time.process_time() - start
    print(f"\n  {len(rows) / took:,.0f} rows a second and core, cells to cells")
    alone = [list(row) for row in rows[:1000]]
    template = batch.templates[0]
    ratio = ratios(3, lambda: list(template.outcomes(alone)), lambda: [template.outcome(row) for row in alone])
    report("rows as columns / rows by their own program", ratio, 1.0)
