"""Ratios against the same job written by hand, or against a bare interpreter, measured side by side.

Absolute times mean nothing on shared machines, so every variant runs once in each round and the ratio is taken
inside the round. `pytest -m ratios -s tests/benchmarks` prints them with their bars; nothing else runs them.
"""

import os
import random
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import pytest

from gaugebook.batching import Batch, Job

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
    size = [sys.executable, "-m", "gaugebook", "size", str(ROOF), "--output", str(tmp_path / "page")]
    bare = [sys.executable, "-c", "pass"]
    seconds(size, environment)
    warm, cold = [], []
    for number in range(9):
        least = seconds(bare, environment)
        warm.append(seconds(size, environment) / least)
        if number < 3:
            cold.append(seconds([*size, "--no-cache"], environment) / least)
    report("cached call / bare interpreter", statistics.median(warm), 4.0)
    report("call without a cache / bare interpreter", statistics.median(cold), 31.0)


ROPES = {"thin": (20, 15, 1), "medium": (40, 30, 2), "thick": (80, 60, 4), "huge": (160, None, 8)}
HOOKS = (10, 20, 35, 50, 100)
WEAKENING = ((20, "1"), (30, "0.91"), (40, "0.82"), (50, "0.71"))


def by_hand(load: Decimal, heat: Decimal, wet: bool) -> tuple[bool, str | None, Decimal | None]:
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
    assert not special.row_by_row

    def hand() -> list[tuple[bool, str | None, Decimal | None]]:
        return [by_hand(Decimal(load), Decimal(heat), wet == "yes") for load, heat, wet in rows]

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
    plain, special = Batch(job), Batch(job._replace(special=True))
    ratios = []
    for _ in range(3):
        took = []
        for batch in (special, plain):
            start = time.process_time()
            made = batch.size(rows)
            took.append(time.process_time() - start)
            assert made.counts[3] == 0
        ratios.append(took[0] / took[1])
        speeds = [len(rows) / seconds_taken for seconds_taken in took]
        print(f"\n  rows a second: {speeds[0]:.0f} with a program of its own, {speeds[1]:.0f} without")
    report("a program of its own / row by row", statistics.median(ratios), 0.6)
