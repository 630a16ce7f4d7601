"""A compiled book at run time: functions, tables, series and what a project may say, from plain data."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from functools import partial
from types import CodeType

from . import runtime
from .runtime import DASH, MISSING, REST, Absent, Axis, Table
from .units import Unit, Units

TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any, ClassVar

    from .scales import Row

RUNTIME = (
    "Absent",
    "above",
    "at_least",
    "bounded",
    "count",
    "divide",
    "enough",
    "given",
    "greatest",
    "least",
    "near",
    "need",
    "pick",
    "power",
    "reach",
    "round_down",
    "round_nearest",
    "round_up",
    "square_root",
    "to_power",
    "total",
)


class Attribute:
    """One attribute of a kind, ready to be asked."""

    __slots__ = ("data", "detail", "entry", "field", "key", "kind", "name", "role", "sort", "unit")

    def __init__(self, data: dict[str, Any], units: Units) -> None:
        self.data = data
        self.kind: str = data["kind"]
        self.name: str = data["name"]
        self.role: str = data["role"]
        self.sort: str = data["sort"]
        self.entry: str = data["entry"]
        self.detail: str | None = data.get("detail")
        self.field: dict[str, Any] | None = data.get("field")
        self.unit: Unit | None = units.unit(data["unit"]) if data["unit"] else None
        self.key = f"{self.kind}.{self.name}"
        """Its name in the compiled book."""

    @property
    def steps(self) -> list[str]:
        """Where a project states it, below its thing."""
        at = (self.field or {}).get("at", self.name)
        return str(at).split(".")


class Rulebook:
    """Everything an evaluation needs of a book.

    `frozen` is the plain data of `freezing.freeze`; `code`, its compiled source, and `units`, what it means by its
    texts of units, are made of it unless they are at hand.
    """

    table_type: ClassVar[type[Table]] = Table
    """What tables are made of; a subclass may watch them."""

    def __init__(
        self, frozen: dict[str, Any], code: CodeType | None = None, units: dict[str, Row] | None = None
    ) -> None:
        self.frozen = frozen
        table = frozen["units"]
        self.units = Units(table, units) if units is not None else Units.from_data(table)
        self.entries: Mapping[str, dict[str, Any]] = frozen["entries"]
        self.kinds: dict[str, dict[str, Any]] = frozen["kinds"]
        self.renamed: dict[str, dict[str, str]] = frozen["renamed"]
        self.attributes: dict[str, dict[str, Attribute]] = {kind: {} for kind in self.kinds}
        for data in frozen["attributes"]:
            self.attributes[data["kind"]][data["name"]] = Attribute(data, self.units)
        self.members: dict[str, list[Any]] = {}
        self.labels: dict[str, dict[Any, str]] = {}
        self.ranks: dict[str, dict[str, int]] = {}
        self.properties: dict[str, Property] = {}
        for name, series in frozen["series"].items():
            self._series(name, series)
        self.tables = {
            name: self.table_type(name, partial(_table, frozen["tables"], name)) for name in frozen["tables"]
        }
        self.code = code or code_of(frozen)
        namespace: dict[str, Any] = {name: getattr(runtime, name) for name in RUNTIME}
        namespace.update(
            Decimal=Decimal,
            alone=alone,
            tables=self.tables,
            ranks=self.ranks,
            properties=self.properties,
            members=self.members,
            members_backward={name: list(reversed(m)) for name, m in self.members.items()},
        )
        if frozen["lent"]:
            namespace["lent"] = self._borrowed()
        exec(self.code, namespace)
        self.namespace = namespace
        self.functions: dict[str, Any] = {key: namespace[name] for key, name in frozen["functions"].items()}
        self.checks: dict[str, dict[str, Any]] = {check["name"]: check for check in frozen["checks"]}

    def _borrowed(self) -> dict[str, Any]:
        """The functions that plugins lend to this book."""
        from .lending import SERIES, TERMS, Sort, borrowed

        lists = {Sort(TERMS, name): words for name, words in self.frozen["terms"].items()}
        lists |= {Sort(SERIES, name): members for name, members in self.members.items()}
        return borrowed(self.frozen["lent"], self.units, lists)

    def _series(self, name: str, series: dict[str, Any]) -> None:
        quantity = series["unit"] is not None
        values: list[Any] = [Decimal(value) if quantity else value for value in series["values"]]
        self.members[name] = values
        self.labels[name] = dict(zip(values, series["labels"], strict=True))
        if not quantity:
            self.ranks[name] = {label: place for place, label in enumerate(values)}
        for prop, data in series["properties"].items():
            cells = {label: _cell(text, data["unit"] is not None) for label, text in data["cells"].items()}
            self.properties[f"{name}.{prop}"] = Property(f"{prop} of {name}", cells)

    def current(self, kind: str, name: str) -> str:
        """The name an attribute or a check of a kind has now."""
        return self.renamed["attributes"].get(f"{kind}.{name}") or self.renamed["checks"].get(name, name)

    def only(self, kind: str) -> bool:
        """True for a kind with exactly one thing."""
        return str(self.kinds[kind].get("one", "no")) == "yes"


def code_of(frozen: dict[str, Any]) -> CodeType:
    """The programs of a book compiled."""
    code: CodeType = compile(frozen["source"], "<rules>", "exec")
    return code


class Property:
    """A property of the members of a series."""

    __slots__ = ("cells", "name")

    def __init__(self, name: str, cells: dict[str, Any]) -> None:
        self.name, self.cells = name, cells

    def __call__(self, member: str) -> Any:
        """The value for a member; raises `Absent` where none is printed or none was read."""
        value = self.cells.get(member, MISSING)
        if value is DASH or value is MISSING:
            raise Absent([f"the {self.name} has no value for {member}"], void=value is DASH)
        return value


def _cell(text: Any, number: bool) -> Any:
    if text == DASH:
        return DASH
    if text == MISSING:
        return MISSING
    return Decimal(text) if number else text


def _table(tables: Mapping[str, Any], name: str) -> tuple[list[Axis], dict[tuple[int, ...], Any]]:
    data = tables[name]
    axes = [
        Axis(
            axis["name"],
            axis["match"],
            [Decimal(key) if axis["number"] and key != REST else key for key in axis["keys"]],
            axis["beyond"],
        )
        for axis in data["axes"]
    ]
    cells = {tuple(places): _cell(value, data["number"]) for places, value in data["cells"]}
    return axes, cells


def alone(thing: Any, name: str, tests: tuple[tuple[int, bool], ...]) -> None:
    """Two exceptions of one rank that both hold contradict each other."""
    holding = [number for number, holds in tests if holds]
    if len(holding) > 1:
        thing.run.contradiction(thing, name, holding)
