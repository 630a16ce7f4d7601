"""Builds the tree while the parser reduces: one method per rule of rules.lark, called with the rule's parts.

The parser calls these from its own loop, children first, so depth is counted on the way up and a text that is
nested too deeply is refused before anything deep exists.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from . import tree
from .problems import problem
from .tree import MAXIMUM_DEPTH

if TYPE_CHECKING:
    from lark import Token

MAXIMUM_FIGURES = 50
"""How many digits a literal may have: as many as evaluation keeps."""

MAXIMUM_EXPONENT_FIGURES = 2


@dataclass(frozen=True, slots=True)
class Part:
    """A node on its way into its parent. `start` and `end` include its parentheses, if it is `grouped`."""

    node: tree.Node
    start: int
    end: int
    depth: int = 1
    grouped: bool = False

    def is_bare_fraction(self) -> bool:
        return tree.has_fraction(self.node) and not self.grouped


Piece = Any
"""What the parser hands over: a Token, a Part, or the list of Parts that `expressions` made."""


class Builder:
    """The actions of rules.lark."""

    def number(self, pieces: list[Token]) -> Part:
        return _literal(pieces, tree.Number)

    def quantity(self, pieces: list[Token]) -> Part:
        return _literal(pieces, tree.Quantity)

    def truth(self, pieces: list[Token]) -> Part:
        return _made(pieces, tree.Truth, str(pieces[0]) == "yes")

    def nothing(self, pieces: list[Token]) -> Part:
        return _made(pieces, tree.Nothing)

    def name(self, pieces: list[Token]) -> Part:
        return _made(pieces, tree.Name, pieces[0])

    def own(self, pieces: list[Token]) -> Part:
        return _made(pieces, tree.Own, pieces[1])

    def property(self, pieces: list[Piece]) -> Part:
        return _made(pieces, tree.Property, pieces[0], pieces[2])

    def lookup(self, pieces: list[Piece]) -> Part:
        return _made(pieces, tree.Lookup, pieces[0], pieces[2])

    def call(self, pieces: list[Piece]) -> Part:
        return _made(pieces, tree.Call, pieces[0], pieces[2])

    def group(self, pieces: list[Piece]) -> Part:
        opening, inner, closing = pieces
        return Part(inner.node, opening.start_pos, closing.end_pos, inner.depth, grouped=True)

    def expressions(self, pieces: list[Piece]) -> list[Part]:
        return pieces[::2]

    def exponent(self, pieces: list[Token]) -> Part:
        part = _literal(pieces, tree.Number)
        if not pieces[0].isdigit() or len(pieces[0]) > MAXIMUM_EXPONENT_FIGURES:
            raise problem("exponent-not-whole", part.start, part.end, figures=pieces[0])
        return part

    def power(self, pieces: list[Piece]) -> Part:
        base, sign, exponent = pieces
        if base.is_bare_fraction() or (isinstance(base.node, tree.Quantity) and not base.grouped):
            raise problem("unclear-power", base.start, exponent.end)
        return _made(pieces, tree.Arithmetic, sign, base, exponent)

    def negative(self, pieces: list[Piece]) -> Part:
        minus, operand = pieces
        if tree.is_literal(operand.node) and not operand.grouped and not _figures(operand).startswith("-"):
            return _signed(minus, operand)
        return _made(pieces, tree.Negative, operand)

    def arithmetic(self, pieces: list[Piece]) -> Part:
        left, sign, right = pieces
        if sign == "/" and right.is_bare_fraction():
            raise problem("unclear-fraction", left.start, right.end, figures=_figures(right))
        return _made(pieces, tree.Arithmetic, sign, left, right)

    def comparison(self, pieces: list[Piece]) -> Part:
        return _made(pieces, tree.Comparison, pieces[1], pieces[0], pieces[2])

    def difference(self, pieces: list[Piece]) -> Part:
        return _made(pieces, tree.Comparison, "is not", pieces[0], pieces[3])

    def one_of(self, pieces: list[Piece]) -> Part:
        return _made(pieces, tree.OneOf, pieces[0], pieces[-2], False)

    def none_of(self, pieces: list[Piece]) -> Part:
        return _made(pieces, tree.OneOf, pieces[0], pieces[-2], True)

    def given(self, pieces: list[Piece]) -> Part:
        return _made(pieces, tree.Given, pieces[0], False)

    def missing(self, pieces: list[Piece]) -> Part:
        return _made(pieces, tree.Given, pieces[0], True)

    def negation(self, pieces: list[Piece]) -> Part:
        return _made(pieces, tree.Not, pieces[1])

    def logic(self, pieces: list[Piece]) -> Part:
        return _made(pieces, tree.Logic, pieces[1], pieces[0], pieces[2])

    def choice(self, pieces: list[Piece]) -> Part:
        return _made(pieces, tree.If, *pieces[1::2])

    def aggregate(self, pieces: list[Piece]) -> Part:
        return _made(pieces, tree.Aggregate, *pieces[::2], *([None] if len(pieces) == 5 else []))

    def count(self, pieces: list[Piece]) -> Part:
        over, where = pieces[2], pieces[4] if len(pieces) > 3 else None
        return _made(pieces, tree.Aggregate, pieces[0], None, over, where)

    def pick(self, pieces: list[Piece]) -> Part:
        which, variable, _, series, _, where = pieces
        return _made(pieces, tree.Pick, which, variable, series, where)


def _made(pieces: list[Piece], kind: type[tree.Node], *values: Piece) -> Part:
    """A node of this kind with these fields, spanning the pieces it was read from."""
    start, end = _start(pieces[0]), _end(pieces[-1])
    depth = 1 + max((part.depth for value in values for part in _parts(value)), default=0)
    if depth > MAXIMUM_DEPTH:
        raise problem("expression-too-deep", start, end, limit=MAXIMUM_DEPTH)
    return Part(kind(*map(_plain, values), span=(start, end)), start, end, depth)


def _literal(pieces: list[Token], kind: type[tree.Number] | type[tree.Quantity]) -> Part:
    """A literal, with single spaces between its figures."""
    words = pieces[0].split()
    start, end = _start(pieces[0]), _end(pieces[0])
    if sum(character.isdigit() for word in words[:2] for character in word) > MAXIMUM_FIGURES:
        raise problem("too-many-digits", start, end, limit=MAXIMUM_FIGURES)
    if kind is tree.Number:
        return Part(tree.Number(" ".join(words), span=(start, end)), start, end)
    return Part(tree.Quantity(" ".join(words[:-1]), words[-1], span=(start, end)), start, end)


def _signed(minus: Token, literal: Part) -> Part:
    """The literal with the minus that stands before it."""
    start, end = _start(minus), literal.end
    figures = f"-{_figures(literal)}"
    if isinstance(literal.node, tree.Quantity):
        return Part(tree.Quantity(figures, literal.node.unit, span=(start, end)), start, end)
    return Part(tree.Number(figures, span=(start, end)), start, end)


def _figures(literal: Part) -> str:
    node = literal.node
    return node.text if isinstance(node, tree.Number) else getattr(node, "amount", "")


def _parts(value: Piece) -> list[Part]:
    if isinstance(value, Part):
        return [value]
    return value if isinstance(value, list) else []


def _plain(value: Piece) -> object:
    """What a node keeps of a piece."""
    if isinstance(value, Part):
        return value.node
    if isinstance(value, list):
        return tuple(part.node for part in value)
    return str(value) if isinstance(value, str) else value


def _start(piece: Piece) -> int:
    position: int = piece.start if isinstance(piece, Part) else piece.start_pos
    return position


def _end(piece: Piece) -> int:
    position: int = piece.end if isinstance(piece, Part) else piece.end_pos
    return position
