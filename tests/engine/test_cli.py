"""The command line: exit status, where text goes, and that nothing ends in a traceback."""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from gaugebook.cli import main

Call = Callable[..., tuple[int, str, str]]


@pytest.fixture
def call(shelf: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Call:
    """Runs one command in the folder of the shelf; answers exit status, standard output and error."""
    monkeypatch.chdir(shelf)
    monkeypatch.setenv("GAUGEBOOK_RULESETS", "books")

    def run(*arguments: str) -> tuple[int, str, str]:
        status = main(arguments)
        said = capsys.readouterr()
        return status, said.out, said.err

    return run


def test_exit_status_follows_the_checks(call: Call, shelf: Path):
    (shelf / "open.yaml").write_text("gaugebook: project/1\nshelves: {one: {}}\n", "utf-8")
    assert call("size", "hall.yaml", "--layout", "light")[0] == 0
    assert call("size", "hall.yaml")[0] == 1
    assert call("size", "open.yaml", "--ruleset", "shelves")[0] == 1
    assert call("size", "open.yaml")[0] == 2


def test_the_table_shows_failures_first_and_every_caution(call: Call):
    status, page, _ = call("size", "hall.yaml")
    assert status == 1
    assert page.index("reach in sight") < page.index("Board bears the load")
    assert "304.8 mm  ≤ 300 mm  -1.6 %" in page
    assert "Do not stand below." in page
    assert "- shelves.low, plate: States the load.; design load 27 kg; Shelf book 1 7" in page
    assert "medium (stated)" in page
    assert "- wood of shelves.low: pine" in page
    assert all(len(line) <= 100 for line in page.splitlines())


def test_what_is_assumed_alike_is_told_once(call: Call, shelf: Path):
    project = shelf / "hall.yaml"
    project.write_text(project.read_text("utf-8").replace("    wood: oak\n", ""), "utf-8")
    assert "- wood of shelves.low, high: pine\n" in call("size", "hall.yaml")[1]


def test_full_lists_what_is_only_counted_otherwise(call: Call):
    assert "shelves:tables/bearing" not in call("size", "hall.yaml")[1]
    assert "shelves:tables/bearing" in call("size", "hall.yaml", "--full")[1]


def test_markdown_is_inert(call: Call, shelf: Path):
    text = (shelf / "hall.yaml").read_text("utf-8").replace("title: Hallway", "title: 'a | b <i>*c*'")
    (shelf / "odd.yaml").write_text(text, "utf-8")
    page = call("size", "odd.yaml", "--format", "markdown")[1]
    assert page.startswith("# a \\| b \\<i\\>\\*c\\*\n")
    assert "| low | 27 kg | medium |" in page


def test_json_goes_to_a_file(call: Call, shelf: Path):
    status, out, _ = call("size", "hall.yaml", "--format", "json", "--output", "out.json")
    assert (status, out) == (1, "")
    assert json.loads((shelf / "out.json").read_text("utf-8"))["format"] == "result/1"


def test_explain_answers_for_one_value(call: Call):
    status, page, _ = call("explain", "hall.yaml", "shelves.low.design_load")
    assert status == 1 and "1.5 * 18 kg" in page
    assert "nearest: shelves.low.board" in call("explain", "hall.yaml", "shelves.low.bord")[2]


def test_the_bench(call: Call):
    assert "Shelves of Larkmere" in call("ruleset", "list")[1]
    assert "second_hand" in call("ruleset", "show", "shelves")[1]
    table = call("ruleset", "show", "shelves", "bearing")[1]
    assert "What a board bears" in table and "missing" in table
    for name in ("shelves", "books/shelves", "books/shelves/ruleset.yaml"):
        status, line, _ = call("ruleset", "check", name)
        assert status == 0 and line.startswith("shelves is sound: ")


def test_every_fault_of_a_ruleset_is_shown(call: Call, shelf: Path):
    path = shelf / "books" / "shelves" / "ruleset.yaml"
    broken = path.read_text("utf-8").replace("<= 300 mm", "<= 300 kg").replace("* load,", "* lod,")
    path.write_text(broken, "utf-8")
    status, _, error = call("ruleset", "check", "shelves")
    assert status == 2
    assert "[cannot-compare]" in error and "[unknown-name-in-rule]" in error
    assert error.count("books/shelves/ruleset.yaml:") == 2


def test_schemas_are_printed(call: Call):
    for what in ("ruleset", "cases", "result"):
        assert json.loads(call("schema", what)[1])["$schema"].endswith("2020-12/schema")
    schema = json.loads(call("schema", "project", "--ruleset", "shelves")[1])
    assert schema["$defs"]["shelf"]["properties"]["wood"]["enum"] == ["oak", "pine", None]
    assert schema["$defs"]["shelf"]["properties"]["load"]["description"].startswith("what it carries; in kg")


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        ([], "bad-call"),
        (["frobnicate"], "bad-call"),
        (["size"], "bad-call"),
        (["size", "hall.yaml", "--format", "poem"], "unknown-format"),
        (["size", "nowhere.yaml"], "file-unreadable"),
        (["size", "."], "file-unreadable"),
        (["size", "binary.yaml"], "not-utf-8"),
        (["size", "empty.yaml"], "not-a-project"),
        (["size", "books/shelves/ruleset.yaml"], "not-a-project"),
        (["size", "hall.yaml", "--ruleset", "shelvs"], "unknown-ruleset"),
        (["size", "hall.yaml", "--layout", "lite"], "unknown-layout"),
        (["size", "hall.yaml", "--reading", "reserve_applies"], "bad-pair"),
        (["size", "hall.yaml", "--reading", "reserve_aplies=always"], "unknown-reading"),
        (["size", "hall.yaml", "--reading", "reserve_applies=alway"], "unknown-option"),
        (["size", "hall.yaml", "--rulesets", "nowhere"], "not-a-folder"),
        (["size", "hall.yaml", "--output", "nowhere/out.txt"], "cannot-write"),
        (["explain", "hall.yaml", "nothing"], "unknown-value"),
        (["ruleset", "show", "shelvs"], "unknown-ruleset-or-path"),
        (["ruleset", "show", "shelves", "bering"], "unknown-entry"),
        (["ruleset", "check", "hall"], "unknown-ruleset-or-path"),
        (["ruleset", "test", "hall"], "unknown-ruleset-or-path"),
        (["schema", "project"], "no-ruleset-named"),
    ],
)
def test_a_wrong_call_ends_in_a_diagnostic(call: Call, shelf: Path, arguments: list[str], name: str):
    (shelf / "binary.yaml").write_bytes(b"\x7fELF\xff\xfe\x00")
    (shelf / "empty.yaml").write_text("", "utf-8")
    status, out, error = call(*arguments)
    assert (status, out) == (2, "")
    assert f"[{name}]" in error and "Traceback" not in error


def test_a_mistake_of_ours_is_told_without_a_traceback(call: Call, monkeypatch: pytest.MonkeyPatch):
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("oops")

    monkeypatch.setattr("gaugebook.session.size", broken)
    status, _, error = call("size", "hall.yaml")
    assert status == 2
    assert error.startswith("gaugebook: internal error: ZeroDivisionError: oops") and "report" in error


def test_module_version_and_help():
    command = [sys.executable, "-m", "gaugebook"]
    done = subprocess.run([*command, "--version"], capture_output=True, text=True)
    assert done.returncode == 0 and done.stdout.startswith("gaugebook ")
    assert subprocess.run([*command, "size", "--help"], capture_output=True).returncode == 0


def test_nobody_listening_is_no_failure(shelf: Path):
    reader, writer = os.pipe()
    os.close(reader)
    with os.fdopen(writer, "wb") as output:
        done = subprocess.run(
            [sys.executable, "-m", "gaugebook", "size", "hall.yaml", "--layout=light", "--rulesets=books"],
            cwd=shelf,
            stdout=output,
            stderr=subprocess.PIPE,
            text=True,
        )
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize(
    "arguments",
    [
        ("size", "hall.yaml"),
        ("explain", "hall.yaml", "shelves.low.board"),
        ("compare", "hall.yaml", "--layout", "base", "--layout", "light"),
        ("limits", "hall.yaml"),
        ("ruleset", "list"),
        ("ruleset", "diff", "nec-2014", "nec-2017"),
        ("plugins",),
    ],
)
def test_answers_come_as_json(call: Call, arguments: tuple[str, ...]):
    assert json.loads(call(*arguments, "--format", "json")[1])


ENDING = """
import atexit, sys, threading, time
atexit.register(print, "told of the end")
late = threading.Thread(target=lambda: (time.sleep(0.3), print("another thread")))
if sys.argv.pop() == "threads":
    late.start()
from gaugebook.cli import program
program()
"""


@pytest.mark.parametrize(("threads", "said"), [("none", []), ("threads", ["another thread"])])
def test_a_process_ends_when_everybody_has_been_told(threads: str, said: list[str]) -> None:
    call = [sys.executable, "-c", ENDING, "schema", "nothing", threads]
    done = subprocess.run(call, capture_output=True, text=True, timeout=60)
    assert done.returncode == 2
    assert "nothing" in done.stderr
    assert done.stdout.splitlines() == [*said, "told of the end"]
