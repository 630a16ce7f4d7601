"""What a lookup hit, for a reader: the value, its row, what is known of the cell, its neighbours, the entry."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from .results import plain, unit_text
from .rulebook import Rulebook
from .runtime import DASH, REST, Absent, Axis, Table
from .substituting import text_of
from .units import Unit

Tree = dict[str, Any]


def entry_of(rulebook: Rulebook, id: str) -> Tree:
    """The part of a node that names an entry: entry, cites, title, transcription."""
    entry = rulebook.entries[id]
    made = {"entry": entry["full"], "cites": list(entry["cites"])}
    return made | {key: entry[key] for key in ("title", "transcription") if key in entry}


def valued(value: Any, unit: Unit | None) -> Tree:
    """The part of a node that holds a value: value as shown, raw, unit, and `why` where there is none."""
    made: Tree = {"value": text_of(value, unit), "raw": None, "unit": unit_text(unit)}
    if isinstance(value, Absent):
        return made | {"why": list(value.reasons)}
    return made | {"raw": plain(value, unit)}


def hit(
    rulebook: Rulebook,
    name: str,
    keys: list[Any],
    shown: list[str],
    value: Any,
    unit: Unit | None,
    beside: bool = False,
) -> Tree:
    """A lookup in the table `name`: table, keys, value, row, entry, and with `beside` its neighbours."""
    made: Tree = {"table": name, "keys": shown} | valued(value, unit) | entry_of(rulebook, f"tables/{name}")
    table = rulebook.tables[name]
    places = _places(table, keys)
    if places is None:
        return made
    texts = [axis["unit"] for axis in rulebook.frozen["tables"][name]["axes"]]
    units = [rulebook.units.unit(text) if text else None for text in texts]
    rows = [_row(*row) for row in zip(table.axes, places, keys, units, strict=True)]
    made["row"] = [row for row in rows if row]
    entry = rulebook.entries[f"tables/{name}"]
    printed = [
        text_of(axis.keys[place], key_unit)
        for axis, place, key_unit in zip(table.axes, places, units, strict=True)
    ]
    bare = [word.removesuffix(f" {text}") for word, text in zip(printed, texts, strict=True)]
    cell = {"|".join(bare), "|".join(printed)}
    made["transcription"] = _of_cell(entry.get("cells", {}), cell) or made.get("transcription")
    remark = _of_cell(entry.get("remarks", {}), cell)
    if remark is not None:
        made["remark"] = remark
    if made["transcription"] is None:
        del made["transcription"]
    if beside:
        made["neighbours"] = _neighbours(table, units, places, unit)
    return made


def _of_cell(known: dict[str, str], cell: set[str]) -> str | None:
    """What is known of a cell under either spelling of its keys, with their units or without."""
    return next((known[at] for at in known if at in cell), None)


def _places(table: Table, keys: list[Any]) -> tuple[int, ...] | None:
    """The cell a lookup hit, the lower one where it fell between two rows; None when it hit none."""
    if any(isinstance(key, Absent) or key is None for key in keys):
        return None
    try:
        if table.axes[0].match != "linear":
            return table.locate(keys)
        axis = table.axes[0]
        first = axis.places[axis.bounds[min(max(axis.position(keys[0]), 0), len(axis.bounds) - 1)]]
        return (first, *Table(table.name, lambda: (table.axes[1:], {})).locate(keys[1:]))
    except Absent:
        return None


def _row(axis: Axis, place: int, key: Any, unit: Unit | None) -> str | None:
    """The row a key fell into, in words; None where the key is the row."""
    printed = axis.keys[place]
    if printed == REST:
        return f"{axis.name} beyond the other rows"
    if axis.match == "exact" or not isinstance(printed, Decimal):
        return None
    at = axis.bounds.index(printed)
    before = text_of(axis.bounds[at - 1], unit) if at else None
    after = text_of(axis.bounds[at + 1], unit) if at + 1 < len(axis.bounds) else None
    bound = text_of(printed, unit)
    match axis.match:
        case "up_to":
            words = f"over {before} up to {bound}" if before else f"up to {bound}"
        case "below":
            words = f"from {before} to below {bound}" if before else f"below {bound}"
        case "at_least":
            words = f"from {bound} to below {after}" if after else f"{bound} or more"
        case "above":
            words = f"over {bound} up to {after}" if after else f"over {bound}"
        case _:
            words = f"between {bound} and {after}" if after and key > printed else bound
    return f"{axis.name} {words}"


def _neighbours(
    table: Table, units: list[Unit | None], places: tuple[int, ...], unit: Unit | None
) -> list[Tree]:
    """The cells before and after, along the rows and along every key that is not matched exactly."""
    found = []
    for number, axis in enumerate(table.axes):
        if number and axis.match == "exact":
            continue
        order = [axis.places[bound] for bound in axis.bounds] or list(range(len(axis.keys)))
        at = order.index(places[number]) if places[number] in order else len(order)
        for near in (at - 1, at + 1):
            if 0 <= near < len(order):
                cell = table.cells.get((*places[:number], order[near], *places[number + 1 :]), DASH)
                key = text_of(axis.keys[order[near]], units[number])
                found.append({"key": axis.name, "row": key, "value": text_of(cell, unit)})
    return found
