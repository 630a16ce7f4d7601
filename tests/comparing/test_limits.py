"""What would flip an outcome, against brute force: no flip missed, none invented."""

from __future__ import annotations

import random
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from conftest import project, write

from gaugebook.diagnostics import Problems
from gaugebook.evaluating import Run
from gaugebook.limiting import Input, Study, limits_of
from gaugebook.project import fill_run
from gaugebook.results import plain
from gaugebook.runtime import Absent
from gaugebook.session import Book, Result, open_book

HERE = Path(__file__).parent
STEPS = 48


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
    close = [given.value + (high - low) * Decimal(sign) / 10**power for power in (2, 3, 4) for sign in (1, -1)]
    bounds = {bound for table in result.run.rulebook.tables.values() for axis in table.axes for bound in axis.bounds}
    return sorted({value for value in [*spread, *close, *bounds] if low <= value <= high})


def as_told(told: dict[str, Any]) -> tuple[str, Any]:
    return told["what"], told.get("value")


def disagreements(book: Book, folder: Path, seed: int) -> Iterator[str]:
    """Everything limits and brute force say differently about one random project."""
    path = write(folder, "project", project(random.Random(seed)))
    result = book.size(path)
    answer = limits_of(result.source, result.run, result.data)
    for given in Study(result.source, result.run).inputs:
        moved = next(item for item in answer["inputs"] if item["input"] == given.label)
        searched = moved.get("searched")
        base = outcomes_with(result, given, given.value)
        low, high = (
            (given.unit.to_base(Decimal(repr(searched[word]))) for word in ("least", "most")) if searched
            else (given.value / 2, given.value * 2)
        )
        flips = {
            (flip["outcome"], flip["direction"]): flip for flip in answer["flips"] if flip["input"] == given.label
        }
        yield from invented(result, given, base, flips)
        allowed = _allowed(given, low, high)
        for value in grid(result, given, *allowed):
            found = outcomes_with(result, given, value)
            for name, outcome in found.items():
                direction = "above" if value > given.value else "below"
                flip = flips.get((name, direction))
                if outcome != base[name] and (flip is None or not reached(flip, given, value)):
                    yield f"seed {seed}: {name} flips at {given.label} = {value}, which limits missed: {flip}"


def _allowed(given: Input, low: Decimal, high: Decimal) -> tuple[Decimal, Decimal]:
    """What the field allows, where it says so: all of it must have been searched unless everything flipped."""
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
    result: Result, given: Input, base: dict[str, Any], flips: dict[tuple[str, str], dict[str, Any]]
) -> Iterator[str]:
    """Flips that are none: at the bound, or right behind it, the outcome is what it was or not what was told."""
    for (name, direction), flip in flips.items():
        bound = given.unit.to_base(Decimal(repr(flip["bound"]["value"])))
        sign = 1 if direction == "above" else -1
        beyond = bound + sign * resolution(given, bound)
        if given.whole or flip["only_there"]:
            beyond = bound
        found = outcomes_with(result, given, beyond)[name]
        if found == base[name] or found != as_told(flip["becomes"]):
            yield f"{name} does not become {flip['becomes']} behind {given.label} = {bound} but {found}"
        before = bound - sign * resolution(given, bound)
        if given.whole:
            before = bound - sign
        if (before - given.value) * sign >= 0 and outcomes_with(result, given, before)[name] != base[name]:
            yield f"{name} has changed before {given.label} = {bound}"


@pytest.mark.parametrize("seed", range(20))
def test_limits_agree_with_brute_force(book: Book, tmp_path: Path, seed: int) -> None:
    assert list(disagreements(book, tmp_path, seed)) == []
