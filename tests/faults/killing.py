"""Kills the program at random moments while it writes, and looks at what is left."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from abc import ABC, abstractmethod
from collections.abc import Callable
from pathlib import Path
from typing import ClassVar, NamedTuple

from gaugebook import cache

BOOK = """\
gaugebook: ruleset/1
id: hoists
version: 1.0.0
title: Hoists
document: Book 1
kinds: {yard: {section: yard, one: yes}, hoist: {section: hoists}}
series: {ropes: {members: [thin, medium, thick]}}
fields: {hoist.load: {unit: kg, least: 0 kg}}
tables:
  bearing: {cites: T1, transcription: checked, unit: kg, keys: [{name: rope, series: ropes}],
    rows: {thin: 20, medium: 40, thick: 80}}
rules:
  burden: {of: hoist, unit: kg, cites: "1", transcription: checked, is: 1.25 * load}
checks: {holds: {of: hoist, cites: "2", require: "bearing[rope] >= burden", constrains: rope}}
choices: {rope: {of: hoist, from: ropes, cites: "2"}}
"""

PROJECT = """\
gaugebook: project/1
title: Yard
yard: {rulesets: [hoists]}
hoists: {east: {load: 20 kg}, west: {load: 5 kg}}
"""

ROWS = 1400
MOMENT = 3
"""Seconds to wait for a file in the making."""

PATIENCE = 60
"""Seconds that anything may take at all."""

LOOP = """
import shutil, sys
from gaugebook.cli import main
for number in range(10_000):
    main([argument.format(number % 2) for argument in sys.argv[2:]])
    if sys.argv[1]:
        shutil.rmtree(sys.argv[1])
    if number == 0:
        print("ready", flush=True)
"""
"""Makes the same call over and over, with a cache thrown away in between if one is named."""

LARGE = """
import sys
from pathlib import Path
from gaugebook import cache
from gaugebook.filing import write_where_asked
for number in range(10_000):
    content = bytes([65 + number % 2]) * 20_000_000
    if sys.argv[1:]:
        write_where_asked(Path(sys.argv[1]), content)
    else:
        cache.keep("large", number % 3, content)
    if number == 0:
        print("ready", flush=True)
"""
"""Does nothing but write what takes long enough to be hit, in the way everything of the sort is written."""


class Tally(NamedTuple):
    """What came of the kills."""

    what: str
    kills: int
    unfinished: int
    """Kills that hit while something was being written, to judge by what was left beside it."""

    seconds: float


class Scene(ABC):
    """Something that is written again and again in a folder."""

    name: ClassVar[str]

    def __init__(self, folder: Path, chance: random.Random) -> None:
        self.folder, self.chance = folder, chance
        self.books = folder / "books"
        self.books.mkdir(parents=True)
        (self.books / "hoists.yaml").write_text(BOOK, "utf-8")
        self.environment = {**os.environ, cache.VARIABLE: str(folder / "kept")}
        for number in (0, 1):
            self.project(number).write_text(
                PROJECT.replace("Yard", f"Yard {number} " + "x" * 40_000 * number), "utf-8"
            )

    def project(self, number: int) -> Path:
        """One of two projects."""
        return self.folder / f"project{number}.yaml"

    def call(self, *arguments: str) -> subprocess.CompletedProcess[bytes]:
        """The program, left alone."""
        call = [sys.executable, "-m", "gaugebook", *arguments, "--rulesets", str(self.books)]
        done = subprocess.run(call, env=self.environment, capture_output=True, timeout=PATIENCE)
        assert done.returncode in (0, 1), done.stderr.decode()
        return done

    def kill(self, call: list[str], longest: float, seen: Callable[[], bool] = lambda: True) -> bool:
        """Start a process, kill it after no more than `longest` seconds; False where it was done before.

        `seen` makes the kill wait a little longer, until something can be seen.
        """
        process = subprocess.Popen(
            call, env=self.environment, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, cwd=self.folder
        )
        assert process.stdout is not None
        self.wait(process)
        time.sleep(self.chance.uniform(0, longest))
        until = time.monotonic() + MOMENT
        while not seen() and time.monotonic() < until:
            time.sleep(0.0002)
        process.send_signal(signal.SIGKILL)
        process.stdout.close()
        return process.wait(PATIENCE) == -signal.SIGKILL

    def wait(self, process: subprocess.Popen[bytes]) -> None:
        """Until it says that it is ready."""
        assert process.stdout is not None
        process.stdout.readline()

    def making(self) -> list[Path]:
        """What is being written and has not its name yet."""
        return []

    def in_the_making(self) -> bool:
        """True while something is being written."""
        return bool(self.making())

    def cleared(self) -> bool:
        """Remove what was being written; True if there was anything."""
        left = self.making()
        for path in left:
            path.unlink()
        return bool(left)

    def looping(self, thrown_away: str, *arguments: str) -> list[str]:
        """A process that makes the same call over and over."""
        return [sys.executable, "-c", LOOP, thrown_away, *arguments, "--rulesets", str(self.books)]

    @abstractmethod
    def once(self) -> bool:
        """One more kill, if it hits, and a look at what is left; raises `AssertionError`."""

    @abstractmethod
    def unfinished(self) -> bool:
        """True when the last kill left something unfinished beside the files with a name; it is removed."""

    @abstractmethod
    def end(self) -> None:
        """What must hold when nobody kills any more."""


class Batches(Scene):
    """A batch that is stopped again and again, and goes on."""

    name = "batch"
    suffix: ClassVar[str] = ".csv"

    def __init__(self, folder: Path, chance: random.Random) -> None:
        super().__init__(folder, chance)
        self.cases = folder / "cases.csv"
        self.output, whole = (folder / f"{name}{self.suffix}" for name in ("out", "whole"))
        rows = "".join(f"{number},{number * 7 % 90}\n" for number in range(ROWS))
        self.cases.write_text(f"case,hoists.east.load [kg]\n{rows}", "utf-8")
        self.part, self.journal, self.last = (
            folder / f"{self.output.name}.{end}" for end in ("part", "journal", "new")
        )
        self.call(*self.arguments(whole))
        self.whole = whole.read_bytes()

    def arguments(self, output: Path) -> list[str]:
        """Those of the batch."""
        return ["batch", str(self.project(0)), str(self.cases), "--output", str(output)]

    def wait(self, process: subprocess.Popen[bytes]) -> None:
        """Until it has begun to write."""
        files = (self.part, self.journal, self.last)
        before, until = state_of(*files), time.monotonic() + PATIENCE
        while state_of(*files) == before and process.poll() is None and time.monotonic() < until:
            time.sleep(0.002)

    def once(self) -> bool:
        """Kill it once more; an output that is there is the whole one."""
        arguments = [*self.arguments(self.output), "--rulesets", str(self.books)]
        killed = self.stopped([sys.executable, "-m", "gaugebook", *arguments])
        if self.output.exists():
            assert self.output.read_bytes() == self.whole, "half a file under a final name"
            self.output.unlink()
        return killed

    def stopped(self, call: list[str]) -> bool:
        """Start it and kill it."""
        return self.kill(call, longest=0.15)

    def unfinished(self) -> bool:
        """A part that goes on next time: it stays."""
        return self.part.exists()

    def end(self) -> None:
        """The rest is added, and nothing is left."""
        self.call(*self.arguments(self.output))
        assert self.output.read_bytes() == self.whole, "going on comes to something else"
        assert not any(path.exists() for path in (self.part, self.journal, self.last))


class ColumnarBatches(Batches):
    """The same with a columnar file at the end, made of the rows: half of the kills wait until that is written."""

    name = "columnar"
    suffix = ".parquet"

    def stopped(self, call: list[str]) -> bool:
        """Start it, half of the time from the first row, and kill it.

        What an earlier kill left of the columnar file is still there.
        """
        before, anew, at_last = state_of(self.last), *(self.chance.random() < 0.5 for _ in range(2))
        for path in (self.part, self.journal) if anew else ():
            path.unlink(missing_ok=True)

        def begun() -> bool:
            return state_of(self.last) not in (before, ())

        def seen() -> bool:
            if at_last and begun():
                time.sleep(self.chance.uniform(0, 0.01))
            return not at_last or begun()

        killed = self.kill(call, 0 if at_last else 0.15, seen)
        self.begun = begun()
        return killed

    def unfinished(self) -> bool:
        """A columnar file without its name, written this time."""
        return self.begun


class Kept(Scene):
    """The cache, filled again and again."""

    name = "cache"

    def __init__(self, folder: Path, chance: random.Random) -> None:
        super().__init__(folder, chance)
        self.kept = folder / "kept"
        self.arguments = [
            "size",
            str(self.project(1)),
            "--format",
            "json",
            "--output",
            str(folder / "out.json"),
        ]
        self.call(*self.arguments)
        self.result = (folder / "out.json").read_bytes()

    def once(self) -> bool:
        """Kill it; whatever has its name in the cache is whole."""
        large = self.chance.random() < 0.5
        program = self.looping(str(self.kept), *self.arguments)
        call = [sys.executable, "-c", LARGE] if large else program
        killed = self.kill(call, 0.25, self.in_the_making if large else lambda: True)
        for path in self.kept.glob("*") if self.kept.exists() else ():
            if "." not in path.name:
                cache._opened(path)
        return killed

    def unfinished(self) -> bool:
        """Temporary files, which the next call leaves alone."""
        return self.cleared()

    def making(self) -> list[Path]:
        """Files of the cache without their name yet."""
        return list(self.kept.glob("*.*")) if self.kept.exists() else []

    def end(self) -> None:
        """The answer is the same as ever, from the cache too."""
        for _ in range(2):
            self.call(*self.arguments)
            assert (self.folder / "out.json").read_bytes() == self.result


class Sheets(Scene):
    """A sheet, written over again and again by that of another project."""

    name = "sheet"

    def __init__(self, folder: Path, chance: random.Random) -> None:
        super().__init__(folder, chance)
        self.sheet = folder / "sheet.html"
        self.whole = []
        for number in (0, 1):
            self.call("size", str(self.project(number)), "--format", "html", "--output", str(self.sheet))
            self.whole.append(self.sheet.read_bytes())
        self.whole += [bytes([letter]) * 20_000_000 for letter in b"AB"]

    def once(self) -> bool:
        """Kill it; the sheet is one of the two."""
        large = self.chance.random() < 0.5
        project = str(self.folder / "project{}.yaml")
        program = self.looping("", "size", project, "--format", "html", "--output", str(self.sheet))
        call = [sys.executable, "-c", LARGE, str(self.sheet)] if large else program
        killed = self.kill(call, 0.25, self.in_the_making if large else lambda: True)
        assert self.sheet.read_bytes() in self.whole, "half a file under a final name"
        return killed

    def unfinished(self) -> bool:
        """What was to become a sheet."""
        return self.cleared()

    def making(self) -> list[Path]:
        """A sheet without its name yet."""
        return list(self.folder.glob("sheet.html.*"))

    def end(self) -> None:
        """The next sheet takes the place of the last."""
        self.call("size", str(self.project(1)), "--format", "html", "--output", str(self.sheet))
        assert self.sheet.read_bytes() == self.whole[1]


SCENES: tuple[type[Scene], ...] = (Batches, ColumnarBatches, Kept, Sheets)


def state_of(*files: Path) -> tuple[int, ...]:
    """What changes when any of some files is written to; nothing where none of them is there."""
    found = (path.stat() for path in files if path.exists())
    return tuple(number for status in found for number in (status.st_size, status.st_mtime_ns))


def killed(scene: type[Scene], times: int, folder: Path, seed: int) -> Tally:
    """Kill a scene so many times; raises `AssertionError` where something is left that must not be."""
    begun = time.monotonic()
    made = scene(folder / scene.name, random.Random(f"{scene.name} {seed}"))
    kills = unfinished = tries = 0
    while kills < times:
        tries += 1
        assert tries <= 4 * times + 20, "it is always done before it is killed"
        if made.once():
            kills += 1
            unfinished += made.unfinished()
    made.end()
    return Tally(scene.name, kills, unfinished, time.monotonic() - begun)
