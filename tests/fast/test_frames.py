"""Frames of rows inside frames: what is worked out for which rows, and what is only handed on."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

np = pytest.importorskip("numpy")

from gaugebook.arrays import Column  # noqa: E402
from gaugebook.columns import Frame  # noqa: E402

CHOICE, LEANING, APART = 0, 1, 2
"""A choice, a place that leans on it, and one that does not."""


class Block:
    """Works out a place as the numbers of the rows in the whole, times ten, and remembers for how many."""

    def __init__(self) -> None:
        self.columns = SimpleNamespace(leaning={CHOICE: frozenset({LEANING})})
        self.worked: list[tuple[int, int]] = []

    def work_out(self, number: int, frame: Frame) -> Column:
        self.worked.append((number, frame.count))
        rows = frame.outermost(None)
        return Column(10 * (np.arange(frame.count) if rows is None else rows))


def tried() -> tuple[Block, Frame]:
    """Four of five rows with a member tried for them."""
    block: Any = Block()
    return block, Frame(block, 5).bind(CHOICE, 1, np.array([0, 1, 2, 4]))


def test_what_leans_on_a_choice_is_worked_out_for_the_rows_that_try_it() -> None:
    block, frame = tried()
    for _ in range(2):
        assert frame.read(LEANING).data.tolist() == [0, 10, 20, 40]
    assert block.worked == [(LEANING, 4)]


def test_what_is_known_of_the_rows_around_is_known_of_some_of_them() -> None:
    block, frame = tried()
    frame.read(LEANING)
    assert frame.narrowed(np.array([1, 3])).read(LEANING).data.tolist() == [10, 40]
    assert block.worked == [(LEANING, 4)]


def test_of_some_rows_nothing_is_worked_out_for_the_others() -> None:
    block, frame = tried()
    assert frame.narrowed(np.array([1, 3])).read(LEANING).data.tolist() == [10, 40]
    assert block.worked == [(LEANING, 2)]


def test_what_leans_on_no_choice_is_worked_out_once_for_all_rows() -> None:
    """Frames on the way to one that asks for it only pass it on."""
    block, frame = tried()
    narrow = frame.narrowed(np.array([1, 3])).narrowed(np.array([1]))
    assert narrow.read(APART).data.tolist() == [40]
    assert APART not in frame.known
    assert frame.read(APART).data.tolist() == [0, 10, 20, 40]
    assert block.worked == [(APART, 5)]
