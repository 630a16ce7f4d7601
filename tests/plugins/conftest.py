"""Distributions made up for a test: modules and their metadata in a folder on the path."""

from __future__ import annotations

import importlib
import os
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

import pytest

from gaugebook import extending, functions
from gaugebook.cli import main

BOOK = """\
gaugebook: ruleset/1
id: tiny
version: 1.0.0
title: A tiny book
document: Tiny
kinds:
  site: {section: site, one: yes}
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
    """What a call said and how it ended; `err` holds the warnings too."""

    status: int
    out: str
    err: str


class Installed:
    """A folder of made-up distributions, and calls of the program that see it."""

    def __init__(
        self,
        folder: Path,
        patch: pytest.MonkeyPatch,
        printed: pytest.CaptureFixture[str],
        logged: pytest.LogCaptureFixture,
    ) -> None:
        self.folder, self.patch, self.printed, self.logged = folder, patch, printed, logged
        self.site = folder / "site"
        self.site.mkdir()
        self.modules: list[str] = []
        patch.chdir(folder)
        patch.syspath_prepend(str(self.site))
        patch.setenv("GAUGEBOOK_RULESETS", str(folder))
        patch.setenv("GAUGEBOOK_TEST", "1")
        patch.delenv("GAUGEBOOK_WITHOUT", raising=False)

    def plugin(
        self,
        code: str,
        *,
        name: str = "acme",
        distribution: str = "acme-rules",
        version: str = "2.1",
        requires: str = "",
    ) -> None:
        """A distribution with one module that is one plugin."""
        module = distribution.replace("-", "_")
        self.modules.append(module)
        (self.site / f"{module}.py").write_text(code, "utf-8")
        info = self.site / f"{module}-{version}.dist-info"
        info.mkdir()
        needs = f"Requires-Dist: {requires}\n" if requires else ""
        metadata = f"Metadata-Version: 2.1\nName: {distribution}\nVersion: {version}\n{needs}"
        (info / "METADATA").write_text(metadata, "utf-8")
        (info / "entry_points.txt").write_text(f"[gaugebook]\n{name} = {module}\n", "utf-8")

    def book(self, *rules: str) -> None:
        """A ruleset `tiny` with these rules of the kind `thing`, and a project under it."""
        (self.folder / "tiny.yaml").write_text(BOOK + "".join(f"  {rule}\n" for rule in rules), "utf-8")
        (self.folder / "project.yaml").write_text(PROJECT, "utf-8")

    def forget(self) -> None:
        """What a new process would not know."""
        importlib.invalidate_caches()
        extending._extensions.cache_clear()
        functions._known.cache_clear()
        for module in self.modules:
            sys.modules.pop(module, None)

    def call(self, *arguments: str, **environment: str) -> Said:
        """One call of the program that sees what is installed."""
        self.forget()
        self.logged.clear()
        self.printed.readouterr()
        with self.patch.context() as patch:
            for name, value in environment.items():
                patch.setenv(name, value)
            status = main(arguments)
        said = self.printed.readouterr()
        warnings = "".join(f"{record.getMessage()}\n" for record in self.logged.records)
        return Said(status, said.out, warnings + said.err)

    def process(self, *arguments: str) -> Said:
        """The same in a process of its own: arguments of Python."""
        environment = {**os.environ, "PYTHONPATH": str(self.site)}
        done = subprocess.run(
            [sys.executable, *arguments],
            cwd=self.folder,
            env=environment,
            capture_output=True,
            text=True,
            timeout=60,
        )
        return Said(done.returncode, done.stdout, done.stderr)


@pytest.fixture
def installed(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    caplog: pytest.LogCaptureFixture,
):
    """Nothing installed yet."""
    made = Installed(tmp_path, monkeypatch, capsys, caplog)
    yield made
    made.forget()
