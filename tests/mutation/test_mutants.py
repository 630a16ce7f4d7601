"""The mutator itself: what it changes, that it puts everything back, and that what is explained is still there."""

from __future__ import annotations

import ast
import runpy
from pathlib import Path

import pytest
import yaml

HERE = Path(__file__).parent
ENGINE = HERE.parents[1] / "engine"
MUTANTS = runpy.run_path(str(HERE / "mutants.py"))["mutants"]
EXPLAINED = yaml.safe_load((HERE / "explained.yaml").read_text(encoding="utf-8"))


def names(source: str) -> list[str]:
    return [mutant.name for mutant in MUTANTS(source)]


@pytest.mark.parametrize(
    ("line", "changed"),
    [
        ("a < b", ["a < b  ->  a <= b"]),
        ("a == b", ["a == b  ->  a != b"]),
        ("a <= b < c", ["a <= b < c  ->  a < b < c", "a <= b < c  ->  a <= b <= c"]),
        ("a in b", ["a in b  ->  a not in b"]),
        ("a and b", ["a and b  ->  a or b"]),
        ("not a", ["not a  ->  not not a"]),
        ("-a", ["-a  ->  +a"]),
        ("a * b", ["a * b  ->  a / b"]),
        ("max(a, b)", ["max(a, b)  ->  min(a, b)"]),
        ("f(1)", ["f(1)  ->  f(2)"]),
        ("f(True)", ["f(True)  ->  f(False)"]),
        ("f(x.ROUND_FLOOR)", ["f(x.ROUND_FLOOR)  ->  f(x.ROUND_CEILING)"]),
        ("f('1', None)", []),
        ("f(a, b)", []),
    ],
)
def test_what_is_changed(line: str, changed: list[str]) -> None:
    assert names(f"def f(a):\n    return {line}\n") == [f"f: {change}" for change in changed]


def test_texts_annotations_and_imports_stay() -> None:
    assert names('"""1 < 2"""\nfrom a import max\ndef f(a: "1 < 2" = None) -> list[max]: "3"\n') == []


def test_what_only_type_checkers_read_stays() -> None:
    assert names("TYPE_CHECKING = False\nif TYPE_CHECKING:\n    LINE = 1\nMOST = False\n") == [
        "module: MOST = False  ->  MOST = True"
    ]


def test_the_same_change_twice_in_a_function_has_two_names() -> None:
    source = "class C:\n    def f(self):\n        a < b\n        a < b\n"
    assert names(source) == ["C.f: a < b  ->  a <= b", "C.f: a < b  ->  a <= b (2)"]


def test_each_mutant_differs_in_one_place_alone() -> None:
    source = (ENGINE / "runtime.py").read_text(encoding="utf-8")
    plain = ast.unparse(ast.parse(source)) + "\n"
    found = list(MUTANTS(source))
    assert len(found) > 100
    assert len({mutant.source for mutant in found}) == len(found) == len({mutant.name for mutant in found})
    for mutant in found:
        lines = zip(plain.splitlines(), mutant.source.splitlines(), strict=True)
        assert sum(before != after for before, after in lines) == 1, mutant.name


@pytest.mark.parametrize("module", EXPLAINED)
def test_what_is_explained_is_still_there(module: str) -> None:
    known = names((ENGINE / f"{module}.py").read_text(encoding="utf-8"))
    for name, reason in EXPLAINED[module].items():
        assert name in known
        assert len(reason) > 20, name
