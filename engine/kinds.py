"""What a quantity is, apart from any unit: its dimension, and whether it is a point or a difference.

Pure algebra over names of dimensions; which dimensions there are is data (`units`).
"""

from __future__ import annotations

from collections.abc import Mapping

from .records import Record


class Dimension(Record):
    """A product of powers of independent dimensions; the empty product is that of a plain number."""

    exponents: tuple[tuple[str, int], ...] = ()

    @classmethod
    def of(cls, exponents: Mapping[str, int]) -> Dimension:
        """The dimension with these exponents; zeros are dropped, order does not matter."""
        return cls(tuple(sorted((name, power) for name, power in exponents.items() if power)))

    def times(self, other: Dimension, power: int = 1) -> Dimension:
        """This dimension multiplied by `other` to the given power."""
        total = dict(self.exponents)
        for name, exponent in other.exponents:
            total[name] = total.get(name, 0) + exponent * power
        return Dimension.of(total)

    def over(self, other: Dimension) -> Dimension:
        """This dimension divided by `other`."""
        return self.times(other, -1)

    def power(self, exponent: int) -> Dimension:
        """This dimension multiplied `exponent` times."""
        return Dimension().times(self, exponent)

    def root(self, degree: int) -> Dimension | None:
        """The dimension whose power of `degree` is this one; none if an exponent would not be whole."""
        if any(exponent % degree for _, exponent in self.exponents):
            return None
        return Dimension.of({name: exponent // degree for name, exponent in self.exponents})


class Kind(Record):
    """What a quantity is: its dimension, and whether it is a point on a scale or a difference.

    The operations answer with the kind of the result, or with none where the result has no meaning.
    """

    dimension: Dimension = Dimension()
    point: bool = False

    def plus(self, other: Kind) -> Kind | None:
        """A point may be moved by a difference; two points have no sum."""
        if self.dimension != other.dimension or (self.point and other.point):
            return None
        return Kind(self.dimension, self.point or other.point)

    def minus(self, other: Kind) -> Kind | None:
        """Two points have a difference; a point cannot be taken from a difference."""
        if self.dimension != other.dimension or (other.point and not self.point):
            return None
        return Kind(self.dimension, self.point and not other.point)

    def times(self, other: Kind) -> Kind | None:
        """Points cannot be multiplied."""
        return None if self.point or other.point else Kind(self.dimension.times(other.dimension))

    def over(self, other: Kind) -> Kind | None:
        """Points cannot be divided."""
        return None if self.point or other.point else Kind(self.dimension.over(other.dimension))

    def power(self, exponent: int) -> Kind | None:
        """A whole power; points have none."""
        return None if self.point else Kind(self.dimension.power(exponent))

    def root(self, degree: int) -> Kind | None:
        """A root, where the dimension has one; points have none."""
        dimension = self.dimension.root(degree)
        return None if self.point or dimension is None else Kind(dimension)

    def negative(self) -> Kind | None:
        """A difference has a negative; a point has none."""
        return None if self.point else self


NUMBER = Kind()
"""The kind of a plain number."""
