"""Rules become Python source: nothing that a ruleset or a project says gets out of its quotes.

Texts that try to escape are put wherever a ruleset or project has a name or a text. Either they are refused, with
a place, or they come out as the texts they are; and every source that is compiled on the way is parsed and held
to a short list of what it may consist of.
"""

from __future__ import annotations

import ast
import builtins
import csv
import importlib
import json
import re
import types
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
import yaml

import gaugebook
from gaugebook import cache
from gaugebook.cli import main
from gaugebook.resources import packaged
from gaugebook.rulebook import RUNTIME
from gaugebook.watching import OPERATORS

TRACE = "hostile_text_was_run"
RUN = f"__import__('builtins').{TRACE}.append(1)"

HOSTILE = {
    "quote": f"x'); {RUN} #",
    "double quote": f'x"); {RUN} #',
    "triple quotes": f"'''\"\"\"); {RUN} #",
    "backslash at the end": "x\\",
    "new line and indent": f"x'\n    {RUN}\n    '",
    "braces": "{" + RUN + "}",
    "more braces": "{{" + RUN + "}}{0}{t.run}{name!r}%s",
    "call": RUN,
    "look-alike quote": f"x\N{FULLWIDTH APOSTROPHE}); {RUN} #",
    "separator": "x\N{LINE SEPARATOR}" + RUN,
    "lent": "lent['x']",
}

WORDS = (
    "t", "v0", "v1", "a", "b", "f0", "c0", "k0", "slots", "solve", "EMPTY", "raised", "lent", "tables",
    "ranks", "properties", "members", "Decimal", "Absent", "alone", "divide", "need", "reach", "bounded", "straight",
    "exec", "eval", "lambda", "class", "def", "import", "None", "True", "self", "__builtins__", "__class__",
    "__import__", "r0", "p0", "n0", "w0", "T0", "A0", "M0", "check0", "run", "route", "get", "path",
)  # fmt: skip
"""Names that mean something in the source that is generated, or in Python."""

RENAMED = ("kind", "field", "word", "member", "property", "table", "constant", "rule", "check", "choice")

NAMED = (
    "kind", "field", "flag", "words", "word", "other word", "series", "member", "property", "sizes", "table", "key",
    "row", "constant", "reading", "option", "rule", "branch", "exception", "check", "way", "choice", "caution",
    "part", "thing",
)  # fmt: skip
TOLD = ("title", "say", "cites", "question", "says", "ask", "document", "default", "text", "project title")


def ruleset(n: Mapping[str, str]) -> dict[str, Any]:
    """A ruleset that uses every sort of name in an expression, wherever the language lets it be named."""
    stated = {"cites": n["cites"], "source": "S", "transcription": "checked"}
    return {
        "gaugebook": "ruleset/1",
        "id": "yard",
        "version": "1.0.0",
        "title": n["title"],
        "document": n["document"],
        "sources": {"S": {"what": "written for this test"}},
        "kinds": {
            "yard": {"section": "yard", "one": "yes"},
            n["kind"]: {"section": "boxes"},
            "band": {"within": n["kind"], "section": n["part"]},
        },
        "terms": {n["words"]: [n["word"], n["other word"]]},
        "series": {
            n["series"]: {
                "members": [n["member"], "large"],
                "properties": {n["property"]: {"unit": "kg", "values": [10, 90]}},
            },
            n["sizes"]: {"unit": "kg", "members": [5, 50, 500]},
        },
        "fields": {
            f"{n['kind']}.{n['field']}": {"unit": "kg", "default": "6 kg", "ask": n["ask"]},
            f"{n['kind']}.{n['flag']}": {"flag": "yes", "default": "no"},
            f"{n['kind']}.stuff": {"terms": n["words"], "default": n["word"]},
            f"{n['kind']}.label": {"text": "yes", "default": n["default"]},
            "band.width": {"unit": "mm", "default": "3 mm"},
            "yard.first": {"link": n["kind"]},
        },
        "tables": {
            n["table"]: {
                "unit": "1",
                "keys": [{"name": n["key"], "terms": n["words"]}],
                "rows": {n["word"]: "2", n["other word"]: "3"},
                **stated,
            },
            "byrow": {
                "unit": "1",
                "keys": [{"name": "size", "series": n["series"]}],
                "rows": {n["row"] if n["row"] != "small" else n["member"]: "2", "large": "3"},
                **stated,
            },
        },
        "constants": {n["constant"]: {"unit": "kg", "value": "1 kg", **stated}},
        "readings": {
            n["reading"]: {
                "question": n["question"],
                "default": n["option"],
                "options": {n["option"]: {"says": n["says"]}, "other": {"says": "two"}},
                "cites": n["cites"],
            }
        },
        "rules": {
            n["rule"]: {
                "of": n["kind"],
                "unit": "kg",
                "branches": {
                    n["branch"]: {
                        "when": f"{n['reading']} is {n['option']}",
                        "is": f"{n['field']} * {n['table']}[stuff] ^ 2 / 3 + {n['constant']}"
                        f" + (sum of 0 kg over {n['part']} where width > 1 mm)",
                    }
                },
                "otherwise": f"least of 1 kg over {n['part']}",
                "exceptions": {
                    n["exception"]: {"rank": 1, "when": n["flag"], "is": "1 kg"},
                    "more": {"rank": 1, "when": f"{n['field']} > 900 kg", "is": "2 kg"},
                },
                **stated,
            },
            "counted": {
                "of": n["kind"],
                "unit": "kg",
                "is": f"first x in {n['sizes']} where x >= {n['rule']}",
                **stated,
            },
        },
        "choices": {n["choice"]: {"of": n["kind"], "from": n["series"], **stated}},
        "checks": {
            n["check"]: {
                "of": n["kind"],
                "constrains": n["choice"],
                "any_of": {
                    n["way"]: {"require": f"{n['choice']}.{n['property']} >= {n['rule']}"},
                    "stuffed": {"when": n["flag"], "require": f"stuff is {n['other word']}"},
                },
                "exceptions": {"lone": {"when": f"{n['flag']} and stuff is {n['word']}", "require": "1 > 2"}},
                **stated,
            },
            "plain": {"of": n["kind"], "require": f"{n['choice']} is {n['member']}", **stated},
        },
        "cautions": {
            n["caution"]: {"of": n["kind"], "when": f"{n['field']} > 1 kg", "say": n["say"], **stated}
        },
    }


def project(n: Mapping[str, str]) -> dict[str, Any]:
    """A project under it."""
    box = {n["field"]: "9 kg", "stuff": n["word"], "label": n["text"], n["part"]: [{"width": "2 mm"}]}
    return {
        "gaugebook": "project/1",
        "title": n["project title"],
        "yard": {"rulesets": ["yard"], "first": n["thing"]},
        "boxes": {n["thing"]: box, "other": {n["flag"]: "yes"}},
    }


PLAIN = {name: name.replace(" ", "_") + "_one" for name in (*NAMED, *TOLD)} | {"row": "small"}

# -- what the generated source may be made of

NODES = (
    ast.Module, ast.Expression, ast.FunctionDef, ast.arguments, ast.arg, ast.Return, ast.Expr, ast.If, ast.For,
    ast.While, ast.Break, ast.Continue, ast.Try, ast.ExceptHandler, ast.Raise, ast.Assign, ast.AugAssign, ast.Name,
    ast.Constant, ast.Call, ast.Attribute, ast.Subscript, ast.BinOp, ast.UnaryOp, ast.BoolOp, ast.Compare, ast.IfExp,
    ast.Lambda, ast.GeneratorExp, ast.comprehension, ast.Tuple, ast.List, ast.Pass, ast.expr_context, ast.operator,
    ast.unaryop, ast.boolop, ast.cmpop,
)  # fmt: skip
ATTRIBUTES = {
    "get", "run", "route", "path", "only", "reading", "each", "append", "__class__", "with_traceback",
}  # fmt: skip
BUILTINS = {"any", "all", "abs", "bool", "len", "min", "max", "range", "float", "tuple"}
PARTS = {"Decimal", "alone", "tables", "ranks", "properties", "members", "members_backward", "lent", *RUNTIME}
LATER = re.compile(r"r[0-9]+")
"""What a plan puts beside its functions once they are made: defaults and choices."""
REPORTING = {name for name, _ in OPERATORS.values()}
"""Comparisons that a search listens to."""


def look_at(tree: ast.AST, namespace: Mapping[str, Any] | None) -> None:
    """Fail where a source holds anything but arithmetic over the names it is given."""
    bound = {
        node.id for node in ast.walk(tree) if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store)
    }
    bound |= {node.arg for node in ast.walk(tree) if isinstance(node, ast.arg)}
    bound |= {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}
    for node in ast.walk(tree):
        assert isinstance(node, NODES), ast.dump(node)
        if isinstance(node, ast.Attribute):
            assert node.attr in ATTRIBUTES, ast.dump(node)
        elif isinstance(node, ast.FunctionDef):
            assert not node.decorator_list
        elif isinstance(node, ast.Constant):
            assert node.value is None or isinstance(node.value, (str, int, float)), ast.dump(node)
        elif isinstance(node, ast.Name) and node.id not in bound | BUILTINS | PARTS | REPORTING:
            assert namespace is not None, node.id
            assert node.id in namespace or LATER.fullmatch(node.id), node.id
            assert not isinstance(namespace.get(node.id), types.ModuleType), node.id
    assert not bound & {*BUILTINS, *PARTS}, bound


RUNNERS = ("rulebook", "writing", "watching", "expressions", "specialising", "planning", "straight")
"""The modules that compile or run what was generated."""


@pytest.fixture
def sources(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What was compiled, each looked at before it is run."""
    seen: list[str] = []
    trees: dict[types.CodeType, ast.AST] = {}

    def compiling(source: Any, *rest: Any) -> types.CodeType:
        tree = ast.parse(source) if isinstance(source, str) else source
        seen.append(ast.unparse(tree))
        code: types.CodeType = compile(source, *rest)
        trees[code] = tree
        return code

    def looking(run: Callable[..., Any], mode: str) -> Callable[..., Any]:
        def running(source: Any, namespace: dict[str, Any]) -> Any:
            tree = trees.get(source) if isinstance(source, types.CodeType) else ast.parse(source, mode=mode)
            if isinstance(source, str):
                seen.append(source)
            if tree is not None:
                look_at(tree, namespace)
            return run(source, namespace)

        return running

    for name in RUNNERS:
        module = importlib.import_module(f"gaugebook.{name}")
        monkeypatch.setattr(module, "compile", compiling, raising=False)
        monkeypatch.setattr(module, "exec", looking(exec, "exec"), raising=False)
        monkeypatch.setattr(module, "eval", looking(eval, "eval"), raising=False)
    return seen


@pytest.fixture
def ran(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[int]]:
    """What the hostile texts do if they are run."""
    found: list[int] = []
    monkeypatch.setattr(builtins, TRACE, found, raising=False)
    yield found
    assert not found


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A folder to work in, with a cache of its own."""
    monkeypatch.setenv(cache.VARIABLE, str(tmp_path / "kept"))
    monkeypatch.setenv("GAUGEBOOK_RULESETS", str(tmp_path))
    monkeypatch.setattr("gaugebook.batch_run.FEW", 0)  # a plan even for two rows
    monkeypatch.chdir(tmp_path)
    cache.switch(on=True)
    yield tmp_path
    cache.switch(on=True)


def write(folder: Path, n: Mapping[str, str]) -> None:
    """Both files, as YAML that holds the texts however odd they are."""
    for name, data in (("yard.yaml", ruleset(n)), ("p.yaml", project(n))):
        text = yaml.safe_dump(data, sort_keys=False, allow_unicode=True)
        (folder / name).write_text(text, "utf-8")


CALLS = (
    ("explain", "p.yaml", "{rule}"),
    ("batch", "p.yaml", "cases.csv", "--output", "rows.csv", "--no-columns"),
    ("size", "p.yaml", "--format", "html", "--output", "sheet.html"),
)
MORE = (
    ("size", "p.yaml"),  # from the cache
    ("explain", "p.yaml", "{choice}"),
    ("limits", "p.yaml"),
    ("batch", "p.yaml", "cases.csv", "--output", "columns.csv"),
)


def ask(
    folder: Path, n: Mapping[str, str], capsys: pytest.CaptureFixture[str], *more: tuple[str, ...]
) -> dict[str, Any] | None:
    """Size, explain, work through two rows, print a sheet; the result, or None where all is refused."""
    write(folder, n)
    capsys.readouterr()
    status = main(["size", "p.yaml", "--format", "json"])
    told = capsys.readouterr()
    assert "internal error" not in told.err
    if status == 2:
        assert ":" in told.err
        return None
    with (folder / "cases.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([[f"boxes.{n['thing']}.{n['field']} [kg]"], ["7"], ["80"]])
    names = {name: f"boxes.{n['thing']}.{n[name]}" for name in ("rule", "choice")}
    for call in (*CALLS, *more):
        main([names.get(word.strip("{}"), word) if word.startswith("{") else word for word in call])
        said = capsys.readouterr().err
        assert "internal error" not in said, (call, said)
    data: dict[str, Any] = json.loads(told.out)
    return data


def test_the_plain_book_works(
    folder: Path, sources: list[str], ran: list[int], capsys: pytest.CaptureFixture[str]
) -> None:
    data = ask(folder, PLAIN, capsys, *MORE)
    assert data is not None
    values = {name: value["value"] for name, value in data["values"].items()}
    assert values["boxes.thing_one.rule_one"] == 13  # 9 kg * 2 ** 2 / 3 + 1 kg
    assert values["boxes.thing_one.choice_one"] == "large"
    assert values["boxes.thing_one.counted"] == 50
    assert any("def f0(t)" in source for source in sources)
    assert any("slots[" in source for source in sources)
    with (folder / "rows.csv").open(encoding="utf-8") as file:
        sized = [row["boxes.thing_one.choice_one"] for row in csv.DictReader(file)]
    assert sized == ["large", ""]  # 80 kg * 2 ** 2 / 3 + 1 kg is more than either holds


@pytest.mark.parametrize("how", HOSTILE)
@pytest.mark.parametrize("where", NAMED)
def test_a_name_that_tries_to_escape_is_refused_or_stays_a_name(
    folder: Path, sources: list[str], ran: list[int], capsys: pytest.CaptureFixture[str], where: str, how: str
) -> None:
    ask(folder, {**PLAIN, where: HOSTILE[how]}, capsys)


@pytest.mark.parametrize("how", HOSTILE)
def test_texts_that_try_to_escape_stay_texts(
    folder: Path, sources: list[str], ran: list[int], capsys: pytest.CaptureFixture[str], how: str
) -> None:
    text = HOSTILE[how]
    data = ask(folder, {**PLAIN, **dict.fromkeys(TOLD, text)}, capsys)
    assert (data is None) == (how == "separator")  # a character that cannot be seen is refused
    if data is not None:
        assert data["project"]["title"] == text.strip()
        assert any(text.strip() in caution for caution in data["cautions"])


@pytest.mark.parametrize("turn", range(len(RENAMED)))
def test_a_name_that_means_something_in_the_source_is_a_name_like_any_other(
    folder: Path, sources: list[str], ran: list[int], capsys: pytest.CaptureFixture[str], turn: int
) -> None:
    """In ten turns every word is the name of every sort of thing."""
    plain = ask(folder, PLAIN, capsys)
    assert plain is not None
    for start in range(0, len(WORDS), len(RENAMED)):
        words = [WORDS[(start + place) % len(WORDS)] for place in range(len(RENAMED))]
        turned = [*words[turn:], *words[:turn]]
        data = ask(folder, {**PLAIN, **dict(zip(RENAMED, turned, strict=True))}, capsys)
        assert data is not None, turned
        for part in ("values", "checks"):
            assert len(data[part]) == len(plain[part])
        assert [check["passes"] for check in data["checks"]] == [check["passes"] for check in plain["checks"]]


READERS = {"marshal.loads", "marshal.load", "pickle.loads", "pickle.load"}


def test_nothing_else_of_the_package_runs_what_was_made() -> None:
    """Whoever compiles or runs something is looked at above; kept code is read in one module."""
    running: dict[str, set[str]] = {}
    for room in (packaged("grammar"), packaged("plugins"), Path(gaugebook.__file__).parent):
        for path in room.glob("*.py"):
            for node in ast.walk(ast.parse(path.read_text("utf-8"))):
                called = node.func if isinstance(node, ast.Call) else None
                if isinstance(called, ast.Name) and called.id in ("exec", "eval", "compile", "__import__"):
                    running.setdefault(path.stem, set()).add(called.id)
                if isinstance(called, ast.Attribute) and ast.unparse(called) in READERS:
                    running.setdefault(path.stem, set()).add(ast.unparse(called))
    assert running.pop("cache") == {"marshal.loads"}
    assert running.pop("thawing") == {"marshal.loads"}  # of what `cache` has already looked at
    assert running["expressions"] == {"exec", "marshal.loads"}  # likewise
    assert set(running) == set(RUNNERS)
