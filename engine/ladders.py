"""Where numbers fall among sorted bounds, for many at once and without searching.

The numbers are cut into pieces so fine that none has more than one bound in it, each as wide as the number is
great: the piece of a number is what its leading bits say.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from .arrays import gather

WIDEST = 8192
"""So many pieces at most; bounds that need more are searched."""

FRACTION = 52
"""So many bits of a binary number are below its power of two."""


class Ladder:
    """Where numbers fall among sorted bounds.

    With `below`, how many bounds lie at or below a number; without, how many lie truly below it. What is no
    further from a bound than the slack stands on it.
    """

    def __init__(self, bounds: Sequence[Any], slack: float, below: bool) -> None:
        self.bounds = values = np.array([float(bound) for bound in bounds])
        self.below = below
        self.edges = values - slack * abs(values) if below else values + slack * abs(values)
        self.passed = np.arange(len(values) + 1)
        """By address, how many bounds are passed."""
        self.own: Any = None
        """The edge in each piece; None where the edges are searched."""
        cut = _cut(self.edges)
        if cut is not None:
            self.shift, self.start, self.last = cut
            self.own = np.full(self.last + 1, np.inf)
            pieces = self._pieces(self.edges)
            self.own[pieces] = self.edges
            self.passed = np.searchsorted(pieces, np.arange(2 * self.last + 2) // 2)
            self.passed[2 * pieces + 1] += 1

    def climb(self, data: Any) -> Any:
        """How many bounds are passed."""
        return gather(self.passed, self.address(data))

    def address(self, data: Any) -> Any:
        """The place in `passed` of each number."""
        if not isinstance(data, np.ndarray):
            return int(self.address(np.array([float(data)]))[0])
        if self.own is None:
            return np.searchsorted(self.edges, data, "right" if self.below else "left")
        if data.dtype != np.float64:
            data = data.astype(np.float64)
        pieces = self._pieces(data)
        edges = gather(self.own, pieces)
        pieces <<= 1
        pieces += data >= edges if self.below else data > edges
        return pieces

    def _pieces(self, data: Any) -> Any:
        pieces = data.view(np.int64) >> self.shift
        pieces -= self.start
        np.maximum(pieces, 0, out=pieces)
        return np.minimum(pieces, self.last, out=pieces)


def _cut(edges: Any) -> tuple[int, int, int] | None:
    """How far the bits of a number are shifted, which piece is the first, and how many follow it.

    None where the edges cannot be kept apart: all that are not above zero fall into the first piece.
    """
    bits = edges[edges > 0].view(np.int64)
    if len(edges) - len(bits) > 1 or not len(edges):
        return None
    if not len(bits):
        return 0, 0, 0
    for shift in range(FRACTION, 0, -1):
        pieces = bits >> shift
        count = int(pieces[-1] - pieces[0])
        if count >= WIDEST:
            break
        if (np.diff(pieces) > 0).all():
            return shift, int(pieces[0]) - 1, count + 1
    return None
