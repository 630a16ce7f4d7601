"""From tree to text: `parse(print_tree(tree)) == tree`.

Parentheses are written where the grammar needs them, and around an `if` that is the condition or the first
branch of another `if`, where the grammar does not need them but a reader does.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import IntEnum

from . import tree

Replace = Callable[[tree.Node], str | None]


class Level(IntEnum):
    """How tightly a phrase holds together; the precedence table of LANGUAGE.md, loosest first."""

    IF = 0
    OR = 1
    AND = 2
    NOT = 3
    COMPARISON = 4
    SUM = 5
    PRODUCT = 6
    SIGN = 7
    POWER = 8
    ATOM = 9


ARITHMETIC = {"+": Level.SUM, "-": Level.SUM, "*": Level.PRODUCT, "/": Level.PRODUCT}
LOGIC = {"or": Level.OR, "and": Level.AND}


@dataclass(frozen=True, slots=True)
class Phrase:
    """Printed text, how tightly it holds, and whether it ends in a `where` that would take in what comes."""

    text: str
    level: Level = Level.ATOM
    open: bool = False

    def left_of(self, level: Level) -> str:
        """As an operand with something of this level to its right."""
        return self.grouped() if self.open or self.level < level else self.text

    def right_of(self, level: Level) -> str:
        """As the last operand of a phrase of this level."""
        return self.grouped() if self.level < level else self.text

    def grouped(self) -> str:
        return f"({self.text})"


def print_tree(node: tree.Node, replace: Replace | None = None) -> str:
    """The text of `node`. Where `replace` answers with a text, that text stands in place of the node."""
    return _phrase(node, replace).text


def _phrase(node: tree.Node, replace: Replace | None) -> Phrase:
    replacement = replace(node) if replace else None
    if replacement is not None:
        return Phrase(replacement)

    def part(child: tree.Node) -> Phrase:
        return _phrase(child, replace)

    def listed(nodes: Iterable[tree.Node]) -> str:
        return ", ".join(part(child).text for child in nodes)

    match node:
        case tree.Number(text):
            return Phrase(text, _level_of_literal(text))
        case tree.Quantity(amount, unit):
            return Phrase(f"{amount} {unit}", _level_of_literal(amount))
        case tree.Truth(value):
            return Phrase("yes" if value else "no")
        case tree.Nothing():
            return Phrase("none")
        case tree.Name(text):
            return Phrase(text)
        case tree.Own(name):
            return Phrase(f"own {name}")
        case tree.Property(of, name):
            return Phrase(f"{_base(of, part)}.{name}")
        case tree.Lookup(table, keys):
            return Phrase(f"{table}[{listed(keys)}]")
        case tree.Call(function, arguments):
            return Phrase(f"{function}({listed(arguments)})")
        case tree.Negative(operand):
            inner = part(operand)
            text = inner.grouped() if tree.is_literal(operand) else inner.right_of(Level.SIGN)
            return Phrase(f"-{text}", Level.SIGN, inner.open and text == inner.text)
        case tree.Not(operand):
            inner = part(operand)
            text = inner.right_of(Level.NOT)
            return Phrase(f"not {text}", Level.NOT, inner.open and text == inner.text)
        case tree.Arithmetic("^", left, right):
            base = part(left)
            text = base.grouped() if _needs_group_under_power(left) else base.left_of(Level.ATOM)
            return Phrase(f"{text} ^ {part(right).text}", Level.POWER)
        case tree.Arithmetic(op, left, right):
            unclear = op == "/" and tree.has_fraction(right)
            return _binary(op, part(left), part(right), ARITHMETIC[op], group_right=unclear)
        case tree.Comparison(op, left, right):
            above = Level(Level.COMPARISON + 1)
            first, second = part(left), part(right)
            text = second.right_of(above)
            ends_open = second.open and text == second.text
            return Phrase(f"{first.left_of(above)} {op} {text}", Level.COMPARISON, ends_open)
        case tree.OneOf(operand, options, negated):
            verb = "is not one of" if negated else "is one of"
            return Phrase(f"{part(operand).left_of(Level.SUM)} {verb} ({listed(options)})", Level.COMPARISON)
        case tree.Given(operand, negated):
            verb = "is not given" if negated else "is given"
            return Phrase(f"{part(operand).left_of(Level.SUM)} {verb}", Level.COMPARISON)
        case tree.Logic(op, left, right):
            return _binary(op, part(left), part(right), LOGIC[op])
        case tree.If(condition, then, otherwise):
            asked, chosen = part(condition).right_of(Level.OR), part(then).right_of(Level.OR)
            return Phrase(f"if {asked} then {chosen} else {part(otherwise).text}", Level.IF)
        case tree.Aggregate(op, body, over, where):
            head = f"{op} of " if body is None else f"{op} of {part(body).text} over "
            return _filtered(head + part(over).text, part(where) if where else None)
        case tree.Pick(which, variable, series, where):
            return _filtered(f"{which} {variable} in {part(series).text}", part(where))
        case _:
            raise TypeError(f"not a node of the rule language: {node!r}")


def _binary(op: str, left: Phrase, right: Phrase, level: Level, group_right: bool = False) -> Phrase:
    """`left op right` for operators that group to the left."""
    text = right.grouped() if group_right else right.right_of(Level(level + 1))
    return Phrase(f"{left.left_of(level)} {op} {text}", level, right.open and text == right.text)


def _filtered(head: str, where: Phrase | None) -> Phrase:
    """An aggregate or a pick with its `where`, if it has one."""
    if where is None:
        return Phrase(head, Level.SIGN)
    return Phrase(f"{head} where {where.text}", Level.SIGN, open=True)


def _base(of: tree.Node, part: Callable[[tree.Node], Phrase]) -> str:
    """What stands before a dot. A literal is grouped: a dot after a figure would read as a decimal point."""
    return part(of).grouped() if tree.is_literal(of) else part(of).left_of(Level.ATOM)


def _level_of_literal(figures: str) -> Level:
    return Level.SIGN if figures.startswith("-") else Level.ATOM


def _needs_group_under_power(base: tree.Node) -> bool:
    """Whether `base ^ 2` without parentheses would be refused, as are `5 m ^ 2` and `7/8 ^ 2`."""
    return isinstance(base, tree.Quantity) or tree.has_fraction(base)
