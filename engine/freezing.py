"""A checked book as plain data: all that evaluation needs, without schema, parser or syntax trees.

The result holds str, int, bool, None, lists and dicts only, so that it can be kept under a digest and read back.
"""

from __future__ import annotations

import json
from decimal import Decimal
from itertools import chain
from typing import Any

from .compiling import compile_book
from .declared import Type
from .diagnostics import Problems
from .digests import digest_of
from .entries import NO_CLAUSE, PROVENANCE, Book, Entry
from .functions import known_functions
from .loading import as_list
from .meaning import Op
from .model import Attribute, Model
from .programs import Programs, Route, Rule
from .totals import totals_of

FORMAT = "compiled/1"


def freeze(book: Book, model: Model, programs: Programs, problems: Problems) -> dict[str, Any]:
    """Compile a checked book.

    Faults found in the values of tables go to `problems`.
    """
    source, functions = compile_book(model, programs)
    entries = {id: _entry(book, entry) for id, entry in book.entries.items()}
    tables = {name: _table(model, name) for name in model.tables}
    checks = [
        {
            "name": check.name,
            "kind": check.kind,
            "entry": check.entry.id,
            "sign": _sign(check.plain),
            "unit": _check_unit(model, check.plain or check.ways[0].value),
            "ways": [_way(book, check.entry, way) for way in check.ways],
            "constrains": [f"{kind}.{name}" for kind, name in check.constrains],
            "leans": _leans(check.ops()),
        }
        for check in programs.checks
    ]
    frozen = {
        "format": FORMAT,
        "layers": [_layer(layer.id, layer.header, layer.digest, layer.document) for layer in book.layers],
        "units": model.units.to_plain(),
        "kinds": model.kinds,
        "terms": model.terms,
        "attributes": [_attribute(model, a) for a in model.attributes.values()],
        "series": {name: _series(model, name) for name in model.series},
        "tables": tables,
        "readings": {name: _reading(book, entry) for name, entry in model.readings.items()},
        "entries": entries,
        "rules": {f"{kind}.{name}": _rule(book, rule) for (kind, name), rule in programs.rules.items()},
        "choices": {
            f"{kind}.{name}": {
                "series": choice.series,
                "carries": choice.carries,
                "checks": [check.name for check in choice.checks],
                "leans": _leans(choice.ops()),
            }
            for (kind, name), choice in programs.choices.items()
        },
        "checks": checks,
        "cautions": [
            {
                "name": c.entry.name,
                "kind": c.kind,
                "say": str(c.entry.body.get("say", "")),
                "entry": c.entry.id,
            }
            for c in programs.cautions
        ],
        "outputs": [
            {
                "name": o.entry.name,
                "kind": o.kind,
                "form": str(o.entry.body.get("form", "")),
                "say": str(o.entry.body.get("say", "")),
                "shows": o.shows,
                "entry": o.entry.id,
            }
            for o in programs.outputs
        ],
        "day": book.day,
        "absent": book.absent,
        "findings": book.findings,
        "summary": {
            entry.name: entry.body.get("is", entry.body) for entry in book.section("summary").values()
        },
        "totals": totals_of(model, problems),
        "sheet": [entry.body for entry in book.section("sheet").values()],
        "removed": {id: change.layer for id, change in book.removed.items()},
        "not_encoded": [{"layer": layer, **part} for layer, part in book.not_encoded()],
        "renamed": model.renaming.to_plain(),
        "functions": functions,
        "lent": _lent(source),
        "source": source,
    }
    frozen["digest"] = digest(frozen)
    return frozen


def digest(data: Any) -> str:
    """The identity of plain data: the same content gives the same digest whatever the order of keys."""
    text = json.dumps(data, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return "sha256:" + digest_of(text.encode())


def _layer(id: str, header: dict[str, Any], layer_digest: str, document: str) -> dict[str, Any]:
    return {
        "id": id,
        "version": str(header.get("version", "")),
        "digest": layer_digest,
        "title": str(header.get("title", id)),
        "document": document,
        "force": str(header.get("force", "yes")),
    }


def content(entry: Entry) -> str:
    """The identity of what an entry decides, apart from its provenance and its words."""

    def bare(value: Any) -> Any:
        if isinstance(value, dict):
            return {key: bare(part) for key, part in value.items() if key not in PROVENANCE}
        if isinstance(value, list):
            return [bare(part) for part in value]
        return str(value) if isinstance(value, int) else value

    body = {key: part for key, part in entry.body.items() if (entry.section, key) != ("tables", "cells")}
    return digest(bare(body))[7:23]


def _entry(book: Book, entry: Entry) -> dict[str, Any]:
    made: dict[str, Any] = {
        "full": entry.full_id,
        "cites": book.cites([cite for cite in entry.cites if cite.clause != NO_CLAUSE]),
        "content": content(entry),
    }
    for name in ("title", "transcription", "source", "note"):
        if name in entry.body:
            made[name] = entry.body[name]
    cells = [cell for cell in as_list(entry.body.get("cells")) if "transcription" in cell]
    if cells:
        made["cells"] = {"|".join(cell["at"]): str(cell["transcription"]) for cell in cells}
    remarks = {"|".join(cell["at"]): _remark(cell) for cell in as_list(entry.body.get("cells"))}
    if any(remarks.values()):
        made["remarks"] = {at: remark for at, remark in remarks.items() if remark}
    changed = [
        {
            "layer": change.layer,
            "operation": change.operation,
            "what": change.what,
            "cites": book.cites(change.cites),
        }
        for change in entry.changes
    ]
    if changed:
        made["changed"] = changed
    own, documents = book.prefix(entry), book.documents
    amended = [
        told
        for told, change in zip(changed, entry.changes, strict=True)
        if documents.get(change.layer, change.layer) != own
    ]
    if amended:
        made["amended"] = amended
    return made


def _remark(cell: dict[str, Any]) -> str:
    """What the sources say of a cell: each figure given for it, with its clause if each has one, and the note."""
    values, cites = [str(value) for value in as_list(cell.get("values"))], as_list(cell.get("cites"))
    if len(cites) == len(values):
        values = [f"{value} ({cite})" for value, cite in zip(values, cites, strict=True)]
    said = [f"given as {', '.join(values)}"] if values else []
    return "; ".join([*said, *as_list(cell.get("note"))])


def _attribute(model: Model, attribute: Attribute) -> dict[str, Any]:
    body = attribute.entry.body
    made: dict[str, Any] = {
        "kind": attribute.kind,
        "name": attribute.name,
        "role": attribute.role,
        "sort": attribute.type.sort,
        "entry": attribute.entry.id,
        "optional": attribute.type.optional,
        "unit": attribute.unit.text if attribute.unit else None,
    }
    if attribute.type.sort in ("word", "member", "thing", "things"):
        made["detail"] = attribute.type.detail
    elif "from" in body:
        made["detail"] = body["from"]
    if attribute.relation:
        made["relation"] = list(attribute.relation)
    stated = model.book.entries.get(f"fields/{attribute.kind}.{attribute.name}")
    if (stated is not None and attribute.role != "relation") or attribute.relation[:1] == ("link",):
        field = stated.body if stated is not None else body
        made["field"] = {
            key: field[key]
            for key in ("at", "default", "ask", "least", "most", "required", "assume")
            if key in field
        }
        made["field"]["entry"] = stated.id if stated is not None else attribute.entry.id
    return made


def _series(model: Model, name: str) -> dict[str, Any]:
    series = model.series[name]
    return {
        "labels": series.labels,
        "unit": series.unit.text if series.unit else None,
        "values": [_frozen(value) for value in series.values],
        "properties": {
            prop: {"unit": unit.text if unit else None, "cells": {k: _frozen(v) for k, v in cells.items()}}
            for prop, (_, unit, cells) in series.properties.items()
        },
    }


def _table(model: Model, name: str) -> dict[str, Any]:
    table = model.tables[name]
    axes, cells = model.table_cells(table)
    keys = table.entry.body.get("keys") or []
    return {
        "axes": [
            {
                "name": key_name,
                "match": match,
                "beyond": str(key.get("beyond", "not_permitted")),
                "number": type.sort == "number",
                "unit": key.get("unit"),
                "keys": [_frozen(value) for value in axis],
            }
            for (key_name, type, match), key, axis in zip(table.keys, keys, axes, strict=True)
        ],
        "number": table.type.sort == "number",
        "unit": table.unit.text if table.unit else None,
        "cells": [[list(places), _frozen(value)] for places, value in cells.items()],
    }


def _frozen(value: Any) -> Any:
    return str(value) if isinstance(value, Decimal) else value


def _rule(book: Book, rule: Rule) -> dict[str, Any]:
    routes = []
    for route in rule.routes:
        part: dict[str, Any] = {}
        if route.name not in ("", "otherwise"):
            section = "exceptions" if route.rank is not None else "branches"
            part = rule.entry.body[section][route.name]
        routes.append(
            {
                "name": route.name,
                "cites": book.part_cites(rule.entry, part),
                "leans": _leans([route.value] if route.when is None else [route.when, route.value]),
            }
        )
    return {"routes": routes, "leans": list(dict.fromkeys(chain(*(route["leans"] for route in routes))))}


def _reading(book: Book, entry: Entry) -> dict[str, Any]:
    """A reading whose options carry their citations as printed."""
    options = {
        name: {**option, "cites": book.part_cites(entry, option)}
        for name, option in (entry.body.get("options") or {}).items()
    }
    return {**entry.body, "options": options, "entry": entry.id}


def _way(book: Book, entry: Entry, way: Route) -> dict[str, Any]:
    """A named way of a check: an exception or an alternative."""
    parts = {**(entry.body.get("exceptions") or {}), **(entry.body.get("any_of") or {})}
    part = parts[way.name]
    return {
        "name": way.name,
        "title": str(part.get("title", way.name)),
        "cites": book.part_cites(entry, part),
        "sign": _sign(way.value),
    }


def _sign(require: Op | None) -> str | None:
    """The sign of a requirement that is one comparison."""
    return str(require.parts[0]) if require is not None and require.code == "compare" else None


def _leans(ops: Any) -> list[str]:
    """The tables, constants, series and readings an expression names, once each."""
    sections = {"lookup": "tables", "constant": "constants", "reading": "readings"}
    found: dict[str, None] = {}
    for op in ops:
        for step in op.walk():
            if step.code in sections:
                found[f"{sections[step.code]}/{step.parts[0]}"] = None
            elif step.code == "pick":
                found[f"series/{step.parts[2]}"] = None
            elif step.code == "property":
                found[f"series/{step.parts[1]}"] = None
    return list(found)


def _lent(source: str) -> dict[str, str]:
    """The functions of plugins that the compiled source calls, with the plugin and version of each."""
    return {
        name: function.lender
        for name, function in known_functions().items()
        if function.lender and f"lent[{name!r}]" in source
    }


def unit_text(model: Model, op: Op) -> str | None:
    """The unit an expression is best shown in: that of the first declared thing it reads, else the base."""
    if op.type.sort != "number":
        return None
    for step in op.walk():
        unit = _declared_unit(model, step, op.type)
        if unit is not None:
            return unit
    return model.units.base_unit(op.type.detail).text


def _declared_unit(model: Model, step: Op, type: Type) -> str | None:
    if step.type.sort != "number" or step.type.detail != type.detail:
        return None
    unit = None
    if step.code == "get":
        unit = model.attributes[step.parts[0].type.detail, step.parts[1]].unit
    elif step.code == "lookup":
        unit = model.tables[step.parts[0]].unit
    elif step.code == "property":
        unit = model.series[step.parts[1]].properties[step.parts[2]][1]
    return unit.text if unit is not None else None


def _check_unit(model: Model, require: Op) -> str | None:
    if require.code != "compare":
        return None
    return unit_text(model, require.parts[1])
