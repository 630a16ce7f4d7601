"""No ruleset and no project leads out of its folder, or takes more than is stated (DEVELOPERS.md, "Who is trusted").

Limits too great to reach in a test are lowered for it; the others are reached.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

import gaugebook
from gaugebook import diagnostics, evaluating, loading, project
from gaugebook.diagnostics import GaugebookError, Problems, nearest
from gaugebook.loading import shipped_units
from gaugebook.shelf import Shelf

HEAD = "gaugebook: ruleset/1\nid: yard\nversion: 1.0.0\ntitle: Yard\n"
KINDS = """\
kinds: {yard: {section: yard, one: yes}, box: {section: boxes}}
fields: {box.load: {unit: "1", default: 7}, yard.every: {links: box}}
"""
SIZE = Callable[[str, str], gaugebook.Result]


@pytest.fixture
def size(tmp_path: Path) -> SIZE:
    """Sizes a project under a ruleset, both given as text."""

    def sized(rules: str, things: str) -> gaugebook.Result:
        (tmp_path / "yard.yaml").write_text(HEAD + KINDS + rules, "utf-8")
        (tmp_path / "p.yaml").write_text(f"gaugebook: project/1\ntitle: p\n{things}", "utf-8")
        return gaugebook.size(tmp_path / "p.yaml", rulesets=["yard"], folders=[tmp_path])

    return sized


def refusal(ask: Callable[[], object]) -> tuple[str, str, str]:
    """Name, message and help of the last fault told."""
    with pytest.raises(GaugebookError) as caught:
        ask()
    last = caught.value.diagnostics[-1]
    return last.name, last.message, last.help or ""


# -- numbers


@pytest.mark.parametrize(
    ("rules", "reason"),
    [
        ("r: {of: box, unit: '1', is: (((load ^ 99) ^ 99) ^ 99) ^ 99}", "a power that is too great"),
        ("r: {of: box, unit: '1', is: (load ^ 99) ^ 2}", "a number that is too great or too small"),
        ("r: {of: box, unit: '1', is: 1 / (load ^ 99) ^ 2}", "a number that is too great or too small"),
        ("q: {of: box, unit: '1', is: load ^ 99}\n  r: {of: box, unit: '1', is: q * q}",
         "a number that is too great or too small"),
        ("r: {of: box, unit: '1', is: 'power(load, 10000000)'}", "a power that is too great"),
    ],
)  # fmt: skip
def test_a_number_that_grows_without_end_is_no_value(size: SIZE, rules: str, reason: str) -> None:
    result = size(f"rules:\n  {rules}\n", "boxes: {a: {}}\n")
    assert result.value("boxes.a.r") is None
    thing = result.run.things["boxes.a"]
    assert thing.memo["r"].reasons == (reason,)
    assert thing.memo["r"].void


def test_a_number_within_the_limit_is_one(size: SIZE) -> None:
    result = size("rules: {r: {of: box, unit: '1', is: load ^ 99 * load ^ 10}}\n", "boxes: {a: {}}\n")
    assert result.value("boxes.a.r") == pytest.approx(7.0**109)


def test_a_unit_that_is_far_from_all_others_is_none() -> None:
    units = shipped_units()
    assert units.unit("km9").scale == 10**27
    assert refusal(lambda: units.unit("km99*mm2")) == (
        "unit-astray",
        "'km99*mm2' and the base unit of its kind are more than 50 figures apart",
        "lower its powers",
    )


# -- work

NESTED = "sum of (" * 5 + "load" + ") over yard.every" * 5
PICKS = "x6 > 8"
for level in range(5, 0, -1):
    PICKS = f"(first x{level + 1} in s where {PICKS}) > 8 and x{level} > 8"
CHOICES = """\
series: {steps: {unit: "1", members: [1, 2, 3, 4, 5, 6, 7, 8, 9, 10]}}
choices: {a: {of: box, from: steps}, b: {of: box, from: steps}, c: {of: box, from: steps}, d: {of: box, from: steps}}
checks:
  ka: {of: box, constrains: a, require: a + 0 * b > 9}
  kb: {of: box, constrains: b, require: b + 0 * a + 0 * c > 9}
  kc: {of: box, constrains: c, require: c + 0 * a + 0 * b + 0 * d > 9}
  kd: {of: box, constrains: d, require: d + 0 * a + 0 * b + 0 * c > 9}
"""
TOO_MUCH = (
    "too-much-work",
    "working this out takes more than 10000 steps",
    "make the project smaller; where it is small, a rule or choice asks for the same things over and over",
)


@pytest.mark.parametrize(
    "rules",
    [
        f"rules: {{r: {{of: yard, unit: '1', is: {NESTED}}}}}\n",
        f"checks: {{k: {{of: yard, require: {NESTED} > 1}}}}\n",
        f"series: {{s: {{unit: '1', members: [1, 2, 3, 4, 5, 6, 7, 8, 9]}}}}\n"
        f"rules: {{r: {{of: yard, unit: '1', is: first x1 in s where {PICKS}}}}}\n",
        CHOICES,
    ],
    ids=["sums within sums", "in a check", "picks within picks", "choices that lean on each other"],
)
def test_work_that_multiplies_is_given_up(size: SIZE, monkeypatch: pytest.MonkeyPatch, rules: str) -> None:
    monkeypatch.setattr(evaluating, "MOST_STEPS", 10_000)
    names = [f"b{number}" for number in range(20)]
    things = f"yard: {{every: [{', '.join(names)}]}}\nboxes:\n" + "".join(
        f"  {name}: {{}}\n" for name in names
    )
    assert refusal(lambda: size(rules, things)) == TOO_MUCH


def test_no_shipped_example_comes_near_the_limit_of_work() -> None:
    example = Path(__file__).parents[2] / "examples" / "carport.yaml"
    run = gaugebook.size(example).run
    assert 0 < run._steps < evaluating.MOST_STEPS / 100


# -- how many


def test_too_many_things(size: SIZE, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(project, "MOST_THINGS", 3)
    boxes = "boxes: {a: {}, b: {}, c: {}, d: {}}\n"
    assert refusal(lambda: size("", boxes)) == (
        "too-many-things", "more than 3 things in one project", "split it into several projects"
    )  # fmt: skip


def test_too_many_faults(size: SIZE, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(diagnostics, "MOST_FAULTS", 5)
    boxes = "boxes:\n" + "".join(f"  b{number}: {{laod: 1}}\n" for number in range(20))
    with pytest.raises(GaugebookError) as caught:
        size("", boxes)
    *found, last = caught.value.diagnostics
    assert [fault.name for fault in found] == ["unknown-key"] * 5
    assert (last.name, last.message) == (
        "too-many-faults",
        "more than 5 faults; nothing was looked at after them",
    )
    assert last.help == "mend the first ones"


def test_faults_up_to_the_limit_are_all_told() -> None:
    problems = Problems()
    for number in range(diagnostics.MOST_FAULTS):
        problems.add("not-a-day", None, text=number)
    assert len(problems) == diagnostics.MOST_FAULTS


def test_no_nearest_word_is_looked_for_among_too_many() -> None:
    known = [f"name{number}" for number in range(diagnostics.MOST_KNOWN + 1)]
    assert nearest("nane7", known[:100])
    assert nearest("nane7", known) == []
    assert nearest("name7" * 100, ["name7" * 100 + "x"]) == []


def test_too_many_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(loading, "MOST_FILES", 2)
    place = tmp_path / "yard"
    place.mkdir()
    (place / "ruleset.yaml").write_text(HEAD, "utf-8")
    for name in "ab":
        (place / f"{name}.yaml").write_text(f"terms: {{{name}s: [x]}}\n", "utf-8")
    assert refusal(lambda: gaugebook.open_book("yard", folders=[tmp_path])) == (
        "too-many-files", "the ruleset has more than 2 files", "join those of one topic"
    )  # fmt: skip


# -- which files


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_a_pipe_in_a_ruleset_is_not_waited_for(tmp_path: Path) -> None:
    place = tmp_path / "yard"
    place.mkdir()
    (place / "ruleset.yaml").write_text(HEAD, "utf-8")
    os.mkfifo(place / "more.yaml")
    assert refusal(lambda: gaugebook.open_book("yard", folders=[tmp_path])) == (
        "no-regular-file", "this is no regular file", "a ruleset is made of plain files"
    )  # fmt: skip


@pytest.mark.parametrize(
    "id",
    [
        "../outside/yard",
        "..",
        ".",
        "",
        "{outside}/yard",
        "yard/../../outside/yard",
        "..\\outside\\yard",
        "x\0",
    ],
)
def test_the_name_of_a_ruleset_is_no_path(tmp_path: Path, id: str) -> None:
    outside, inside = tmp_path / "outside", tmp_path / "inside"
    for folder in (outside / "yard", inside):
        folder.mkdir(parents=True)
        (folder / "ruleset.yaml").write_text(HEAD, "utf-8")
    name = id.format(outside=outside)
    assert Shelf([inside]).place(name) is None
    assert refusal(lambda: gaugebook.open_book(name, folders=[inside]))[0] == "unknown-ruleset"


@pytest.mark.parametrize("key", ["extends", "borrow"])
def test_neither_a_project_nor_a_ruleset_names_one_by_its_path(tmp_path: Path, key: str) -> None:
    inside = tmp_path / "inside"
    inside.mkdir()
    (tmp_path / "other.yaml").write_text(HEAD.replace("yard", "other") + "terms: {words: [a, b]}\n", "utf-8")
    path = tmp_path / "inside" / "p.yaml"
    path.write_text("gaugebook: project/1\nsite: {rulesets: [../other]}\n", "utf-8")
    assert refusal(lambda: gaugebook.size(path, folders=[inside]))[0] == "unknown-ruleset"
    asks = {"extends": "extends: ../other\n", "borrow": "amend: [{borrow: terms/words, from: ../other}]\n"}
    (inside / "yard.yaml").write_text(HEAD + asks[key], "utf-8")
    assert refusal(lambda: gaugebook.open_book("yard", folders=[inside]))[0] == "unknown-ruleset"
