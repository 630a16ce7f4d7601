"""Every sentence of README.md that promises something has a test that holds it, named in `claims.yaml`.

The register is held here: its sentences are those of the README, none is left out, and the tests it names exist.
"""

from __future__ import annotations

import ast
import re
from pathlib import Path
from typing import Any

import pytest
import yaml

ROOT = Path(__file__).parents[1]
REGISTER: dict[str, Any] = yaml.safe_load((ROOT / "tests" / "claims.yaml").read_text(encoding="utf-8"))
CLAIMS: list[dict[str, Any]] = REGISTER["claims"]
PROMISE_NOTHING: list[str] = REGISTER["promise_nothing"]


def sentences(markdown: str) -> list[str]:
    """The sentences of a text outside its code; of a table, each row's first cell."""
    prose = re.sub(r"(?ms)^```.*?^```$", "", markdown)
    found = []
    for block in re.split(r"\n\s*\n", prose):
        if block.startswith("|"):
            rows = [row.strip("| ").split(" | ")[0] for row in block.splitlines()[2:]]
            found += rows
        elif not block.startswith(("#", "    ")):
            text = " ".join(block.split())
            found += re.split(r"(?<=[a-z0-9`*)][.?:]) (?=[A-Z`*])", text)
    return [sentence for sentence in found if sentence]


def test_every_sentence_of_the_readme_is_registered_and_no_other() -> None:
    written = sentences((ROOT / "README.md").read_text(encoding="utf-8"))
    registered = [claim["says"] for claim in CLAIMS] + PROMISE_NOTHING
    assert sorted(registered) == sorted(written)


@pytest.mark.parametrize("claim", CLAIMS, ids=[claim["says"][:40] for claim in CLAIMS])
def test_what_holds_a_claim_exists(claim: dict[str, Any]) -> None:
    assert claim["held_by"]
    for name in claim["held_by"]:
        path, _, function = name.partition("::")
        assert (ROOT / "tests" / path).exists(), name
        if path.endswith(".py"):
            tree = ast.parse((ROOT / "tests" / path).read_text(encoding="utf-8"))
            assert function in {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}, (
                name
            )


def blocks(language: str) -> list[str]:
    """The code of the README in one language."""
    return re.findall(rf"(?ms)^```{language}\n(.*?)^```$", (ROOT / "README.md").read_text(encoding="utf-8"))


def test_the_roof_of_the_readme_is_the_example() -> None:
    """The lines shown stand in the file, in that order."""
    (shown,) = blocks("yaml")
    lines = iter((ROOT / "examples" / "boathouse.yaml").read_text(encoding="utf-8").splitlines())
    for line in shown.splitlines():
        assert line in lines, line


def test_the_lines_of_python_come_to_what_stands_beside_them(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    (shown,) = blocks("python")
    names: dict[str, Any] = {}
    seen = 0
    for line in filter(None, shown.splitlines()):
        code, _, said = line.partition("  # ")
        if not said:
            exec(code, names)
            continue
        assert eval(code, names) == ast.literal_eval(said.strip())
        seen += 1
    assert seen == shown.count("  # ") > 1
