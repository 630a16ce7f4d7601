"""The rule language: syntax tree, parser, printer. LANGUAGE.md beside this file is the reference.

Everything is imported when it is first used.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .parser import MAXIMUM_DEPTH, MAXIMUM_LENGTH, SyntaxProblem, hint, parse
    from .printer import print_tree
    from .tree import (
        Aggregate,
        Arithmetic,
        Call,
        Comparison,
        Given,
        If,
        Logic,
        Lookup,
        Name,
        Negative,
        Node,
        Not,
        Nothing,
        Number,
        OneOf,
        Own,
        Pick,
        Property,
        Quantity,
        Span,
        Truth,
        children,
        walk,
    )

__all__ = [
    "MAXIMUM_DEPTH",
    "MAXIMUM_LENGTH",
    "Aggregate",
    "Arithmetic",
    "Call",
    "Comparison",
    "Given",
    "If",
    "Logic",
    "Lookup",
    "Name",
    "Negative",
    "Node",
    "Not",
    "Nothing",
    "Number",
    "OneOf",
    "Own",
    "Pick",
    "Property",
    "Quantity",
    "Span",
    "SyntaxProblem",
    "Truth",
    "children",
    "hint",
    "parse",
    "print_tree",
    "walk",
]

_PARSER = {"MAXIMUM_DEPTH", "MAXIMUM_LENGTH", "SyntaxProblem", "hint", "parse"}


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    home = "parser" if name in _PARSER else "printer" if name == "print_tree" else "tree"
    value = getattr(import_module(f".{home}", __name__), name)
    globals()[name] = value
    return value
