"""From tree to text: `parse(print_tree(tree)) == tree`."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from . import phrases, tree
from .phrases import Phrase

Replace = Callable[[tree.Node], str | None]


def print_tree(node: tree.Node, replace: Replace | None = None) -> str:
    """The text of `node`. Where `replace` answers with a text, that text stands in place of the node."""
    return phrase_of(node, replace).text


def phrase_of(node: tree.Node, replace: Replace | None = None) -> Phrase:
    """The phrase of `node`; `replace` as in `print_tree`."""
    replacement = replace(node) if replace else None
    if replacement is not None:
        return Phrase(replacement)

    def part(child: tree.Node) -> Phrase:
        return phrase_of(child, replace)

    def parts(nodes: Sequence[tree.Node]) -> list[Phrase]:
        return [part(child) for child in nodes]

    match node:
        case tree.Number(text):
            return phrases.literal(text)
        case tree.Quantity(amount, unit):
            return phrases.literal(amount, unit)
        case tree.Truth(value):
            return Phrase("yes" if value else "no")
        case tree.Nothing():
            return Phrase("none")
        case tree.Name(text):
            return Phrase(text)
        case tree.Own(name):
            return Phrase(f"own {name}")
        case tree.Property(of, name):
            return phrases.property_of(part(of), name)
        case tree.Lookup(table, keys):
            return phrases.lookup(table, parts(keys))
        case tree.Call(function, arguments):
            return phrases.call(function, parts(arguments))
        case tree.Negative(operand):
            return phrases.negative(part(operand))
        case tree.Not(operand):
            return phrases.negation(part(operand))
        case tree.Arithmetic(op, left, right):
            return phrases.arithmetic(op, part(left), part(right))
        case tree.Comparison(op, left, right):
            return phrases.comparison(op, part(left), part(right))
        case tree.OneOf(operand, options, negated):
            return phrases.one_of(part(operand), parts(options), negated)
        case tree.Given(operand, negated):
            return phrases.given(part(operand), negated)
        case tree.Logic(op, left, right):
            return phrases.logic(op, part(left), part(right))
        case tree.If(condition, then, otherwise):
            return phrases.either(part(condition), part(then), part(otherwise))
        case tree.Aggregate(op, body, over, where):
            head = f"{op} of " if body is None else f"{op} of {part(body).text} over "
            return phrases.filtered(head + part(over).text, part(where) if where else None)
        case tree.Pick(which, variable, series, where):
            return phrases.filtered(f"{which} {variable} in {part(series).text}", part(where))
        case _:
            raise TypeError(f"not a node of the rule language: {node!r}")
