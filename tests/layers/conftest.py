"""A base ruleset, layers written in a test, and projects sized under them."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from gaugebook.books import CheckedBook, check_book
from gaugebook.diagnostics import Problems
from gaugebook.moments import Moment
from gaugebook.project import build_run
from gaugebook.results import Reporter
from gaugebook.source import read_source

BOOKS = Path(__file__).parent / "books"
PROJECT = """
gaugebook: project/1
title: One shelf
shelves:
  top: {load: 8 kg}
"""


class Bench:
    """A folder of rulesets written as text."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def layer(self, id: str, text: str, extends: str | None = "shed-2020", title: str = "A layer") -> None:
        """Write a one-file ruleset."""
        head = f"gaugebook: ruleset/1\nid: {id}\nversion: 1.0.0\ntitle: {title}\ndocument: {id.title()}\n"
        head += f"extends: {extends}\n" if extends else ""
        (self.folder / f"{id}.yaml").write_text(head + textwrap.dedent(text))

    def check(self, *ids: str, day: str | None = None, days: dict[str, str] | None = None) -> CheckedBook:
        """The stack, checked; raises `Refused` when anything is wrong with it."""
        checked = check_book(ids, [self.folder, BOOKS], Moment(day, days or {}))
        checked.problems.refuse_if_any()
        return checked

    def size(self, *ids: str, project: str = PROJECT, day: str | None = None) -> dict[str, Any]:
        """The result of a project under the stack."""
        path = self.folder / "project.yaml"
        path.write_text(textwrap.dedent(project))
        rulebook = self.check(*ids, day=day).compiled()
        problems = Problems()
        source = read_source(path, None, problems)
        assert source is not None, list(problems)
        run = build_run(source, rulebook, {}, problems)
        problems.refuse_if_any()
        reporter = Reporter(run, source)
        return reporter.outline | {"values": reporter.values()}

    def check_of(self, result: dict[str, Any], name: str) -> dict[str, Any] | None:
        """One check of the shelf of a result."""
        return next((check for check in result["checks"] if check["check"] == name), None)


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


@pytest.fixture
def amended(bench: Bench) -> Callable[..., dict[str, Any]]:
    """The project sized under the base and one layer."""

    def run(text: str, **more: Any) -> dict[str, Any]:
        bench.layer("town-2021", text)
        return bench.size("town-2021", **more)

    return run
