"""Lays circles into a circle, as things lie in a pipe: each comes to rest as low as it can."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

NEARLY = 1e-9
"""Circles may share this much of the container's radius: the touching ones always share some by rounding."""


class Circle(NamedTuple):
    """A circle by its centre and radius, y downwards, and which of those asked for it is."""

    x: float
    y: float
    radius: float
    place: int = 0


def pack(container: float, diameters: Sequence[float]) -> list[Circle]:
    """Places for circles of these diameters in one of diameter `container`, the largest first.

    Those for which no place is left are missing from the answer.
    """
    radius = container / 2
    placed: list[Circle] = []
    for index, diameter in sorted(enumerate(diameters), key=lambda one: (-one[1], one[0])):
        own = diameter / 2
        slack = NEARLY * radius
        fitting = [
            (x, y)
            for x, y in _rests(radius, own, placed)
            if math.hypot(x, y) <= radius - own + slack
            and all(math.hypot(x - c.x, y - c.y) >= own + c.radius - slack for c in placed)
        ]
        if fitting:
            x, y = max(fitting, key=lambda at: (round(at[1] / radius, 6), -abs(at[0])))
            placed.append(Circle(x, y, own, index))
    return placed


def _rests(radius: float, own: float, placed: list[Circle]) -> Iterator[tuple[float, float]]:
    """Where a circle could come to rest: at the bottom, between wall and circle, on two circles."""
    if own > radius:
        return
    yield 0.0, radius - own
    for place, circle in enumerate(placed):
        reach = circle.radius + own
        yield from _crossings(0.0, 0.0, radius - own, circle.x, circle.y, reach)
        for other in placed[:place]:
            yield from _crossings(circle.x, circle.y, reach, other.x, other.y, other.radius + own)


def _crossings(
    x1: float, y1: float, r1: float, x2: float, y2: float, r2: float
) -> Iterator[tuple[float, float]]:
    """Where two circles cross."""
    apart = math.hypot(x2 - x1, y2 - y1)
    if apart == 0 or apart > r1 + r2 or apart < abs(r1 - r2):
        return
    along = (r1 * r1 - r2 * r2 + apart * apart) / (2 * apart)
    across = math.sqrt(max(0.0, r1 * r1 - along * along))
    dx, dy = (x2 - x1) / apart, (y2 - y1) / apart
    x, y = x1 + along * dx, y1 + along * dy
    yield x + across * dy, y - across * dx
    yield x - across * dy, y + across * dx
