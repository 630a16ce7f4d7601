"""How much work a plan is, against counts by hand: of plain steps, picks, choices, and choices that lean on others."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

from gaugebook.effort import effort_of
from gaugebook.meaning import Op

HOOKS = ("10 kg", "20 kg", "35 kg")


def op(code: str, *parts: Any) -> Op:
    return Op(code, parts, None, None)  # type: ignore[arg-type]


def held(left: Op, right: Op) -> Op:
    """Three steps, if both sides are one."""
    return op("compare", ">=", left, right)


def place(number: int) -> Op:
    return op("place", number)


class Plan:
    """Places by what works them out, or as (members, checks, leaning), and checks with what they read."""

    def __init__(self, places: list[Any], checks: dict[str, Op], reads: dict[Any, set[int]]) -> None:
        self.run = SimpleNamespace(rulebook=SimpleNamespace(members={"hooks": HOOKS}))
        self.places, self.checks, self.reads = [], checks, reads
        self.rules: dict[Any, Op] = dict(checks)
        for number, one in enumerate(places):
            chosen = isinstance(one, tuple)
            members, asked, leaning = one if chosen else (0, [], [])
            self.places.append(
                SimpleNamespace(
                    number=number, chosen=chosen, members=range(members), checks=asked, leaning=leaning
                )
            )
            if isinstance(one, Op):
                self.rules[number] = one

    def ops(self, reader: Any) -> list[Op]:
        return [self.rules[reader]] if reader in self.rules else []


def effort(places: list[Any], checks: dict[str, Op], reads: dict[Any, set[int]]) -> int:
    plan: Any = Plan(places, checks, reads)
    return effort_of(plan)


def test_every_place_every_check_and_every_step_is_one() -> None:
    found = effort([None, held(place(0), place(0))], {"k": place(1)}, {1: {0}, "k": {1}})
    assert found == 1 + (1 + 3) + (1 + 1)


def test_what_a_pick_looks_at_counts_once_for_each_member() -> None:
    pick = op("pick", "first", 1, "hooks", held(op("bound", 1), place(0)))
    assert effort([None, pick], {}, {1: {0}}) == 1 + (1 + 1 + 3 * 3)
    assert effort([None, op("negative", pick)], {}, {1: {0}}) == 1 + (1 + 1 + 1 + 3 * 3)


BEARS = op("arithmetic", "*", place(0), place(0))


def test_for_each_member_its_checks_are_asked_and_what_they_come_to_that_leans_on_it() -> None:
    """Place 1 leans on the choice and is asked for by a check of it; place 3 does too, and is not.

    A check that is settled, and so is none of the plan, is one step.
    """
    checks = {"k": held(place(1), place(2)), "other": place(3)}
    places = [(5, ["settled", "k"], [1, 3]), BEARS, None, BEARS]
    all_there_are = 1 + 4 + 1 + 4 + 4 + 2
    again = 2 + (1 + 4 + 4)
    found = effort(places, checks, {1: {0}, 3: {0}, "k": {1, 2}, "other": {3}})
    assert found == all_there_are + 5 * again


def test_a_choice_that_leans_on_another_is_made_once_more() -> None:
    """Its check reads the first choice, and so is come to by none of the checks of that."""
    checks = {"k": held(place(2), place(0)), "m": held(place(0), place(1))}
    places = [(5, ["k"], [1]), (7, ["m"], []), None]
    all_there_are = 1 + 1 + 1 + 4 + 4
    found = effort(places, checks, {0: {0, 2}, "k": {0, 2}, 1: {0, 1}, "m": {0, 1}})
    assert found == all_there_are + 5 * (1 + 4) + 2 * 7 * 4


def test_choices_that_lean_on_each_other_are_tried_in_every_way() -> None:
    checks = {"k": held(place(0), place(1)), "m": held(place(0), place(1))}
    places = [(5, ["k"], [1]), (7, ["m"], [0])]
    all_there_are = 1 + 1 + 4 + 4
    again = 1 + (4 + 1 + 4)
    found = effort(places, checks, {"k": {0, 1}, "m": {0, 1}})
    assert found == all_there_are + 5 * 7 * again + 7 * 5 * again
