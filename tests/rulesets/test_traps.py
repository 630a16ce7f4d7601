"""The traps a book of rules falls into most easily: whoever walks into one is stopped by a case that names it.

`traps.yaml` says for each what the mistake would change in which edition, and which cases notice. The mistake is made
in a layer over the edition, and the named cases are run under both. Traps that are no mistake of a single edition are
below: that what a place adopts is the edition itself, and that what was recalled is a fact.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import pytest
import yaml

from gaugebook.casework import Outcome, try_cases
from gaugebook.diagnostics import Problems
from gaugebook.layers import build
from gaugebook.resources import packaged

EDITIONS = ("nec-2008", "nec-2011", "nec-2014", "nec-2017", "nec-2020", "nec-2023")
OF_NO_EDITION = {17, 19}
KNOWN = 19
"""Traps that were written down when the books were begun."""


class Trap(NamedTuple):
    """A mistake: its number and what it is, the edition it is made in, the operations that make it, who notices."""

    trap: str
    book: str
    amend: list[dict[str, Any]]
    cases: list[str]

    @property
    def number(self) -> int:
        return int(self.trap.partition(":")[0])


TRAPS = [Trap(**item) for item in yaml.safe_load(Path(__file__).with_name("traps.yaml").read_text("utf-8"))]


@cache
def blocks(book: str) -> dict[str, tuple[str, str]]:
    """The cases of a book by name: what stands at the head of their file, and the case as it is written."""
    found = {}
    for path in sorted(Path(str(packaged("rulesets", book, "cases"))).glob("*.yaml")):
        head, *cases = path.read_text("utf-8").split("\n  - name: ")
        for text in cases:
            name = yaml.safe_load(f"name: {text.splitlines()[0]}")["name"]
            assert (path.name, name) not in found, name
            found[name] = (head, text)
    return found


def run(id: str, book: str, names: Iterable[str], folder: Path) -> Outcome:
    """The named cases of a book under a ruleset of this folder, or a shipped one."""
    place = folder / "chosen"
    (place / "cases").mkdir(parents=True)
    for number, name in enumerate(names):
        head, text = blocks(book)[name]
        (place / "cases" / f"{number}.yaml").write_text(f"{head}\n  - name: {text.rstrip()}\n", "utf-8")
    return try_cases(id, place, [folder])


def layer(trap: Trap, folder: Path) -> str:
    """A layer over the edition that makes the mistake."""
    (folder / "walked").mkdir()
    header = {"gaugebook": "ruleset/1", "id": "walked", "version": "1.0.0", "title": trap.trap}
    body = {**header, "document": "a mistake", "extends": trap.book, "amend": trap.amend}
    text = yaml.safe_dump(body, sort_keys=False, allow_unicode=True)
    (folder / "walked" / "ruleset.yaml").write_text(text, "utf-8")
    return "walked"


@pytest.mark.parametrize("trap", TRAPS, ids=lambda trap: f"{trap.trap} ({trap.book})")
def test_a_mistake_is_noticed(trap: Trap, tmp_path: Path) -> None:
    outcome = run(layer(trap, tmp_path), trap.book, trap.cases, tmp_path)
    assert outcome.cases == len(trap.cases) > 0
    assert {miss.case for miss in outcome.misses} == set(trap.cases)


@pytest.mark.parametrize("edition", EDITIONS)
def test_without_it_the_same_cases_hold(edition: str, tmp_path: Path) -> None:
    names = dict.fromkeys(name for trap in TRAPS if trap.book == edition for name in trap.cases)
    outcome = run(edition, edition, names, tmp_path)
    assert outcome.cases == len(names) > 0 and not outcome.misses


def test_every_trap_is_walked_into() -> None:
    assert {trap.number for trap in TRAPS} | OF_NO_EDITION == set(range(1, KNOWN + 1))


def test_what_a_place_adopts_is_not_the_edition(tmp_path: Path) -> None:
    """Trap 17: the state of Washington has a factor of its own where no coefficient is known, 1.25 and not 1.14."""
    case = "without one the single factor takes the place of the table"
    found = run("nec-2017", "washington-2017", [case], tmp_path)
    assert [miss.found for miss in found.misses] == ["456 V"]


@pytest.mark.parametrize("edition", EDITIONS)
def test_nothing_recalled_is_taken_for_read(edition: str) -> None:
    """Trap 19: no copy of the code was opened, so nothing may say that it was checked against it."""
    problems = Problems()
    book = build([edition], [], problems)
    problems.refuse_if_any()
    told = [entry.body.get("transcription") for entry in book.entries.values()]
    assert "checked" not in told
    assert told.count("recalled") > 20
