"""How time and memory grow: rows of a batch, circuits of a project, layers of a stack, entries of a book.

`python tests/benchmarks/curves.py [rows circuits layers entries] [--most N]` measures each point in a process of
its own and prints a table and a plot on doubly logarithmic paper; the slope between the last two points says
whether growth is linear (1.0) or worse. Times are processor time of this machine: only the slopes mean something.
"""

from __future__ import annotations

import argparse
import json
import math
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

HERE = Path(__file__).parent
POINTS: dict[str, list[int]] = {
    "rows": [1_000, 10_000, 100_000, 1_000_000, 10_000_000],
    "circuits": [1, 5, 20, 100, 500],
    "layers": [1, 2, 5, 10, 20],
    "entries": [50, 200, 800, 3200],
}
FEED = (
    "short: 9 A, strings: 2, metal: red, cover: warm90, ends: warm75, ambient: 35 degC, height: 50 mm, bundled: 4, "
    "length: 30 m, voltage: 400 V"
)


def rows(count: int, folder: Path) -> float:
    """Seconds for a batch of so many rows from file to file."""
    from gaugebook.cli import main

    cases = folder / "cases.csv"
    with cases.open("w") as file:
        file.write("feeds.east.short [A],feeds.east.length [m],feeds.east.metal\n")
        for number in range(count):
            file.write(f"{4 + number % 997 / 100},{5 + number % 113},{('red', 'grey')[number % 2]}\n")
    project = _project(folder, 1)
    call = ["batch", str(project), str(cases), "--output", str(folder / "out.csv"), "--rulesets", str(HERE)]
    start = time.process_time()
    main(call)
    return time.process_time() - start


def circuits(count: int, folder: Path) -> float:
    """Seconds for sizing a project of so many, its book at hand."""
    import gaugebook

    project = _project(folder, count)
    gaugebook.open_book("feeds", folders=[HERE])
    start = time.process_time()
    gaugebook.size(project, folders=[HERE])
    return time.process_time() - start


def layers(count: int, folder: Path) -> float:
    """Seconds for opening a stack of so many layers for the first time."""
    below = "feeds"
    for number in range(count):
        (folder / f"town-{number}.yaml").write_text(
            f"gaugebook: ruleset/1\nid: town-{number}\nversion: 1.0.0\ntitle: Town {number}\n"
            f"document: Ordinance {number}\n"
            f"extends: {below}\nsources: {{S1: {{what: invented for this benchmark}}}}\namend:\n"
            f"  - set: tables/bundling\n    cells: [{{at: [6], to: {0.8 - number / 1000:.3f}}}]\n"
            "    cites: '1'\n    source: S1\n    transcription: recalled\n",
            "utf-8",
        )
        below = f"town-{number}"
    return _opened(below, folder)


def entries(count: int, folder: Path) -> float:
    """Seconds for opening a book with so many further rules for the first time."""
    rules = "".join(
        f"  further_{number}: {{of: feed, unit: A, cites: '1', is: current * 1.25 + {number} A}}\n"
        for number in range(count)
    )
    text = (HERE / "feeds.yaml").read_text("utf-8").replace("id: feeds\n", "id: long\n")
    (folder / "long.yaml").write_text(text.replace("rules:\n", f"rules:\n{rules}"), "utf-8")
    return _opened("long", folder)


def _opened(book: str, folder: Path) -> float:
    import gaugebook
    from gaugebook import cache

    cache.switch(on=False)
    start = time.process_time()
    gaugebook.open_book(book, folders=[HERE, folder])
    return time.process_time() - start


def _project(folder: Path, count: int) -> Path:
    names = ["east", *(f"feed_{number}" for number in range(1, count))]
    lines = "".join(f"  {name}: {{{FEED}}}\n" for name in names)
    path = folder / "yard.yaml"
    path.write_text(f"gaugebook: project/1\nyard: {{rulesets: [feeds]}}\nfeeds:\n{lines}", "utf-8")
    return path


MEASURES: dict[str, Callable[[int, Path], float]] = {
    "rows": rows,
    "circuits": circuits,
    "layers": layers,
    "entries": entries,
}


def plot(points: list[tuple[int, float]], width: int = 60, height: int = 12) -> str:
    """Points on doubly logarithmic paper."""
    logs = [(math.log10(count), math.log10(max(value, 1e-6))) for count, value in points]
    left, right = logs[0][0], logs[-1][0]
    low, high = min(y for _, y in logs), max(y for _, y in logs)
    lines = [[" "] * (width + 1) for _ in range(height + 1)]
    for x, y in logs:
        column = round((x - left) / ((right - left) or 1) * width)
        row = height - round((y - low) / ((high - low) or 1) * height)
        lines[row][column] = "o"
    return "\n".join("    |" + "".join(line).rstrip() for line in lines) + "\n    +" + "-" * width


def main() -> None:
    """Measure what was asked for, or one point in this process."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", nargs="*", help=f"of {', '.join(POINTS)}; all when left out")
    parser.add_argument("--most", type=int, default=1_000_000, help="the greatest count tried")
    parser.add_argument("--point", nargs=2, metavar=("WHAT", "COUNT"), help=argparse.SUPPRESS)
    said = parser.parse_args()
    if said.point:
        with tempfile.TemporaryDirectory() as folder:
            took = MEASURES[said.point[0]](int(said.point[1]), Path(folder))
        print(json.dumps([took, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024]))
        return
    for what in said.what or POINTS:
        points: list[tuple[int, float]] = []
        print(f"\n{what}: {(MEASURES[what].__doc__ or '').strip()}\n    count      seconds   memory MB   slope")
        for count in (count for count in POINTS[what] if count <= said.most):
            call = [sys.executable, __file__, "--point", what, str(count)]
            done = subprocess.run(call, capture_output=True, text=True, check=True)
            took, memory = json.loads(done.stdout.splitlines()[-1])
            slope = ""
            if points:
                before, then = points[-1]
                slope = f"{math.log(took / then) / math.log(count / before):.2f}"
            points.append((count, took))
            print(f"{count:>10,} {took:>11.3f} {memory:>11.0f}   {slope}")
        print(plot(points))


if __name__ == "__main__":
    main()
