"""How hard a cable is to pull in."""

from decimal import Decimal

GRAVITY = Decimal("9.80665")
"""Standard acceleration of free fall, m/s2."""

QUARTER_TURN = Decimal("1.5707963267948966192313216916")
"""Half of pi."""


def pulling_tension(mass: Decimal, length: Decimal, friction: Decimal, bends: Decimal) -> Decimal:
    """Newtons at the end of a level pull whose bends all come last, which is the hard way round.

    `mass` in kg/km, `length` in m, `bends` in quarter turns: weight times friction, multiplied for each bend
    by e to the power of friction times its angle.
    """
    straight = mass / 1000 * length * GRAVITY * friction
    return straight * (friction * bends * QUARTER_TURN).exp()
