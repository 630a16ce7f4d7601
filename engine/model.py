"""A book understood: what things exist, what may be asked about them, and the type of every name.

The rule language is checked against this model and compiled with it. Nothing here evaluates anything.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from .declared import WRONG, Declarations, Type
from .diagnostics import Problems
from .entries import Book, Entry
from .renaming import Renaming
from .runtime import DASH, MISSING, REST
from .units import Unit, Units


@dataclass
class Attribute:
    """One thing that can be asked of a kind: a field, a rule, a choice or a relation."""

    kind: str
    name: str
    role: str
    type: Type
    unit: Unit | None
    entry: Entry
    relation: tuple[str, ...] = ()
    """For a relation: ("parent",), ("children",), ("inverse", field name) or ("link",)."""


@dataclass
class TableModel:
    """Keyed values with the type of each key and of the cells."""

    name: str
    entry: Entry
    keys: list[tuple[str, Type, str]]
    type: Type
    unit: Unit | None


class Model(Declarations):
    """The names of one book and their types.

    Building it reports into `problems` whatever the declarations say wrongly.
    """

    def __init__(self, book: Book, units: Units, problems: Problems) -> None:
        self.renaming = Renaming(book)
        self.renaming.rewrite()
        super().__init__(book, units, problems)
        self.constants: dict[str, tuple[Type, Any, Entry]] = {}
        for name, entry in book.section("constants").items():
            self._constant(name, entry)
        self.tables = {name: self._table(name, entry) for name, entry in book.section("tables").items()}
        self.attributes: dict[tuple[str, str], Attribute] = {}
        self._relations_by_kind()
        for name, entry in book.section("fields").items():
            self._field(name, entry)
        for section, role in (("rules", "rule"), ("choices", "choice")):
            for name, entry in book.section(section).items():
                self._derived(name, entry, role)

    # -- the sections

    def _constant(self, name: str, entry: Entry) -> None:
        type, unit = self.type_of(entry, entry.body)
        text = str(entry.body.get("value", entry.body.get("is")))
        if type is not WRONG:
            self.constants[name] = (type, self.value(entry, type, unit, text, "value"), entry)

    def _table(self, name: str, entry: Entry) -> TableModel:
        keys = []
        for index, key in enumerate(entry.body.get("keys") or []):
            type, _ = self.type_of(entry, key, "keys", index)
            keys.append((str(key["name"]), type, str(key.get("match", "exact"))))
        type, unit = self.type_of(entry, entry.body)
        columns = entry.body.get("columns")
        width = len(columns) if columns else 1
        across = len(keys) - 1
        for index, column in enumerate(columns or []):
            if len(column) != across:
                self.problems.add(
                    "column-width",
                    entry.place("columns", index).span(),
                    table=name,
                    found=len(column),
                    expected=across,
                )
        for row, cells in (entry.body.get("rows") or {}).items():
            if len(cells) != width:
                self.problems.add(
                    "row-length",
                    entry.place("rows").span(),
                    table=name,
                    row=row,
                    found=len(cells),
                    expected=width,
                )
        if across and not columns:
            self.problems.add(
                "column-width", entry.place("rows").span(), table=name, found=0, expected=across
            )
        table = TableModel(name, entry, keys, type, unit)
        self._matches(table)
        return table

    def _matches(self, table: TableModel) -> None:
        """Report keys that cannot be met the way they say."""
        entry = table.entry
        for index, (key, type, match) in enumerate(table.keys):
            span = entry.place("keys", index).span
            if match != "exact" and type.sort not in ("number", WRONG.sort):
                self.problems.add("key-without-order", span(), table=table.name, key=key, match=match)
            elif match == "linear" and index:
                self.problems.add("line-across", span(), table=table.name, key=key)
            elif match == "linear":
                rows = [row for row in entry.body.get("rows") or {} if row != REST]
                if len(rows) < 2 or table.type.sort not in ("number", WRONG.sort):
                    self.problems.add("no-line", span(), table=table.name)

    def table_cells(self, table: TableModel) -> tuple[list[list[Any]], dict[tuple[int, ...], Any]]:
        """The printed keys of each axis and the cells by place, all in base units."""
        entry, body = table.entry, table.entry.body
        units = [
            self.units.unit(str(key["unit"])) if "unit" in key else None for key in body.get("keys") or []
        ]

        def key_value(index: int, text: str, *path: str | int) -> Any:
            if text == REST:
                return REST
            return self.value(entry, table.keys[index][1], units[index], text, *path)

        axes: list[list[Any]] = [[] for _ in table.keys]
        places: list[dict[Any, int]] = [{} for _ in table.keys]

        def place(index: int, value: Any) -> int:
            if value not in places[index]:
                places[index][value] = len(axes[index])
                axes[index].append(value)
            return places[index][value]

        columns = [
            tuple(place(i + 1, key_value(i + 1, text, "columns", n)) for i, text in enumerate(column))
            for n, column in enumerate(body.get("columns") or [[]])
        ]
        cells: dict[tuple[int, ...], Any] = {}
        for row, texts in (body.get("rows") or {}).items():
            down = place(0, key_value(0, row, "rows", row))
            for number, (column, text) in enumerate(zip(columns, texts, strict=False)):
                cells[(down, *column)] = (
                    text
                    if text in (DASH, MISSING)
                    else self.value(entry, table.type, table.unit, text, "rows", row, number)
                )
        return axes, cells

    # -- attributes

    def _relations_by_kind(self) -> None:
        for name, entry in self.book.section("kinds").items():
            outer = entry.body.get("within")
            if outer is None:
                continue
            if outer not in self.kinds:
                self.problems.add(
                    "unknown-name",
                    entry.place("within").span(),
                    what="kind",
                    name=outer,
                    nearest=self.hint(str(outer), self.kinds),
                )
                continue
            self._add(Attribute(name, str(outer), "relation", Type("thing", outer), None, entry, ("parent",)))
            section = str(entry.body.get("section", name))
            self._add(
                Attribute(str(outer), section, "relation", Type("things", name), None, entry, ("children",))
            )

    def _field(self, name: str, entry: Entry) -> None:
        kind, _, attribute = name.rpartition(".")
        kind = kind or str(entry.body.get("of", ""))
        if not self._kind_known(kind, entry):
            return
        type, unit = self.type_of(entry, entry.body)
        relation: tuple[str, ...] = ("link",) if type.sort in ("thing", "things") else ()
        role = "relation" if relation else "field"
        if "link" in entry.body:
            type = type.maybe()
        self._add(Attribute(kind, attribute, role, type, unit, entry, relation))
        if relation and "inverse" in entry.body and type.sort != "wrong":
            inverse = str(entry.body["inverse"])
            back = ("inverse", attribute, kind)
            self._add(Attribute(type.detail, inverse, "relation", Type("things", kind), None, entry, back))

    def _derived(self, name: str, entry: Entry, role: str) -> None:
        kind, _, attribute = name.rpartition(".")
        kind = kind or str(entry.body.get("of", ""))
        if not self._kind_known(kind, entry):
            return
        if role == "choice":
            type, unit = self._choice_type(entry)
        else:
            type, unit = self.type_of(entry, entry.body)
        known = self.attributes.get((kind, attribute))
        if known is not None and not (known.role == "field" and role == "choice"):
            self.problems.add(
                "attribute-twice",
                entry.place().key_span(),
                kind=kind,
                attribute=attribute,
                entry=known.entry.id,
            )
            return
        self.attributes[kind, attribute] = Attribute(kind, attribute, role, type, unit, entry)

    def _choice_type(self, entry: Entry) -> tuple[Type, Unit | None]:
        name = str(entry.body.get("from"))
        if name not in self.series:
            self.problems.add(
                "unknown-name",
                entry.place("from").span(),
                what="series",
                name=name,
                nearest=self.hint(name, self.series),
            )
            return WRONG, None
        series = self.series[name]
        type = series.type.maybe() if "when" in entry.body else series.type
        return type, series.unit

    def _kind_known(self, kind: str, entry: Entry) -> bool:
        if kind in self.kinds:
            return True
        self.problems.add(
            "unknown-name",
            entry.place().key_span(),
            what="kind",
            name=kind,
            nearest=self.hint(kind, self.kinds),
        )
        return False

    def _add(self, attribute: Attribute) -> None:
        key = attribute.kind, attribute.name
        known = self.attributes.get(key)
        if known is not None:
            self.problems.add(
                "attribute-twice",
                attribute.entry.place().key_span(),
                kind=attribute.kind,
                attribute=attribute.name,
                entry=known.entry.id,
            )
            return
        self.attributes[key] = attribute

    def names_of(self, kind: str) -> list[str]:
        """The attributes of a kind."""
        return [name for owner, name in self.attributes if owner == kind]

    def only(self, kind: str) -> bool:
        """True for a kind with exactly one thing, which any rule may name."""
        return str(self.kinds.get(kind, {}).get("one", "no")) == "yes"
