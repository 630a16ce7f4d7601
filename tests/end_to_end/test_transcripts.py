"""The console blocks of the documents are run: each command prints what the document shows.

In a block, a line `$ command` is run beside a copy of the shipped examples; the lines below it are its output, a line
`...` stands for any lines, and `...` at the end of a line for the rest of it. A block of YAML with a title,
```` ```yaml title=folder/file.yaml ````, is written to that file first. All blocks of one document share one folder;
its own path is left out of what is printed.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
from pathlib import Path

import pytest

from gaugebook.cli import main

ROOT = Path(__file__).parents[2]
DOCUMENTS = ("README.md", "DEVELOPERS.md", "rulesets/README.md", "examples/README.md", "plugins/README.md")


BLOCK = re.compile(r"^```(?:console|yaml title=(\S+))\n(.*?)^```", re.DOTALL | re.MULTILINE)


def documents() -> list[str]:
    """The documents there are that have something to run."""
    return [name for name in DOCUMENTS if (ROOT / name).exists() and blocks(name)]


def blocks(name: str) -> list[tuple[str, str]]:
    """The blocks of a document in order: the file to write, empty for commands, and the text."""
    return BLOCK.findall((ROOT / name).read_text("utf-8"))


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
    return bool(printed) and same(shown[0], printed[0]) and agrees(shown[1:], printed[1:])


def same(shown: str, printed: str) -> bool:
    """Whether one line is the shown one, up to `...` at its end."""
    start = shown.removesuffix(" ...")
    return printed == shown or (start != shown and printed.startswith(f"{start} "))


@pytest.mark.parametrize("name", documents())
def test_the_document_tells_the_truth(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copytree(ROOT / "examples", tmp_path / "examples")
    monkeypatch.chdir(tmp_path)
    for file, text in blocks(name):
        if file:
            path = tmp_path / file
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, "utf-8")
            continue
        for command, shown in commands(text):
            program, *arguments = shlex.split(command)
            assert program == "gaugebook", command
            main(arguments)
            out, err = capsys.readouterr()
            said = (out + err).replace(f"{tmp_path}{os.sep}", "")
            printed = [line.rstrip() for line in said.rstrip().splitlines()]
            assert agrees(shown, printed), f"$ {command}\n" + "\n".join(printed)
