"""Conditions on a job, asked before any book is open: plain words of the project, no units, no rules."""

from __future__ import annotations

from collections.abc import Callable

from .grammar import SyntaxProblem, parse, print_tree, tree


class Unclear(Exception):
    """A condition that cannot be decided: `field` is not stated, or (None) words cannot answer it."""

    def __init__(self, field: str | None) -> None:
        super().__init__(field)
        self.field = field


def holds(text: str, facts: Callable[[str], str | None]) -> bool:
    """Decide `field is word`, `is one of`, `is given`, joined by and, or, not; raises `Unclear`."""
    try:
        node = parse(text)
    except SyntaxProblem:
        raise Unclear(None) from None
    return _holds(node, facts)


def _holds(node: tree.Node, facts: Callable[[str], str | None]) -> bool:
    if isinstance(node, tree.Logic):
        return _both(node, facts)
    if isinstance(node, tree.Not):
        return not _holds(node.operand, facts)
    if isinstance(node, tree.Given):
        return (facts(_path(node.operand)) is not None) is not node.negated
    if isinstance(node, tree.OneOf):
        options = [print_tree(option) for option in node.options]
        return (_stated(node.operand, facts) in options) is not node.negated
    if isinstance(node, tree.Comparison) and node.op in ("is", "is not"):
        return (_stated(node.left, facts) == print_tree(node.right)) is (node.op == "is")
    if isinstance(node, (tree.Name, tree.Property)):
        return _stated(node, facts) == "yes"
    raise Unclear(None)


def _both(node: tree.Logic, facts: Callable[[str], str | None]) -> bool:
    """`and`, `or`: decided as soon as one side decides it, whatever the other lacks."""
    decisive = node.op == "or"
    unclear: Unclear | None = None
    for side in (node.left, node.right):
        try:
            if _holds(side, facts) is decisive:
                return decisive
        except Unclear as found:
            unclear = unclear or found
    if unclear is not None:
        raise unclear
    return not decisive


def _path(node: tree.Node) -> str:
    if not isinstance(node, (tree.Name, tree.Property)):
        raise Unclear(None)
    return print_tree(node)


def _stated(node: tree.Node, facts: Callable[[str], str | None]) -> str:
    path = _path(node)
    value = facts(path)
    if value is None:
        raise Unclear(path)
    return value
