"""What plugins may and may not do, what is listed, and what it costs when there are none."""

from __future__ import annotations

import json
import shutil
from typing import TYPE_CHECKING

import pytest

from gaugebook import extending
from gaugebook.finding import unmet
from gaugebook.hooks import MARK, TABLE
from gaugebook.plugins import SHIPPED
from gaugebook.shelf import Shelf

if TYPE_CHECKING:
    from conftest import Installed

FUNCTION = """\
import inspect
from decimal import Decimal, getcontext
from gaugebook import LanguageFunction, hookimpl, NoValue

def work(value):
    getcontext().prec = 3
    assert type(value) is Decimal
    if value > 100:
        raise NoValue("longer than a roll")
    return value / 3

@hookimpl
def provide_functions():
    return [LanguageFunction("third", ("m",), "m", work, "a third")]
"""


def rule(name: str, expression: str) -> str:
    return f'{name}: {{of: thing, unit: m, is: "{expression}", cites: "3", transcription: checked}}'


def test_a_cold_call_without_plugins_of_others_imports_neither_pluggy_nor_metadata(
    installed: Installed,
) -> None:
    installed.book(rule("twice", "2 * length"))
    once = installed.process("-m", "gaugebook", "size", "project.yaml")
    assert once.status == 0, "the first time the book is compiled"
    code = (
        "import sys; from gaugebook.cli import main; main(['size', 'project.yaml', '--format', 'json']); "
        "heavy = {'pluggy', 'importlib.metadata', 'logging', 'gaugebook.plugins.schedule'}; "
        "heavy &= set(sys.modules); "
        "sys.exit(f'imported: {heavy}' if heavy else 0)"
    )
    said = installed.process("-c", code)
    assert said.status == 0, said.err
    assert said.out.startswith("{")


def test_the_list_of_shipped_plugins_is_that_of_the_modules() -> None:
    from importlib import import_module

    for module, hooks in SHIPPED.values():
        made = import_module(module)
        marked = {name for name in dir(made) if getattr(getattr(made, name), MARK, False)}
        assert marked == set(hooks)


def test_shipped_plugins_fit_the_specifications() -> None:
    held_by = extending.Extensions()
    for row in TABLE:
        held_by.items(row.hook)
    assert [plugin.faults for plugin in held_by.plugins if plugin.shipped is not None and plugin.faults] == []
    verifier = extending._verifier()
    from importlib import import_module

    for name, (module, _) in SHIPPED.items():
        verifier.register(import_module(module), name)
    verifier.check_pending()


def test_shipped_plugins_import_public_names_only() -> None:
    import ast
    from pathlib import Path

    import gaugebook
    import gaugebook.plugins

    for file in Path(gaugebook.plugins.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            if isinstance(node, ast.Import):
                assert not [alias.name for alias in node.names if alias.name.startswith("gaugebook.")], file
            if (
                isinstance(node, ast.ImportFrom)
                and node.level == 0
                and (node.module or "").startswith("gaugebook")
            ):
                assert node.module == "gaugebook", file
                assert {alias.name for alias in node.names} <= set(gaugebook.__all__), file
            if isinstance(node, ast.ImportFrom):
                assert node.level <= 1, f"{file} reaches out of its room"


def test_a_function_computes_in_the_units_it_declares(installed: Installed) -> None:
    installed.plugin(FUNCTION)
    installed.book(rule("part", "third(300 cm)"), rule("rest", "length / 3"))
    values = json.loads(installed.call("size", "project.yaml", "--format", "json").out)["values"]
    assert values["things.one.part"]["value"] == 1.0
    assert values["things.one.rest"]["value"] == pytest.approx(4 / 3, rel=1e-15), (
        "its precision is its own affair"
    )


def test_a_function_without_a_value_says_why(installed: Installed) -> None:
    installed.plugin(FUNCTION)
    installed.book(rule("part", "third(300 m)"))
    said = installed.call("size", "project.yaml", "--format", "json")
    value = json.loads(said.out)["values"]["things.one.part"]
    assert (value["value"], value["why"], said.err) == (None, ["longer than a roll"], "")


def test_a_function_is_explained(installed: Installed) -> None:
    installed.plugin(FUNCTION)
    installed.book(rule("part", "third(length)"))
    said = installed.call("explain", "project.yaml", "things.one.part")
    assert "third(4 m) = 1.33 m" in said.out, "computed with the three digits the function asks for itself"


def test_a_compiled_book_is_not_used_with_another_version(installed: Installed) -> None:
    installed.plugin(FUNCTION)
    installed.book(rule("part", "third(length)"))
    first = json.loads(installed.call("size", "project.yaml", "--format", "json").out)
    shutil.rmtree(installed.site / "acme_rules-2.1.dist-info")
    installed.plugin(FUNCTION, version="2.2")
    second = json.loads(installed.call("size", "project.yaml", "--format", "json").out)
    assert first["values"]["things.one.part"]["value"] == second["values"]["things.one.part"]["value"]
    assert first["ruleset"]["digest"] != second["ruleset"]["digest"], "the book is made of its functions too"


def test_without_its_plugin_a_rule_is_refused(installed: Installed) -> None:
    installed.plugin(FUNCTION)
    installed.book(rule("part", "third(length)"))
    assert installed.call("size", "project.yaml").status == 0
    said = installed.call("size", "project.yaml", "--without-plugin", "acme")
    assert said.status == 2
    assert "[unknown-function]" in said.err


def test_a_command_of_a_plugin(installed: Installed) -> None:
    installed.plugin(
        "from gaugebook import Command, hookimpl\n"
        "def prepare(parser):\n    parser.add_argument('count', type=int)\n"
        "def run(options):\n    print('ring ' * options.count)\n    return 1\n"
        "@hookimpl\ndef provide_commands():\n    return [Command('bell', prepare, run, 'rings')]\n"
    )
    said = installed.call("bell", "3")
    assert (said.status, said.out, said.err) == (1, "ring ring ring \n", "")
    assert "rings" in installed.call("--help").out
    assert installed.call("bell", "x").status == 2


def test_the_list_names_where_each_came_from_and_what_it_adds(installed: Installed) -> None:
    installed.plugin(FUNCTION)
    installed.plugin("import nothing_like_this\n", name="zenith", distribution="zenith-rules")
    listed = json.loads(installed.call("plugins", "--format", "json", "--without-plugin", "weather").out)
    by_name = {plugin["name"]: plugin for plugin in listed}
    names = [plugin["name"] for plugin in listed]
    assert names[: len(SHIPPED)] == list(SHIPPED)
    assert [name for name in names if name in ("acme", "zenith")] == ["acme", "zenith"]
    acme = by_name["acme"]
    assert (acme["distribution"], acme["version"], acme["state"]) == ("acme-rules", "2.1", "loaded")
    assert acme["from"] == str(installed.site / "acme_rules.py")
    assert [added["name"] for added in acme["adds"]] == ["third(m) -> m"]
    assert by_name["zenith"]["state"] == "broken" and "nothing_like_this" in by_name["zenith"]["faults"][0]
    assert by_name["weather"]["state"] == "switched off" and by_name["weather"]["adds"] == []


def test_rulesets_and_jurisdictions_of_a_plugin_are_found(installed: Installed) -> None:
    books = installed.site / "books"
    (books / "jurisdictions").mkdir(parents=True)
    (books / "jurisdictions" / "larkmere-harbour.yaml").write_text("gaugebook: jurisdiction/1\n", "utf-8")
    installed.book(rule("twice", "2 * length"))
    (installed.folder / "tiny.yaml").rename(books / "tiny.yaml")
    installed.plugin(
        "from pathlib import Path\nfrom gaugebook import hookimpl\n@hookimpl\ndef provide_rulesets():\n"
        "    return [Path(__file__).parent / 'books']\n"
    )
    said = installed.call("size", "project.yaml", "--format", "json")
    assert (said.status, said.err) == (0, "")
    assert Shelf().jurisdictions()["larkmere-harbour"].parent == books / "jurisdictions"
    assert installed.call("size", "project.yaml", "--without-plugin", "acme").status == 2


def test_a_format_nobody_gives(installed: Installed) -> None:
    installed.book(rule("twice", "2 * length"))
    said = installed.call("size", "project.yaml", "--format", "tabel")
    assert said.status == 2
    assert "nearest: table" in said.err and "[unknown-format]" in said.err


@pytest.mark.parametrize(
    ("requirement", "version", "met"),
    [
        ("gaugebook>=0.1", "0.1.0", True),
        ("gaugebook (>=0.2)", "0.1.9", False),
        ("gaugebook<1,>=0.3", "0.4", True),
        ("gaugebook<1,>=0.3", "1.0", False),
        ("gaugebook~=1.4.2", "1.4.9", True),
        ("gaugebook~=1.4.2", "1.5.0", False),
        ("gaugebook==1.4.*", "1.4.7", True),
        ("gaugebook==1.4", "1.4.0", True),
        ("gaugebook!=1.4", "1.4.0", False),
        ("gaugebook>=9; extra == 'future'", "0.1", True),
        ("gaugebook-larkmere>=9", "0.1", True),
        ("gaugebook", "0.1", True),
    ],
)
def test_versions_a_plugin_needs(requirement: str, version: str, met: bool) -> None:
    assert (unmet([requirement], version) == "") is met


CATALOGUE = """\
from gaugebook import Catalogue, Taken, hookimpl

def look_up(item, folder):
    path = folder / item
    return Taken({"length": path.read_text("utf-8").strip()}, item) if path.is_file() else None

@hookimpl
def provide_catalogues():
    return [Catalogue("notes", look_up, "lengths in files")]
"""

CASES = """\
gaugebook: cases/1
base: {things: {one: {taken_from: "notes: long.txt", parts: [{taken_from: "notes: long.txt"}]}}}
cases:
  - name: as noted
    given: {}
    expect: {things.one.twice: 8 m, "things.one.parts[0].whole": 4 m}
  - name: as noted, read once more
    given: {}
    expect: {things.one.twice: 8 m, "things.one.parts[0].whole": 4 m}
  - name: what is stated stands
    given: {things: {one: {length: 3 m}}}
    expect: {things.one.twice: 6 m}
  - name: a project takes from its own folder
    project: ../../projects/project.yaml
    expect: {things.one.twice: 10 m}
"""


def test_a_case_takes_from_catalogues_as_a_project_does(installed: Installed) -> None:
    installed.plugin(CATALOGUE)
    installed.book(rule("twice", "2 * length"))
    book, project = (installed.folder / name for name in ("tiny.yaml", "project.yaml"))
    text = book.read_text("utf-8").replace("\nseries:", "\n  part: {within: thing, section: parts}\nseries:")
    text = text.replace("\nrules:", "\n  part.length: {unit: m}\nrules:")
    text += '  whole: {of: part, unit: m, is: length, cites: "3", transcription: checked}\n'
    stated = project.read_text("utf-8").replace("length: 4 m", 'taken_from: "notes: long.txt"')
    files = {"ruleset.yaml": text, "cases/some.yaml": CASES, "cases/long.txt": "4 m\n"}
    files |= {"../projects/project.yaml": stated, "../projects/long.txt": "5 m\n"}
    for file in (book, project):
        file.unlink()
    for name, content in files.items():
        place = installed.folder / "tiny" / name
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(content, "utf-8")
    said = installed.call("ruleset", "test", "tiny")
    assert said.status == 0, said.err + said.out
    assert said.err == "" and "4 cases, 4 pass, 0 fail" in said.out
    (installed.folder / "tiny" / "cases" / "long.txt").unlink()
    said = installed.call("ruleset", "test", "tiny")
    assert said.status == 2
    assert "some.yaml:2:" in said.err and "the catalogue notes has no 'long.txt'" in said.err
