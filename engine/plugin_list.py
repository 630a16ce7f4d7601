"""What is loaded: every plugin with where it comes from and what it adds; and what catalogues say."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from .blocks import Block, Grid, Heading, Items, Paragraph
from .extending import BROKEN, LOADED, WAITING, Extensions
from .functions import known_functions
from .hooks import TABLE, Catalogue, DesignTemperatures, HookRow, LanguageFunction, Taken
from .source import TAKEN_FROM


def listing(held_by: Extensions) -> list[dict[str, Any]]:
    """Every plugin: name, distribution, version, state, where it came from, faults, and what it adds."""
    added: dict[str, list[dict[str, str]]] = {}
    known = known_functions()
    for row in TABLE:
        for plugin, item in held_by.items(row.hook):
            if row.item is not LanguageFunction or item.name in known:
                added.setdefault(str(plugin), []).append(_added(row, item))
    return [
        {
            "name": plugin.found.name,
            "distribution": plugin.found.distribution or None,
            "version": plugin.found.version or None,
            "state": LOADED if plugin.state == WAITING else plugin.state,
            "from": plugin.where,
            "adds": added.get(str(plugin), []) if plugin.state != BROKEN else [],
            "faults": [f"{fault.message} [{fault.name}]" for fault in plugin.faults],
        }
        for plugin in held_by.plugins
    ]


def _added(row: HookRow, item: Any) -> dict[str, str]:
    if isinstance(item, Path):
        return {"kind": row.adds, "name": str(item), "about": ""}
    name = str(item.name)
    if isinstance(item, LanguageFunction):
        name = f"{name}({', '.join(item.takes)}) -> {item.gives}"
    elif hasattr(item, "suffixes"):
        name = f"{name} ({', '.join(item.suffixes)})"
    return {"kind": row.adds, "name": name, "about": str(item.about)}


def page(found: list[dict[str, Any]]) -> list[Block]:
    """The listing for people."""
    rows = []
    for plugin in found:
        by = f"{plugin['distribution']} {plugin['version']}" if plugin["distribution"] else "shipped"
        rows.append([plugin["name"], by, plugin["state"], "", ""])
        rows += [["", "", "", f"{added['kind']} {added['name']}", added["about"]] for added in plugin["adds"]]
    made: list[Block] = [Grid(["plugin", "by", "state", "adds", ""], rows), Heading("Loaded from")]
    made.append(Items([f"{plugin['name']}: {plugin['from']}" for plugin in found]))
    faults = [fault for plugin in found for fault in plugin["faults"]]
    return [*made, Heading("Faults"), Items(faults)] if faults else made


def taken_page(name: str, item: str, taken: Taken) -> list[Block]:
    """What a catalogue knows of an item, as a part of a project would state it."""
    told = [f"Source: {taken.source}", *([taken.says] if taken.says else [])]
    rows = [[key, str(value)] for key, value in taken.values.items()]
    return [
        Heading(f"{name}: {item}", 1),
        Grid(["field", "value"], rows),
        Paragraph("\n".join(told)),
        Paragraph(f'In a project: {TAKEN_FROM}: "{name}: {item}"'),
    ]


def catalogues_page(known: list[Catalogue | DesignTemperatures]) -> list[Block]:
    """The catalogues there are."""
    return [Grid(["catalogue", "about"], [[catalogue.name, catalogue.about] for catalogue in known])]
