"""Phrases of the rule language, put together from their parts with parentheses where the grammar needs them.

They are also written around an `if` that is the condition or the first branch of another `if`, where the
grammar does not need them but a reader does.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import IntEnum
from typing import NamedTuple


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
OPPOSITE = {"is": "is not", "is not": "is", "<": ">=", ">=": "<", ">": "<=", "<=": ">"}


class Phrase(NamedTuple):
    """Printed text, how tightly it holds, and whether it ends in a `where` that would take in what comes.

    `figures` are those of a literal, `7/8` of `7/8 in`; `denial` is what reads better than `not` before it.
    """

    text: str
    level: int = Level.ATOM
    open: bool = False
    figures: str = ""
    denial: Phrase | None = None

    def left_of(self, level: int) -> str:
        """As an operand with something of this level to its right."""
        return self.grouped() if self.open or self.level < level else self.text

    def right_of(self, level: int) -> str:
        """As the last operand of a phrase of this level."""
        return self.grouped() if self.level < level else self.text

    def grouped(self) -> str:
        """In parentheses."""
        return f"({self.text})"

    def denied(self) -> Phrase:
        """The condition that holds where this one does not."""
        return self.denial or negation(self)

    @property
    def unit(self) -> str:
        """The unit behind the figures of a literal, empty where there is none."""
        return self.text[len(self.figures) + 1 :] if self.figures else ""


def literal(figures: str, unit: str = "") -> Phrase:
    """A number, or a quantity."""
    level = Level.SIGN if figures.startswith("-") else Level.ATOM
    return Phrase(f"{figures} {unit}" if unit else figures, level, figures=figures)


def listed(phrases: Iterable[Phrase]) -> str:
    """One after another, as the keys of a lookup."""
    return ", ".join(phrase.text for phrase in phrases)


def negative(operand: Phrase) -> Phrase:
    """`-operand`."""
    text = operand.grouped() if operand.figures else operand.right_of(Level.SIGN)
    return Phrase(f"-{text}", Level.SIGN, operand.open and text == operand.text)


def negation(operand: Phrase) -> Phrase:
    """`not operand`."""
    text = operand.right_of(Level.NOT)
    return Phrase(f"not {text}", Level.NOT, operand.open and text == operand.text, "", operand)


def arithmetic(op: str, left: Phrase, right: Phrase) -> Phrase:
    """`left op right`. `5 m ^ 2` and `7/8 ^ 2` would be refused, and a fraction below a line is unclear."""
    if op == "^":
        grouped = left.unit or "/" in left.figures
        return Phrase(
            f"{left.grouped() if grouped else left.left_of(Level.ATOM)} ^ {right.text}", Level.POWER
        )
    return _binary(op, left, right, ARITHMETIC[op], group_right=op == "/" and "/" in right.figures)


def comparison(op: str, left: Phrase, right: Phrase) -> Phrase:
    """`left op right`, and what denies it."""
    above = Level.COMPARISON + 1
    first, second = left.left_of(above), right.right_of(above)
    ends_open = right.open and second == right.text
    denial = Phrase(f"{first} {OPPOSITE[op]} {second}", Level.COMPARISON, ends_open)
    return Phrase(f"{first} {op} {second}", Level.COMPARISON, ends_open, "", denial)


def one_of(operand: Phrase, options: Iterable[Phrase], negated: bool = False) -> Phrase:
    """`operand is one of (option, ...)`, and what denies it."""
    subject, words = operand.left_of(Level.SUM), listed(options)
    return _with_denial(f"{subject} is one of ({words})", f"{subject} is not one of ({words})", negated)


def given(operand: Phrase, negated: bool = False) -> Phrase:
    """`operand is given`, and what denies it."""
    subject = operand.left_of(Level.SUM)
    return _with_denial(f"{subject} is given", f"{subject} is not given", negated)


def logic(op: str, left: Phrase, right: Phrase) -> Phrase:
    """`left and right`, `left or right`."""
    return _binary(op, left, right, LOGIC[op])


def either(condition: Phrase, then: Phrase, otherwise: Phrase) -> Phrase:
    """`if condition then ... else ...`."""
    asked, chosen = condition.right_of(Level.OR), then.right_of(Level.OR)
    return Phrase(f"if {asked} then {chosen} else {otherwise.text}", Level.IF)


def property_of(of: Phrase, name: str) -> Phrase:
    """`of.name`. A literal is grouped: a dot after a figure would read as a decimal point."""
    return Phrase(f"{of.grouped() if of.figures else of.left_of(Level.ATOM)}.{name}")


def lookup(table: str, keys: Iterable[Phrase]) -> Phrase:
    """`table[key, ...]`."""
    return Phrase(f"{table}[{listed(keys)}]")


def call(function: str, arguments: Iterable[Phrase]) -> Phrase:
    """`function(argument, ...)`."""
    return Phrase(f"{function}({listed(arguments)})")


def filtered(head: str, where: Phrase | None) -> Phrase:
    """An aggregate or a pick with its `where`, if it has one."""
    if where is None:
        return Phrase(head, Level.SIGN)
    return Phrase(f"{head} where {where.text}", Level.SIGN, open=True)


def _with_denial(said: str, denied: str, negated: bool) -> Phrase:
    texts = (denied, said) if negated else (said, denied)
    return Phrase(texts[0], Level.COMPARISON, False, "", Phrase(texts[1], Level.COMPARISON))


def _binary(op: str, left: Phrase, right: Phrase, level: Level, group_right: bool = False) -> Phrase:
    """`left op right` for operators that group to the left."""
    text = right.grouped() if group_right else right.right_of(level + 1)
    return Phrase(f"{left.left_of(level)} {op} {text}", level, right.open and text == right.text)
