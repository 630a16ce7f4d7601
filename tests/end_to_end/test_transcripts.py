"""The console blocks of the documents are run: each command prints what the document shows.

In a block, a line `$ command` is run in a copy of the shipped examples; the lines below it are its output, and a line
`...` stands for any lines.
"""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import pytest

from gaugebook.cli import main

ROOT = Path(__file__).parents[2]
DOCUMENTS = ("README.md", "DEVELOPERS.md", "rulesets/README.md", "examples/README.md", "plugins/README.md")


def blocks() -> list[object]:
    """Each console block of each document."""
    found = []
    for name in DOCUMENTS:
        path = ROOT / name
        if path.exists():
            texts = re.findall(r"^```console\n(.*?)^```", path.read_text("utf-8"), re.DOTALL | re.MULTILINE)
            found += [pytest.param(text, id=f"{name}-{number}") for number, text in enumerate(texts, 1)]
    return found


def commands(text: str) -> list[tuple[str, list[str]]]:
    """Commands with the lines shown below them."""
    found: list[tuple[str, list[str]]] = []
    for line in text.splitlines():
        if line.startswith("$ "):
            found.append((line[2:], []))
        else:
            found[-1][1].append(line.rstrip())
    return found


def agrees(shown: list[str], printed: list[str]) -> bool:
    """Whether the printed lines are the shown ones, `...` standing for any number of lines."""
    if not shown:
        return not printed
    if shown[0] == "...":
        return any(agrees(shown[1:], printed[skip:]) for skip in range(len(printed) + 1))
    return bool(printed) and printed[0] == shown[0] and agrees(shown[1:], printed[1:])


@pytest.mark.parametrize("text", blocks())
def test_the_document_tells_the_truth(
    text: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copytree(ROOT / "examples", tmp_path / "examples")
    monkeypatch.chdir(tmp_path)
    for command, shown in commands(text):
        program, *arguments = shlex.split(command)
        assert program == "gaugebook", command
        main(arguments)
        out, err = capsys.readouterr()
        printed = [line.rstrip() for line in (out + err).rstrip().splitlines()]
        assert agrees(shown, printed), f"$ {command}\n" + "\n".join(printed)


def test_the_python_of_the_readme(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = re.search(r"^```python\n(.*?)^```", (ROOT / "README.md").read_text("utf-8"), re.DOTALL | re.MULTILINE)
    assert text is not None
    monkeypatch.chdir(ROOT)
    space: dict[str, object] = {}
    for line in text.group(1).strip().splitlines():
        code, _, shown = line.partition("  # ")
        if shown:
            assert repr(eval(code.strip(), space)) == shown.strip()
        else:
            exec(code, space)
