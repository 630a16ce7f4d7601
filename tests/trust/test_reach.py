"""What the program touches: no network, no other program, and only the files it is told of.

The interpreter itself reports what is opened and started (`sys.addaudithook`), in a process of its own.
"""

from __future__ import annotations

import ast
import json
import marshal
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest

from gaugebook import cache
from gaugebook.resources import packaged

ROOT = Path(__file__).parents[2]
WATCH = """
import json, sys
seen = []
def note(event, arguments):
    if event == "open" and isinstance(arguments[0], (str, bytes)):
        name = arguments[0] if isinstance(arguments[0], str) else arguments[0].decode()
        seen.append(["open", name, arguments[1] or "", arguments[2]])
    elif event.partition(".")[0] in ("socket", "subprocess", "urllib", "http", "ftplib", "smtplib", "ctypes"):
        seen.append([event])
    elif event in ("os.system", "os.exec", "os.posix_spawn", "os.fork", "os.forkpty", "os.spawn"):
        seen.append([event])
sys.addaudithook(note)
from gaugebook.cli import main
status = main(sys.argv[2:])
with open(sys.argv[1], "w") as file:
    json.dump([status, seen], file)
"""
WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND


def touched(tmp_path: Path, call: Sequence[str]) -> tuple[int, list[list[str]], set[Path], set[Path]]:
    """Status, what was started or connected to, what was read and what was written."""
    log = tmp_path / "log.json"
    environment = {**os.environ, "GAUGEBOOK_CACHE": "off", "PYTHONDONTWRITEBYTECODE": "1"}
    environment.pop("GAUGEBOOK_TEST", None)
    subprocess.run(
        [sys.executable, "-c", WATCH, str(log), *call], env=environment, check=True, capture_output=True
    )
    status, seen = json.loads(log.read_text())
    opened = [(Path(name).absolute(), flags) for event, name, _, flags in (e for e in seen if e[0] == "open")]
    written = {path for path, flags in opened if flags & WRITING} - {log}
    read = {path for path, flags in opened if not flags & WRITING}
    return status, [event for event in seen if event[0] != "open"], read, written


def test_a_project_reaches_only_what_it_names(tmp_path: Path) -> None:
    secret = tmp_path / "secret.yaml"
    secret.write_text("password: hidden\n", "utf-8")
    project = tmp_path / "here" / "p.yaml"
    project.parent.mkdir()
    text = (ROOT / "examples" / "boathouse.yaml").read_text("utf-8")
    project.write_text(
        f"# {secret}\n{text.replace('title: ', f'note: {secret}' + chr(10) + 'title: ')}", "utf-8"
    )
    status, started, read, written = touched(tmp_path, ["size", str(project)])
    assert status == 0
    assert not started
    assert not written
    assert project in read
    assert secret not in read
    ours = [
        packaged("rulesets").resolve(),
        packaged("grammar").resolve(),
        packaged("plugins").resolve(),
        ROOT,
    ]
    theirs = [Path(place).resolve() for place in (sys.prefix, sys.base_prefix, *filter(None, sys.path))]
    for path in read - {project}:
        allowed = any(path.resolve().is_relative_to(place) for place in [*ours, *theirs])
        assert allowed or str(path).startswith(("/etc/localtime", "/usr/", "/proc/self", "/sys/")), path


def test_a_sheet_and_a_batch_write_only_their_outputs(tmp_path: Path) -> None:
    project = str(ROOT / "examples" / "boathouse.yaml")
    sheet, cases, rows = (tmp_path / name for name in ("sheet.html", "cases.csv", "rows.csv"))
    cases.write_text("site.ambient_high [degC]\n30\n", "utf-8")
    for call, output in (
        (["size", project, "--format", "html", "--output", str(sheet)], sheet),
        (["batch", project, str(cases), "--output", str(rows)], rows),
    ):
        _, started, _, written = touched(tmp_path, call)
        assert not started
        assert output.exists()
        assert written
        assert {path.parent for path in written} == {tmp_path}
        assert all(path.name.startswith(output.name) for path in written)
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "cases.csv",
        "log.json",
        "rows.csv",
        "sheet.html",
    ]


AWAY = {"socket", "ssl", "http", "urllib", "ftplib", "smtplib", "asyncio", "requests", "ctypes", "webbrowser"}
OTHER = {"subprocess", "multiprocessing", "concurrent"}


def test_nothing_of_ours_knows_a_network() -> None:
    found: dict[str, set[str]] = {}
    for room in (ROOT / "engine", ROOT / "grammar", ROOT / "plugins"):
        for path in room.rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text("utf-8"))):
                names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
                names += [node.module or ""] if isinstance(node, ast.ImportFrom) and not node.level else []
                for name in {name.partition(".")[0] for name in names} & (AWAY | OTHER):
                    found.setdefault(name, set()).add(f"{room.name}/{path.name}")
    assert not AWAY & found.keys(), found
    assert found.pop("subprocess") == {
        "engine/apart.py"
    }  # plugin functions under test, in a process of their own
    assert all(files == {"engine/batch_run.py"} for files in found.values()), found  # the workers of a batch


# -- kept files


@pytest.fixture
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A cache of the test's own with one thing in it."""
    monkeypatch.setenv(cache.VARIABLE, str(tmp_path / "kept"))
    cache.switch(on=True)
    cache.notes.clear()
    cache.keep("thing", 1, [1, 2])
    (place,) = (tmp_path / "kept").iterdir()
    return place


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="no owners and modes here")
@pytest.mark.parametrize(
    "how", ["writable by others", "a link", "in a folder of others", "another digest", "a pipe"]
)
def test_what_is_not_the_users_own_is_never_unmarshalled(
    kept: Path, monkeypatch: pytest.MonkeyPatch, how: str
) -> None:
    content = kept.read_bytes()
    if how == "writable by others":
        kept.chmod(0o602)
    elif how == "in a folder of others":
        kept.parent.chmod(0o770)
    elif how == "another digest":
        kept.write_bytes(content[:-1] + bytes([content[-1] ^ 1]))
    else:
        kept.unlink()
        if how == "a pipe":
            os.mkfifo(kept, 0o600)
        else:
            (kept.parent.parent / "mine").write_bytes(content)
            kept.symlink_to(kept.parent.parent / "mine")
    monkeypatch.setattr(marshal, "loads", lambda _: pytest.fail("this was not to be read"))
    assert cache.fetch("thing", 1) is None
    assert cache.notes


def test_what_is_the_users_own_is(kept: Path) -> None:
    assert cache.fetch("thing", 1) == [1, 2]
    assert not cache.notes
