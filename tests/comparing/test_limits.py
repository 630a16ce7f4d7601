"""What would flip an outcome, against brute force: no flip missed, none invented."""

from __future__ import annotations

import os
import random
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from gaugebook.blocks import as_text
from gaugebook.diagnostics import GaugebookError, Problems
from gaugebook.evaluating import Run
from gaugebook.limiting import limits_of
from gaugebook.project import fill_run
from gaugebook.questions import Limits, limits
from gaugebook.results import plain
from gaugebook.runtime import Absent
from gaugebook.session import Book, Result, open_book
from gaugebook.studying import Input, Study

HERE = Path(__file__).parent
STEPS = 48

PROJECTS = int(os.environ.get("GAUGEBOOK_PROJECTS", "12"))
"""How many random projects are tried; `GAUGEBOOK_PROJECTS=200 pytest tests/comparing` for the long run."""


@pytest.fixture(scope="module")
def book() -> Book:
    return open_book("hoist", folders=[HERE])


def outcomes_with(result: Result, given: Input, value: Decimal) -> dict[str, Any]:
    """Every outcome, from a fresh evaluation in which one input has another value."""
    run = Run(result.run.rulebook, {})
    fill_run(run, result.source, Problems())
    run.things[given.read[0]].memo[given.read[1]] = value
    run.things[given.read[0]].stated.add(given.read[1])
    with run.exactly():
        return dict(_outcomes(run))


def _outcomes(run: Run) -> Iterator[tuple[str, Any]]:
    for path, thing in run.things.items():
        for attribute in run.rulebook.attributes[thing.kind].values():
            if attribute.role == "choice":
                try:
                    chosen = thing.get(attribute.name)
                    yield f"{path}.{attribute.name}", ("chosen", plain(chosen, attribute.unit))
                except Absent as absent:
                    yield f"{path}.{attribute.name}", ("none" if absent.void else "undetermined", None)
        for check in run.rulebook.checks.values():
            if check["kind"] != thing.kind:
                continue
            try:
                verdict = run.check(thing, check["name"])
                word = "does not apply" if verdict is None else "passes" if verdict[0] else "fails"
            except Absent as absent:
                word = "none" if absent.void else "undetermined"
            yield f"{path}.{check['name']}", (word, None)


def grid(result: Result, given: Input, low: Decimal, high: Decimal) -> list[Decimal]:
    """Values to try by brute force: evenly spread, and every figure any table of the book has as a bound."""
    if given.whole:
        return [Decimal(number) for number in range(int(low), int(high) + 1)]
    spread = [low + (high - low) * step / STEPS for step in range(STEPS + 1)]
    close = [
        given.value + (high - low) * Decimal(sign) / 10**power for power in (2, 3, 4) for sign in (1, -1)
    ]
    bounds = {
        bound for table in result.run.rulebook.tables.values() for axis in table.axes for bound in axis.bounds
    }
    return sorted({value for value in [*spread, *close, *bounds] if low <= value <= high})


def as_told(told: dict[str, Any]) -> tuple[str, Any]:
    return told["what"], told.get("value")


def disagreements(book: Book, shelf: Any, seed: int) -> Iterator[str]:
    """Everything limits and brute force say differently about one random project."""
    path = shelf.project(random.Random(seed))
    result = book.size(path)
    study = Study(result.source, result.run)
    answer = limits_of(study, result.data)
    for given in study.inputs:
        moved = next(item for item in answer["inputs"] if item["input"] == given.label)
        searched = moved.get("searched")
        base = outcomes_with(result, given, given.value)
        low, high = (
            (given.unit.to_base(Decimal(repr(searched[word]))) for word in ("least", "most"))
            if searched
            else (given.value / 2, given.value * 2)
        )
        flips = {
            (flip["outcome"], flip["direction"]): flip
            for flip in answer["flips"]
            if flip["input"] == given.label
        }
        yield from invented(result, given, base, flips, "values" in moved)
        values = moved.get("values")
        tried = (
            grid(result, given, *_allowed(given, low, high))
            if values is None
            else [given.unit.to_base(Decimal(repr(value))) for value in values]
        )
        for value in tried:
            found = outcomes_with(result, given, value)
            for name, outcome in found.items():
                direction = "above" if value > given.value else "below"
                flip = flips.get((name, direction))
                if outcome != base[name] and (flip is None or not reached(flip, given, value)):
                    yield f"seed {seed}: {name} flips at {given.label} = {value}, which limits missed: {flip}"


def _allowed(given: Input, low: Decimal, high: Decimal) -> tuple[Decimal, Decimal]:
    """What the field allows, where it says so: all of it is tried, not only what was searched."""
    field = given.attribute.field or {}
    units = [Decimal(str(field[word]).split()[0]) if word in field else None for word in ("least", "most")]
    return (
        low if units[0] is None else given.unit.to_base(units[0]),
        high if units[1] is None else given.unit.to_base(units[1]),
    )


def reached(flip: dict[str, Any], given: Input, value: Decimal) -> bool:
    """Whether a value lies at or beyond the bound of a flip."""
    bound = given.unit.to_base(Decimal(repr(flip["bound"]["value"])))
    slack = resolution(given, bound)
    return value >= bound - slack if flip["direction"] == "above" else value <= bound + slack


def resolution(given: Input, bound: Decimal) -> Decimal:
    """The stated resolution about a bound, with room for a rounded figure."""
    return max(abs(given.value), abs(bound)) * Decimal("2e-6")


def invented(
    result: Result,
    given: Input,
    base: dict[str, Any],
    flips: dict[tuple[str, str], dict[str, Any]],
    listed: bool,
) -> Iterator[str]:
    """Flips that are none: right behind the bound the outcome is what it was, or not what was told."""
    for (name, direction), flip in flips.items():
        bound = given.unit.to_base(Decimal(repr(flip["bound"]["value"])))
        sign = 1 if direction == "above" else -1
        beyond = bound + sign * resolution(given, bound)
        if given.whole or flip["only_there"] or listed:
            beyond = bound
        found = outcomes_with(result, given, beyond)[name]
        if found == base[name] or found != as_told(flip["becomes"]):
            yield f"{name} does not become {flip['becomes']} behind {given.label} = {bound} but {found}"
        before = bound - sign * resolution(given, bound)
        if given.whole:
            before = bound - sign
        if (
            not listed
            and (before - given.value) * sign >= 0
            and outcomes_with(result, given, before)[name] != base[name]
        ):
            yield f"{name} has changed before {given.label} = {bound}"


ONE: dict[str, Any] = {
    "gaugebook": "project/1",
    "title": "one rope",
    "yard": {"heat": "30 degC", "dust": "12 %"},
    "crates": {"c": {"mass": "100 kg"}},
    "ropes": {"r": {"lifts": ["c"], "stretches": [{"length": "10 m", "bend": "1.2 m"}]}},
}


def told(shelf: Any, **changes: Any) -> Limits:
    return limits(shelf.write("project", ONE | changes), ["hoist"], folders=[shelf.folder])


def flip(answer: Limits, outcome: str, given: str, direction: str) -> dict[str, Any]:
    [found] = [
        flip
        for flip in answer.flips
        if (flip["outcome"], flip["input"], flip["direction"]) == (outcome, given, direction)
    ]
    return found


def test_a_value_on_a_bound_is_pointed_out_with_both_sides(shelf: Any) -> None:
    places = told(shelf).data["on_bounds"]
    heat = next(place for place in places if place["key"] == "heat")
    assert heat["value_of"] == "ropes.r.stretches[0].heat_share"
    assert heat["bound"] == {"value": 30.0, "unit": "degC"}
    assert (heat["below"], heat["at"], heat["above"]) == (0.95, 0.95, 0.9)
    assert "ropes.r.gauge" in heat["outcomes"]


def test_a_check_right_at_its_limit_is_pointed_out(shelf: Any) -> None:
    stretches = [{"length": "60 m"}, {"length": "60 m"}]
    answer = told(shelf, ropes={"r": {"lifts": ["c"], "stretches": stretches}})
    [place] = [place for place in answer.data["on_bounds"] if place["kind"] == "check"]
    assert (place["value_of"], place["at"]) == ("ropes.r.not_too_long", "passes")
    found = flip(answer, "ropes.r.not_too_long", "ropes.r.stretches[0].length", "above")
    assert (found["bound"]["value"], found["included"], found["percent"]) == (60.0, False, 0.0)
    assert (found["is"], found["becomes"]) == ({"what": "passes"}, {"what": "fails"})


def test_bounds_are_exact_and_say_which_side_they_belong_to(shelf: Any) -> None:
    answer = told(shelf)
    up = flip(answer, "ropes.r.pulley", "ropes.r.stretches[0].length", "above")
    assert (up["bound"]["value"], up["included"]) == (60.0, False)
    down = flip(answer, "ropes.r.pulley", "ropes.r.stretches[0].bend", "below")
    assert (down["bound"]["value"], down["included"]) == (0.2, False)
    assert down["becomes"] == {"what": "chosen", "value": "large", "unit": None}
    more = flip(answer, "ropes.r.pulley", "crates.c.mass", "above")
    assert (more["bound"]["value"], more["included"], more["percent"]) == (300.0, True, 200.0)


def test_a_count_moves_in_whole_steps(shelf: Any) -> None:
    found = flip(told(shelf), "ropes.r.pulley", "crates.c.pieces", "above")
    assert (found["bound"]["value"], found["included"]) == (3.0, True)


def test_an_exact_key_moves_among_its_values(shelf: Any) -> None:
    answer = told(shelf, yard={"heat": "47 degC"})
    [rating] = [item for item in answer.data["inputs"] if item["input"] == "ropes.r.rating"]
    assert rating["values"] == [40.0, 60.0]
    found = flip(answer, "ropes.r.gauge", "ropes.r.rating", "below")
    assert (found["bound"]["value"], found["becomes"]) == (40.0, {"what": "none"})


def test_inputs_without_effect_are_listed_and_the_tightest_come_first(shelf: Any) -> None:
    crates = {"c": {"mass": "100 kg"}, "idle": {"mass": "5 kg"}}
    answer = told(shelf, crates=crates)
    assert answer.data["without_effect"] == ["crates.idle.mass", "crates.idle.pieces"]
    tightness = [flip["tightness"] for flip in answer.flips]
    assert tightness == sorted(tightness)


def unbounded(shelf: Any, **changes: Any) -> Limits:
    """The limits under a book in which neither masses nor lengths have a bound."""
    layer = {"gaugebook": "ruleset/1", "id": "open", "version": "1", "title": "t", "document": "D"}
    named = ("crate.mass", "stretch.length")
    amend = [
        {"replace": f"fields/{name}", "with": {"unit": unit}}
        for name, unit in zip(named, ("kg", "m"), strict=True)
    ]
    shelf.write("open", layer | {"extends": "hoist", "amend": amend})
    return limits(shelf.write("project", ONE | changes), ["open"], folders=[shelf.folder])


def test_a_field_without_bounds_is_searched_far_out_in_both_directions(shelf: Any) -> None:
    answer = unbounded(shelf)
    [mass] = [item for item in answer.data["inputs"] if item["input"] == "crates.c.mass"]
    assert mass["searched"] == {"least": -1e8, "most": 1e8}
    assert mass["ended_by"]["most"] == "reach"
    stretches = [{"length": "0.5 m"}]
    short = unbounded(shelf, ropes={"r": {"lifts": ["c"], "stretches": stretches}})
    long = flip(short, "ropes.r.not_too_long", "ropes.r.stretches[0].length", "above")
    assert (long["bound"]["value"], long["included"]) == (120.0, False)
    assert long["percent"] == pytest.approx(23900)


def test_what_ends_a_search_is_told(shelf: Any) -> None:
    answer = told(shelf)
    ended = {item["input"]: item["ended_by"] for item in answer.data["inputs"] if "ended_by" in item}
    assert ended["crates.c.mass"] == {"least": "field", "most": "field"}
    far = {item["input"]: item["ended_by"] for item in unbounded(shelf).data["inputs"] if "ended_by" in item}
    assert far["crates.c.mass"] == {"least": "reach", "most": "reach"}
    assert "* The field states no bound; beyond this nothing was searched." in as_text(
        unbounded(shelf, yard={"heat": "15 degC", "dust": "12 %"}).page(full=True)
    )


def test_a_spent_search_says_so(shelf: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gaugebook.searching.BUDGET", 3)
    answer = told(shelf)
    ended = [item["ended_by"] for item in answer.data["inputs"] if "ended_by" in item]
    assert any("effort" in ends.values() for ends in ended)
    assert "the search was given up here" in as_text(answer.page(full=True))


def test_a_field_nobody_states_is_named(shelf: Any) -> None:
    assert told(shelf).data["unstated"] == ["ropes.r.age"]
    aged = ONE["ropes"]["r"] | {"age": "30 s"}
    assert told(shelf, ropes={"r": aged}).data["unstated"] == []


def test_margins_come_the_tightest_first(shelf: Any) -> None:
    margins = [item["margin"] for item in told(shelf).data["margins"]]
    assert margins == sorted(margins) and len(margins) > 2


def test_an_unknown_input_is_refused_with_the_nearest(shelf: Any) -> None:
    with pytest.raises(GaugebookError, match=r"crates\.c\.mas.*nearest: crates\.c\.mass"):
        limits(shelf.write("project", ONE), ["hoist"], folders=[shelf.folder], inputs=["crates.c.mas"])


@pytest.mark.parametrize("seed", range(PROJECTS))
def test_limits_agree_with_brute_force(book: Book, shelf: Any, seed: int) -> None:
    assert list(disagreements(book, shelf, seed)) == []
