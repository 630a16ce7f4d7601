"""Which of two layers is heard where both speak about one part of an entry: the relation is data, not code.

A layer's header states `over: {LAYER: RELATION}` towards layers below it and `under: {LAYER: RELATION}`
towards layers above it; `*` stands for all others. What a lower layer says about those above it binds them.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from .entries import Book, Entry, Layer, Operation
from .facets import WHOLE, Facet
from .grammar import SyntaxProblem, parse, tree
from .loading import shipped_units
from .runtime import DASH
from .tabling import said_of
from .units import UnitError

LATER, STRICTER, AT_LEAST, SAME, SPECIFIC = (
    "later_wins",
    "stricter_wins",
    "at_least_as_strict",
    "may_not_differ",
    "specific_wins",
)
EVERY = "*"


@dataclass(frozen=True)
class Ruling:
    """What a relation makes of one part of an operation.

    outcome: `applies`, `below` (the text below stands) or `open` (nothing settles it); `breach` when a
    permission between the layers was overstepped, or could not be verified.
    """

    outcome: str
    relation: str
    breach: bool = False
    verified: bool = True


def relation(upper: Layer, lower: Layer, known_to: set[str], amended: bool) -> str | None:
    """Who wins between two layers of a stack; None when nothing says so.

    `known_to` are the layers `upper` is built upon: it amends their text knowingly. `amended` says whether
    `lower` had itself changed the part, or was the first to say it.
    """
    for header, other in ((lower.header.get("under"), upper.id), (upper.header.get("over"), lower.id)):
        stated = (header or {}).get(other) or (header or {}).get(EVERY)
        if stated is not None:
            return str(stated)
    if lower.id in known_to or not amended:
        return LATER
    return None


def rule(
    name: str | None, operation: Operation, entry: Entry, facet: Facet, old: Any, new: Any, book: Book
) -> Ruling:
    """Apply a relation: `old` is what the lower layer made of the part, `new` what the operation makes."""
    if said_of(old) == said_of(new) or name == LATER:
        return Ruling("applies", name or LATER)
    if name is None:
        return Ruling("open", "none")
    if name == SAME:
        return Ruling("below", name, breach=True)
    if name == SPECIFIC:
        return Ruling("applies" if operation.kind == "except" else "open", name)
    order = compare(entry, facet, old, new, book)
    if name == STRICTER:
        return Ruling("open" if order is None else "applies" if order >= 0 else "below", name)
    if order is None:
        return Ruling("applies", name, verified=False)
    return Ruling("applies" if order >= 0 else "below", name, breach=order < 0)


def compare(entry: Entry, facet: Facet, old: Any, new: Any, book: Book) -> int | None:
    """1 when `new` asks more than `old`, -1 when less, 0 when as much; None when they cannot be ordered.

    The entry says which direction is stricter; a requirement says it by its own sign.
    """
    if facet == ("property", "require") or (facet == WHOLE and entry.section == "checks"):
        sides = (old, new) if facet != WHOLE else tuple((side or {}).get("require") for side in (old, new))
        return None if None in sides else _requirements(str(sides[0]), str(sides[1]), entry, book)
    if facet == WHOLE:
        if not isinstance(old, dict) or not isinstance(new, dict):
            return None
        return _wholes(entry, old, new, book)
    if facet[0] == "row" and isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        return _together([_values(entry, a, b, book) for a, b in zip(old, new, strict=True)])
    if facet[0] in ("property", "cell"):
        return _values(entry, old, new, book)
    return None


def _wholes(entry: Entry, old: dict[str, Any], new: dict[str, Any], book: Book) -> int | None:
    if "rows" in old and "rows" in new:
        same = old["rows"].keys() == new["rows"].keys() and old.get("columns") == new.get("columns")
        if not same or old.get("unit") != new.get("unit"):
            return None
        cells = [
            pair for row in old["rows"] for pair in zip(old["rows"][row], new["rows"][row], strict=False)
        ]
        return _together([_values(entry, a, b, book) for a, b in cells])
    for key in ("value", "is"):
        if key in old and key in new and old.get("unit") == new.get("unit"):
            return _values(entry, old[key], new[key], book)
    return None


def _together(orders: list[int | None]) -> int | None:
    """The order of two lists of values: None as soon as they disagree."""
    if None in orders:
        return None
    signs = {order for order in orders if order}
    return None if len(signs) > 1 else signs.pop() if signs else 0


def _values(entry: Entry, old: Any, new: Any, book: Book) -> int | None:
    stricter = entry.body.get("stricter")
    if stricter is None:
        return None
    a, b = str(old).strip(), str(new).strip()
    if DASH in (a, b):
        return (b == DASH) - (a == DASH)
    return _ordered(a, b, stricter == "greater", entry, book)


def _ordered(a: str, b: str, greater: bool, entry: Entry, book: Book) -> int | None:
    left, right = _number(a, entry, book), _number(b, entry, book)
    if left is None or right is None or left[1] != right[1]:
        return None
    step = (right[0] > left[0]) - (right[0] < left[0])
    return step if greater else -step


def _number(text: str, entry: Entry, book: Book) -> tuple[Decimal, Any] | None:
    """A written value as something that has an order: a quantity, or the place of a member in its series."""
    for series in book.section("series").values():
        members = [str(member) for member in series.body.get("members") or []]
        if text in members and "unit" not in series.body:
            return Decimal(members.index(text)), series.name
    units = shipped_units()
    try:
        if " " in text:
            value, unit = units.quantity(text)
        else:
            unit = units.unit(str(entry.body.get("unit", "1")))
            value = units.quantity_as(text if unit.text == "1" else f"{text} {unit.text}", unit)
    except UnitError:
        return None
    return value, unit.kind


def _requirements(old: str, new: str, entry: Entry, book: Book) -> int | None:
    """Two requirements that differ only in the figure a value is held against, and in whether it is included."""
    try:
        a, b = parse(old), parse(new)
    except SyntaxProblem:
        return None
    if not isinstance(a, tree.Comparison) or not isinstance(b, tree.Comparison):
        return None
    if a.op[0] != b.op[0] or a.left != b.left or a.op not in ("<", "<=", ">", ">="):
        return None
    literals = (tree.Number, tree.Quantity)
    if not isinstance(a.right, literals) or not isinstance(b.right, literals):
        return None
    order = _ordered(_literal(a.right), _literal(b.right), a.op in (">", ">="), entry, book)
    return order or (None if order is None else len(a.op) - len(b.op))


def _literal(node: tree.Number | tree.Quantity) -> str:
    return node.text if isinstance(node, tree.Number) else f"{node.amount} {node.unit}"
