"""Trees as plain data, so that a text parsed in one call need not be parsed in the next.

A node becomes a tuple of its kind, its span and its parts; several nodes become a list. Nothing is deeper than
`MAXIMUM_DEPTH`, which the parser sees to.
"""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from . import tree

Plain = tuple[Any, ...]
"""Kind, start, end, and the parts in the order of the node's fields."""


def to_plain(node: tree.Node) -> Plain:
    """The node and everything under it as strings, numbers, truths, tuples and lists."""
    parts = (getattr(node, part.name) for part in fields(node) if part.name != "span")
    return (type(node).__name__, *node.span, *map(_to_plain, parts))


def from_plain(plain: Plain) -> tree.Node:
    """The node that `to_plain` was given; raises `AttributeError`, `TypeError` or `ValueError` for anything else."""
    kind, start, end, *parts = plain
    node: tree.Node = getattr(tree, kind)(*map(_from_plain, parts), span=(start, end))
    return node


def _to_plain(part: Any) -> Any:
    if isinstance(part, tree.Node):
        return to_plain(part)
    return list(map(to_plain, part)) if isinstance(part, tuple) else part


def _from_plain(part: Any) -> Any:
    if isinstance(part, tuple):
        return from_plain(part)
    return tuple(map(from_plain, part)) if isinstance(part, list) else part
