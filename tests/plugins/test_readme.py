"""The twenty lines of plugins/README.md work as pasted, and its table of hooks is that of the code."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import gaugebook.plugins
from gaugebook.hooks import TABLE

if TYPE_CHECKING:
    from conftest import Installed

README = (Path(gaugebook.plugins.__file__).parent / "README.md").read_text("utf-8")


def pasted(language: str) -> str:
    """The one block of a language."""
    blocks = re.findall(rf"```{language}\n(.*?)```", README, re.DOTALL)
    assert len(blocks) == 1
    return blocks[0]


def hook_table() -> str:
    """The hooks as a Markdown table."""
    rows = [
        f"| `{row.hook}` | `{'os.' * (row.item is os.PathLike)}{row.item.__name__}"
        f"{'' if row.item is os.PathLike else f'({fields(row.item)})'}` | {row.about} |"
        for row in TABLE
    ]
    return "\n".join(["| hook | answers a list of | for |", "| --- | --- | --- |", *rows]) + "\n"


def fields(item: type) -> str:
    defaults = getattr(item, "_field_defaults", {})
    return ", ".join(
        f"{name}={defaults[name]!r}" if name in defaults else name for name in getattr(item, "_fields", ())
    )


def test_the_table_of_hooks_is_that_of_the_code() -> None:
    assert hook_table() in README


def test_every_hook_is_documented() -> None:
    assert all(len(row.about) > 20 and row.about.endswith(".") for row in TABLE)


def test_the_twenty_lines_work_as_pasted(installed: Installed) -> None:
    folder = installed.folder / "pasted"
    folder.mkdir()
    (folder / "pyproject.toml").write_text(pasted("toml"), "utf-8")
    (folder / "long_side.py").write_text(pasted("python"), "utf-8")
    lines = [
        line for file in folder.iterdir() for line in file.read_text("utf-8").splitlines() if line.strip()
    ]
    assert len(lines) <= 20
    subprocess.run(
        [
            sys.executable,
            "-m",
            "pip",
            "install",
            "--quiet",
            "--no-deps",
            "--no-build-isolation",
            "--disable-pip-version-check",
            "--target",
            str(installed.site),
            str(folder),
        ],
        check=True,
        timeout=120,
    )
    rule = "slope: {of: thing, unit: cm, is: 'long_side(3 m, length)', cites: '1', transcription: checked}"
    installed.book(rule)
    installed.modules.append("long_side")
    said = installed.call("size", "project.yaml", "--format", "json")
    assert (said.status, said.err) == (0, "")
    assert '"value": 500.0' in said.out, "3 m and 4 m, in centimetres"
    assert "long-side" in installed.call("plugins").out
    assert "long_side(m, m) -> m" in " ".join(installed.call("plugins").out.split())
