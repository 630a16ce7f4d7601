"""What is changed in a module, one place at a time: a comparison, a rounding, a number, an `and`.

A mutant is named by the function it lies in and by the expression before and after, so that its name stays when
lines around it move.
"""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Callable, Iterator
from typing import NamedTuple

COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}
ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.Pow: ast.Mult,
}
NAMES = {
    "min": "max",
    "max": "min",
    "any": "all",
    "all": "any",
    "bisect_left": "bisect_right",
    "bisect_right": "bisect_left",
    "ROUND_CEILING": "ROUND_FLOOR",
    "ROUND_FLOOR": "ROUND_CEILING",
    "ROUND_HALF_EVEN": "ROUND_HALF_UP",
    "ROUND_HALF_UP": "ROUND_HALF_DOWN",
    "multiply": "divide",
    "divide": "multiply",
    "add": "subtract",
    "sorted": "list",
}
"""Names that stand for a choice; the value is the other one."""

LEFT_ALONE = ("__repr__", "__hash__")
"""Functions for people and for the interpreter, which decide nothing."""


class Mutant(NamedTuple):
    """One change: its name, and the whole module changed."""

    name: str
    source: str


class _Place(NamedTuple):
    """A node that can be changed, the function it lies in, and what is shown of it."""

    where: str
    node: ast.AST
    shown: ast.AST


def mutants(source: str) -> Iterator[Mutant]:
    """Every mutant of a module, from its top to its end."""
    tree = ast.parse(source)
    seen: Counter[str] = Counter()
    swaps = [(place, swap) for place in list(_places(tree)) for swap in _swaps(place.node)]
    for (where, _, shown), swap in swaps:
        before = ast.unparse(shown)
        swap()
        name = f"{where}: {before}  ->  {ast.unparse(shown)}"
        text = ast.unparse(tree) + "\n"
        swap()
        seen[name] += 1
        again = f" ({seen[name]})" if seen[name] > 1 else ""
        yield Mutant(name + again, text)


def _places(node: ast.AST, where: str = "module", shown: ast.AST | None = None) -> Iterator[_Place]:
    """The node itself and all below it; texts, annotations and imports say nothing that could be wrong."""
    if isinstance(node, (ast.Import, ast.ImportFrom)) or _for_type_checkers(node):
        return
    if isinstance(node, (ast.FunctionDef, ast.ClassDef)):
        if node.name in LEFT_ALONE:
            return
        where = node.name if where == "module" else f"{where}.{node.name}"
        defaults = [] if isinstance(node, ast.ClassDef) else [*node.args.defaults, *node.args.kw_defaults]
        for part in [*filter(None, defaults), *node.body]:
            yield from _places(part, where)
        return
    small = isinstance(node, (ast.Constant, ast.Name, ast.Attribute)) and shown is not None
    yield _Place(where, node, shown if small and shown is not None else node)
    whole = None if isinstance(node, ast.stmt) and hasattr(node, "body") else node
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns"):
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST):
                yield from _places(child, where, shown if small else whole)


def _for_type_checkers(node: ast.AST) -> bool:
    """`TYPE_CHECKING = False`, and what stands under `if TYPE_CHECKING:`."""
    named = (
        node.targets[0] if isinstance(node, ast.Assign) else node.test if isinstance(node, ast.If) else None
    )
    return isinstance(named, ast.Name) and named.id == "TYPE_CHECKING"


def _puts(node: ast.Attribute) -> bool:
    """`problems.add`: into a collection, not to a number."""
    return node.attr == "add" and not (isinstance(node.value, ast.Name) and node.value.id.isupper())


def _swaps(node: ast.AST) -> list[Callable[[], None]]:
    """The ways in which one node can be changed; each does it, and undoes it when it is called again."""
    if isinstance(node, ast.Compare):
        others = [COMPARISONS[type(operator)]() for operator in node.ops]
        return [_swap_item(node.ops, index, other) for index, other in enumerate(others)]
    if isinstance(node, ast.BoolOp):
        return [_swap(node, "op", ast.And() if isinstance(node.op, ast.Or) else ast.Or())]
    if isinstance(node, (ast.BinOp, ast.AugAssign)) and type(node.op) in ARITHMETIC:
        return [_swap(node, "op", ARITHMETIC[type(node.op)]())]
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        return [_swap(node, "op", ast.UAdd())]
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        return [_swap(node, "operand", ast.UnaryOp(ast.Not(), node.operand))]
    if isinstance(node, ast.Constant) and isinstance(node.value, bool):
        return [_swap(node, "value", not node.value)]
    if isinstance(node, ast.Constant) and isinstance(node.value, int):
        return [_swap(node, "value", node.value + 1)]
    if isinstance(node, ast.Name) and node.id in NAMES:
        return [_swap(node, "id", NAMES[node.id])]
    if isinstance(node, ast.Attribute) and node.attr in NAMES and not _puts(node):
        return [_swap(node, "attr", NAMES[node.attr])]
    return []


def _swap(node: ast.AST, name: str, other: object) -> Callable[[], None]:
    values = [other]

    def swap() -> None:
        now = getattr(node, name)
        setattr(node, name, values[0])
        values[0] = now

    return swap


def _swap_item(items: list[ast.cmpop], index: int, other: ast.cmpop) -> Callable[[], None]:
    values = [other]

    def swap() -> None:
        items[index], values[0] = values[0], items[index]

    return swap
