"""Puts one mutant after another into a copy of the tree and runs there the tests that are about its module.

Each run is a fork of this process, which has imported what the tests import of others, so that a run begins at once.
"""

from __future__ import annotations

import importlib
import os
import resource
import shutil
import signal
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

import pytest
from mutants import Mutant

ROOT = Path(__file__).parents[2]
ROOMS = ("engine", "grammar", "rulesets", "plugins", "examples", "tests")
INSIDE = ("grammar", "rulesets", "plugins")
"""Rooms that are installed inside the package."""
OTHERS = ("hypothesis", "jsonschema", "lark", "pint", "pluggy", "tabulate", "yaml")

MEMORY = 4 << 30
SLOWER = 5
"""A mutant that takes so many times as long as the module itself goes round in a circle."""

KILLED, TIMED_OUT, SURVIVED = "killed", "timed out", "survived"


class Verdict(NamedTuple):
    """What became of a mutant."""

    mutant: Mutant
    outcome: str


class Tree:
    """A copy of the whole tree, where a module may be changed without anybody noticing."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        for room in ROOMS:
            shutil.copytree(ROOT / room, folder / room, ignore=shutil.ignore_patterns("__pycache__"))
        for name in ("pyproject.toml", "README.md", "DEVELOPERS.md"):
            shutil.copy(ROOT / name, folder / name)
        for room in INSIDE:
            (folder / "engine" / room).symlink_to(folder / room)
        (folder / "path").mkdir()
        (folder / "path" / "gaugebook").symlink_to(folder / "engine")
        for name in OTHERS:
            importlib.import_module(name)

    def passes(self, files: Sequence[str], limit: float = float("inf")) -> bool | None:
        """Whether the tests of these files pass; None when they take longer than `limit` seconds."""
        shutil.rmtree(self.folder / "cache", ignore_errors=True)
        child = os.fork()
        if not child:
            self._run(files)
        started = time.monotonic()
        while time.monotonic() - started < limit:
            done, status = os.waitpid(child, os.WNOHANG)
            if done:
                return status == 0
            time.sleep(0.02)
        os.killpg(child, signal.SIGKILL)
        os.waitpid(child, 0)
        return None

    def _run(self, files: Sequence[str]) -> None:
        """Run the tests in this process, and end it."""
        try:
            os.setsid()
            resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
            os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
            os.dup2(1, 2)
            os.chdir(self.folder)
            paths = [str(self.folder / "path"), str(self.folder / "tests" / "mutation")]
            sys.path[:0] = paths
            os.environ["PYTHONPATH"] = os.pathsep.join(paths)
            os.environ["GAUGEBOOK_CACHE"] = str(self.folder / "cache")
            sys.dont_write_bytecode = True
            os._exit(pytest.main(["-x", "-q", "-n", "0", "-p", "no:cacheprovider", "-p", "quick", *files]))
        finally:
            os._exit(99)

    def tried(self, module: str, chosen: Sequence[Mutant], files: Sequence[str]) -> Iterator[Verdict]:
        """What becomes of each mutant of a module; `SystemExit` where its tests fail without any."""
        place = self.folder / "engine" / f"{module}.py"
        source = place.read_text(encoding="utf-8")
        started = time.monotonic()
        if not self.passes(files):
            raise SystemExit(f"{module}: its tests fail as it stands: {' '.join(files)}")
        limit = SLOWER * (time.monotonic() - started) + 10
        try:
            for mutant in chosen:
                place.write_text(mutant.source, encoding="utf-8")
                passed = self.passes(files, limit)
                yield Verdict(mutant, TIMED_OUT if passed is None else SURVIVED if passed else KILLED)
        finally:
            place.write_text(source, encoding="utf-8")
