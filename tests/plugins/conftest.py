"""Distributions made up for a test: modules and their metadata in a folder on the path of a new process."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

import pytest

BOOK = """\
gaugebook: ruleset/1
id: tiny
version: 1.0.0
title: A tiny book
document: Tiny
kinds:
  thing: {section: things}
series:
  sizes: {members: [small, large], cites: "1", transcription: checked}
fields:
  thing.length: {unit: m}
rules:
"""

PROJECT = """\
gaugebook: project/1
title: One thing
site: {rulesets: [tiny]}
things: {one: {length: 4 m}}
"""


class Said(NamedTuple):
    """What a call said and how it ended."""

    status: int
    out: str
    err: str


class Installed:
    """A folder of made-up distributions, and calls of the program that see it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.site = folder / "site"
        self.site.mkdir()
        self.environment = {
            **os.environ, "PYTHONPATH": str(self.site), "GAUGEBOOK_RULESETS": str(folder), "GAUGEBOOK_TEST": "1",
        }
        self.environment.pop("GAUGEBOOK_WITHOUT", None)

    def plugin(
        self, code: str, *, name: str = "acme", distribution: str = "acme-rules", version: str = "2.1",
        requires: str = "",
    ) -> None:
        """A distribution with one module that is one plugin."""
        module = distribution.replace("-", "_")
        (self.site / f"{module}.py").write_text(code, "utf-8")
        info = self.site / f"{module}-{version}.dist-info"
        info.mkdir()
        needs = f"Requires-Dist: {requires}\n" if requires else ""
        metadata = f"Metadata-Version: 2.1\nName: {distribution}\nVersion: {version}\n{needs}"
        (info / "METADATA").write_text(metadata, "utf-8")
        (info / "entry_points.txt").write_text(f"[gaugebook]\n{name} = {module}\n", "utf-8")

    def book(self, *rules: str, kinds: str = "") -> None:
        """A ruleset `tiny` with these rules of the kind `thing`, and a project under it."""
        head = BOOK.replace("kinds:\n", f"kinds:\n  site: {{section: site, one: yes}}\n{kinds}")
        lines = [f"  {rule}\n" for rule in rules]
        (self.folder / "tiny.yaml").write_text(head + "".join(lines), "utf-8")
        (self.folder / "project.yaml").write_text(PROJECT, "utf-8")

    def call(self, *arguments: str, **environment: str) -> Said:
        """Run the program in a process of its own."""
        done = subprocess.run(
            [sys.executable, "-m", "gaugebook", *arguments],
            cwd=self.folder, env={**self.environment, **environment}, capture_output=True, text=True, timeout=60,
        )
        return Said(done.returncode, done.stdout, done.stderr)

    def python(self, code: str) -> Said:
        """Run lines of Python in a process that sees the distributions."""
        done = subprocess.run(
            [sys.executable, "-c", code],
            cwd=self.folder, env=self.environment, capture_output=True, text=True, timeout=60,
        )
        return Said(done.returncode, done.stdout, done.stderr)


@pytest.fixture
def installed(tmp_path: Path) -> Installed:
    """Nothing installed yet."""
    return Installed(tmp_path)


