"""A plain call reads as the library would read it; whatever is not plain is left to the library."""

from __future__ import annotations

import contextlib
import io
import random

import pytest

from gaugebook.diagnostics import GaugebookError
from gaugebook.parsing import parse
from gaugebook.plain_calls import read_plain

WORDS = (
    *(
        "size",
        "explain",
        "compare",
        "batch",
        "limits",
        "ruleset",
        "list",
        "show",
        "diff",
        "new",
        "check",
        "test",
    ),
    *(
        "schema",
        "plugins",
        "look-up",
        "project",
        "result",
        "table",
        "json",
        "html",
        "a.yaml",
        "nec-2017",
        "x=y",
    ),
    *(
        "--ruleset",
        "--layout",
        "--format",
        "--full",
        "--output",
        "--reading",
        "--no-cache",
        "--verbose",
        "--date",
    ),
    *(
        "--rulesets",
        "--all",
        "--prices",
        "--values",
        "--workers",
        "--no-columns",
        "--input",
        "--entry",
        "--form",
    ),
    *(
        "--change-cells",
        "--coverage",
        "--extends",
        "--folder",
        "--jurisdiction",
        "--help",
        "-h",
        "--",
        "-",
        "-1",
    ),
    *("--format=json", "--ruleset=nec-2020", "--full=yes", "--output=", "--workers=3", "--workers=-3"),
    *("--workers=two", "--unheard", "2", "0", ""),
)

PLAIN = (
    "size a.yaml",
    "size a.yaml --format json --full --output out.json",
    "size --ruleset a --ruleset=b a.yaml --reading x=y --no-cache",
    "explain a.yaml things.one.size",
    "explain --full a.yaml --layout two things.one.size --format=markdown",
    "compare a.yaml --ruleset a+b --ruleset c --all --values --prices p.yaml",
    "batch a.yaml cases.csv --output out.csv --workers 2 --no-columns",
    "limits a.yaml --input things.one.load",
    "ruleset list",
    "ruleset diff a b --format json",
    "ruleset new town-2021 --extends a",
    "ruleset test a --change-cells --entry t",
    "schema project --ruleset a",
    "plugins --format json",
)


def by_library(said: list[str]) -> dict[str, object] | None:
    """What the library makes of a call; none where it refuses or only explains."""
    try:
        with contextlib.redirect_stdout(io.StringIO()):
            return {name: value for name, value in vars(parse(said)).items() if name != "without_plugin"}
    except (GaugebookError, SystemExit):
        return None


@pytest.mark.parametrize("call", PLAIN)
def test_a_plain_call_reads_as_by_the_library(call: str) -> None:
    found = read_plain(call.split())
    assert found is not None
    assert vars(found) == by_library(call.split())


@pytest.mark.parametrize(
    "call",
    [
        "",
        "--version",
        "--help",
        "size",
        "size --help",
        "size a.yaml b.yaml",
        "size a.yaml --form json",
        "size a.yaml --layout",
        "size a.yaml --layout -1",
        "size a.yaml --full=yes",
        "size -- a.yaml",
        "plugins --format toml",
        "batch a.yaml cases.csv",
        "batch a.yaml cases.csv --output o.csv --workers two",
        "ruleset",
        "ruleset show a",
        "unheard a.yaml",
    ],
)
def test_anything_else_is_left_to_the_library(call: str) -> None:
    assert read_plain(call.split()) is None


def test_calls_at_random_read_as_by_the_library() -> None:
    chance = random.Random(20261125)
    plain = 0
    for _ in range(1500):
        words = chance.choice(PLAIN).split()
        for _ in range(chance.randint(0, 4)):
            spot = chance.randrange(len(words) + 1)
            if chance.random() < 0.7:
                words.insert(spot, chance.choice(WORDS))
            else:
                del words[spot : spot + 1]
        found = read_plain(words)
        if found is not None:
            plain += 1
            assert vars(found) == by_library(words), words
    assert plain > 200
