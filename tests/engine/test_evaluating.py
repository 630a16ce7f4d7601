"""One project evaluated on demand: what is kept, what a trial or another value takes back, and what nothing passes.

The book is that of the shelves (`conftest.py`); figures are worked out by hand: a load of 18 kg counts 27 kg.
"""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from gaugebook.books import check_book
from gaugebook.diagnostics import GaugebookError, Problems
from gaugebook.evaluating import UNSTATED, Rejected, Run
from gaugebook.project import build_run
from gaugebook.runtime import Absent
from gaugebook.source import read_source

LOW = "shelves.low"


def evaluated(shelf: Path, change: tuple[str, str] = ("", ""), book: tuple[str, str] = ("", "")) -> Run:
    """The hallway, with one text changed in the project and one in the book."""
    for name, (old, new) in (("hall.yaml", change), ("books/shelves/ruleset.yaml", book)):
        place = shelf / name
        text = place.read_text("utf-8")
        assert old in text
        place.write_text(text.replace(old, new) if old else text, "utf-8")
    checked = check_book(["shelves"], [shelf / "books"])
    checked.problems.refuse_if_any()
    problems = Problems()
    source = read_source(shelf / "hall.yaml", None, problems)
    assert source is not None
    run = build_run(source, checked.compiled(), {}, problems)
    problems.refuse_if_any()
    return run


def value(run: Run, path: str, name: str) -> Any:
    """The value of an attribute, or why there is none."""
    with run.exactly():
        try:
            return run.things[path].get(name)
        except Absent as absent:
            return str(absent)


def rejected(run: Run, name: str = "board") -> list[Rejected]:
    value(run, LOW, name)
    return run.rejected[LOW, name]


# -- other values for stated ones


def test_another_value_counts_inside_alone(shelf: Path) -> None:
    run = evaluated(shelf)
    with run.bound({(LOW, "load"): Decimal(20)}):
        assert value(run, LOW, "load") == 20
        assert value(run, LOW, "design_load") == 30
        assert value(run, LOW, "board") == "medium"
        assert run.things[LOW].stated >= {"load"}
    assert value(run, LOW, "load") == 18
    assert value(run, LOW, "design_load") == 27
    assert "load" in run.things[LOW].stated


def test_a_value_taken_back_is_asked_for_inside_alone(shelf: Path) -> None:
    run = evaluated(shelf)
    with run.bound({(LOW, "load"): UNSTATED}):
        assert value(run, LOW, "load") == "shelves.low.load is not stated (what it carries)"
        assert "load" not in run.things[LOW].stated
        assert "not stated" in value(run, LOW, "design_load")
    assert value(run, LOW, "design_load") == 27
    assert "load" in run.things[LOW].stated


def test_a_value_nobody_stated_is_unstated_again_afterwards(shelf: Path) -> None:
    run = evaluated(shelf)
    with run.bound({(LOW, "wood"): "oak"}):
        assert value(run, LOW, "board") == "medium"
        assert (LOW, "wood") not in run.assumptions
        assert value(run, LOW, "wood") == "oak"
        assert "wood" in run.things[LOW].stated
    assert value(run, LOW, "wood") == "pine"
    assert "wood" not in run.things[LOW].stated
    assert (LOW, "wood") in run.assumptions


def test_a_choice_can_be_made_free_and_stated(shelf: Path) -> None:
    run = evaluated(shelf)
    with run.bound({("shelves.high", "board"): UNSTATED}):
        assert value(run, "shelves.high", "board") == "thin"
    assert value(run, "shelves.high", "board") == "medium"
    with run.bound({(LOW, "board"): "thick"}):
        assert value(run, LOW, "board") == "thick"
    assert value(run, LOW, "board") == "medium"


def test_what_leans_on_another_value_is_forgotten_and_nothing_else(shelf: Path) -> None:
    run = evaluated(shelf)
    with run.bound({(LOW, "load"): Decimal(5)}) as trial, run.exactly():
        answer, trials = run.leaning(lambda: run.things[LOW].get("design_load"))
        assert (answer, trials) == (Decimal("7.5"), {trial})
        answer, trials = run.leaning(lambda: run.things[LOW].get("wood"))
        assert (answer, trials) == ("pine", set())
        answer, trials = run.leaning(lambda: run.things[LOW].get("board"))
        assert (answer, trials) == ("thin", {trial})
    kept = run.things[LOW].memo
    assert (kept["wood"], kept["load"]) == ("pine", 18)
    assert "design_load" not in kept and "board" not in kept
    assert not run.things[LOW].provisional
    assert (LOW, "board") not in run.rejected
    assert value(run, LOW, "design_load") == 27


def test_an_answer_that_is_absent_leans_too(shelf: Path) -> None:
    run = evaluated(shelf)
    with run.bound({(LOW, "load"): UNSTATED}) as trial, run.exactly():
        answer, trials = run.leaning(lambda: run.things[LOW].get("design_load"))
        assert isinstance(answer, Absent) and not answer.void
        assert trials == {trial}


# -- choices


def test_candidates_are_tried_from_the_first_and_forgotten(shelf: Path) -> None:
    run = evaluated(shelf)
    assert rejected(run) == [Rejected("thin", "bears", Decimal(15), Decimal(27), None)]
    assert run.rejected[LOW, "board"][0].way == -1
    assert run.things[LOW].memo["board"] == "medium"
    assert "board" not in run.things[LOW].provisional
    assert rejected(evaluated(shelf, ("load: 18 kg", "load: 1 kg"))) == []


def test_where_nothing_passes_the_reason_names_each_check_and_its_limit(shelf: Path) -> None:
    run = evaluated(shelf, ("load: 18 kg", "load: 60 kg"), ("thick: [80, missing]", "thick: [80, 85]"))
    assert value(run, LOW, "board") == "no board of shelves.low passes every check; the last one fails bears"
    with run.exactly(), pytest.raises(Absent) as caught:
        run.things[LOW].get("board")
    assert caught.value.void
    assert [candidate.member for candidate in run.rejected[LOW, "board"]] == ["thin", "medium", "thick"]


TWO_CHECKS = (
    "  screw_holds:\n",
    "  light:\n    of: shelf\n    require: weight[board] <= 5 kg\n    constrains: board\n    cites: 8\n"
    "  screw_holds:\n",
)


@pytest.mark.parametrize(
    ("weights", "limit", "said"),
    [
        (
            "thin: 1, medium: 2, thick: 9",
            "5 kg",
            "the last one fails light (<= 5 kg), others bears (>= 27 kg)",
        ),
        (
            "thin: 1, medium: 2, thick: 9",
            "load / 3",
            "the last one fails light (<= 6 kg), others bears (>= 27 kg)",
        ),
    ],
)
def test_where_several_checks_reject_each_is_told_with_its_limit(
    shelf: Path, weights: str, limit: str, said: str
) -> None:
    place = shelf / "books" / "shelves" / "ruleset.yaml"
    table = (
        f"  weight: {{cites: '8', unit: kg, keys: [{{name: board, series: boards}}], rows: {{{weights}}}}}\n"
    )
    text = place.read_text("utf-8").replace("tables:\n", f"tables:\n{table}")
    text = (
        text.replace(*TWO_CHECKS)
        .replace("<= 5 kg", f"<= {limit}")
        .replace("medium: [40, 30]", "medium: [40, 20]")
    )
    place.write_text(text.replace("thick: [80, missing]", "thick: [80, 85]"), "utf-8")
    assert value(evaluated(shelf), LOW, "board") == f"no board of shelves.low passes every check; {said}"


def test_a_limit_that_is_not_the_same_for_all_is_left_out(shelf: Path) -> None:
    place = shelf / "books" / "shelves" / "ruleset.yaml"
    tables = (
        "  weight: {cites: '8', unit: kg, keys: [{name: board, series: boards}], rows: {medium: 9, thick: 9}}\n"
        "  most: {cites: '8', unit: kg, keys: [{name: board, series: boards}], rows: {medium: 8, thick: 7}}\n"
    )
    text = place.read_text("utf-8").replace("tables:\n", f"tables:\n{tables}").replace(*TWO_CHECKS)
    text = text.replace("thick: [80, missing]", "thick: [80, 85]")
    place.write_text(text.replace("weight[board] <= 5 kg", "weight[board] <= most[board]"), "utf-8")
    assert value(evaluated(shelf), LOW, "board") == (
        "no board of shelves.low passes every check; the last one fails light, others bears (>= 27 kg)"
    )


def test_an_unknown_figure_leaves_a_choice_open(shelf: Path) -> None:
    """The thick board is not read for pine, and thin and medium do not bear 40 kg."""
    run = evaluated(shelf, ("load: 18 kg", "load: 40 kg"))
    with run.exactly(), pytest.raises(Absent) as caught:
        run.things[LOW].get("board")
    assert not caught.value.void
    assert caught.value.reasons == ("bearing was not read at thick, pine",)


# -- what is not there


def test_an_unknown_attribute_is_a_mistake_of_the_caller(shelf: Path) -> None:
    with pytest.raises(KeyError, match=r"shelf\.colour"):
        evaluated(shelf).things[LOW].get("colour")


def test_the_only_thing_of_a_kind(shelf: Path) -> None:
    run = evaluated(shelf)
    assert run.only("site").path == "site"
    run.by_kind["site"].clear()
    with pytest.raises(Absent, match="the project states no site") as caught:
        run.only("site")
    assert not caught.value.void


def test_leaning_too_deep_is_refused(shelf: Path) -> None:
    run = evaluated(shelf)
    with pytest.raises(GaugebookError, match="leans-too-deep"), run.exactly():
        raise RecursionError
