"""A comparison as a page for people."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from .blocks import Block, Grid, Heading, Items, Paragraph
from .shown import VERDICTS, share, shown, spoken

Data = dict[str, Any]

NOT_THERE = ""
UNKNOWN = "not known"


def comparison_page(data: Data) -> list[Block]:
    """A comparison from top to bottom."""
    return list(_comparison(data))


def _comparison(data: Data) -> Iterator[Block]:
    yield Heading(f"{data['project']['title']}: {_count(len(data['columns']), 'column')} side by side", 1)
    heads = [column_name(column) for column in data["columns"]]
    rows = [["verdict", *(VERDICTS[column["passes"]].lower() for column in data["columns"])]]
    rows += [[_row_name(row), *(_cell(cell) for cell in row["cells"])] for row in data["rows"]]
    yield Grid(["outcome", *heads], rows)
    if not data["rows"]:
        yield Paragraph("Every choice is the same, and no check fails in one column and not in another.")
    if data["totals"]:
        yield Heading("Totals")
        yield Grid(
            ["total", *heads],
            [
                [_total_name(line), *(_amount(amount, line["unit"]) for amount in line["amounts"])]
                for line in data["totals"]
            ],
        )
    if data["costs"] is not None:
        yield from _costs(data["costs"], heads)
    for difference in data["differences"]:
        if difference["rows"]:
            yield Heading(f"Why: {heads[difference['from']]} → {heads[difference['to']]}")
            yield Items([_cause(cause) for cause in difference["causes"]])


def column_name(column: Data) -> str:
    """A column's head: the rulesets asked for, and the layout if there is one."""
    stack = "+".join(column["rulesets"])
    return stack if column["layout"] is None else f"{column['layout']} @ {stack}"


def _row_name(row: Data) -> str:
    return f"{row['thing']}, {row['title']}" if row["kind"] == "check" else row["name"]


def _cell(cell: Data | None) -> str:
    if cell is None:
        return NOT_THERE
    if "passes" in cell:
        verdict = {True: "pass", False: "FAIL", None: "open"}[cell["passes"]]
        return f"{verdict} {share(cell['margin'])}".strip()
    if "why" in cell:
        return "undetermined" if cell.get("undetermined") else "none fits"
    return shown(cell["value"], cell["unit"]) + (" (stated)" if cell.get("stated") else "")


def _total_name(line: Data) -> str:
    group = ", ".join(str(value) for value in line["group"].values() if value is not None)
    return f"{line['title']}: {group}" if group else str(line["title"])


def _amount(amount: float | None, unit: str | None) -> str:
    return UNKNOWN if amount is None else shown(amount, unit)


def _costs(costs: Data, heads: list[str]) -> Iterator[Block]:
    """What the designs cost by a price list; whatever is wanting in the sums is said below them."""

    def row(name: str, amounts: list[float | None], complete: list[bool] | None = None) -> list[str]:
        whole = complete or [True] * len(amounts)
        return [name, *(_money(*cell, costs["decimals"]) for cell in zip(amounts, whole, strict=True))]

    yield Heading(f"Costs in {costs['currency']}: {costs['title']}")
    rows = [row(_total_name(line), line["amounts"]) for line in costs["lines"]]
    rows += [
        row(f"Sum, each {total['each']}" if total["each"] else "Sum", total["amounts"], total["complete"])
        for total in costs["sums"]
    ]
    if costs["together"]:
        counted = ", ".join(
            f"{shown(count, None)} × {each}" for each, count in costs["together"]["count"].items()
        )
        rows.append(row(f"Sum with {counted}", costs["together"]["amounts"], costs["together"]["complete"]))
    yield Grid(["item", *heads], rows)
    said = [f"{_total_name(line)}: the list has no price for it" for line in costs["not_priced"]]
    said += [f"{item['title']} left out: {item['says']}" for item in costs["left_out"]]
    if said:
        yield Items(said)


def _money(amount: float | None, complete: bool, decimals: int) -> str:
    if amount is None or not (amount or complete):
        return UNKNOWN
    return f"{amount:,.{decimals}f}{'' if complete else ', incomplete'}"


def _cause(cause: Data) -> str:
    explains = f"explains {', '.join(cause['explains'])}"
    if cause["kind"] == "input":
        was, now = (_value(value) for value in cause["values"])
        return f"input {cause['name']}: {was} → {now}; {explains}"
    said = [f"{change['layer']}: {change['what']}" for change in cause["changes"]]
    said += [
        f"[{', '.join(cell['at'])}] says {_value(cell['from'])} → {_value(cell['to'])}"
        for cell in cause.get("cells", [])
    ]
    was, now = cause["entries"]
    fate = "" if was and now else " (new)" if now else " (removed)"
    cites = list(dict.fromkeys(cite for cites in cause["cites"] for cite in cites))
    parts = [f"{cause['name']}{fate}, {cause['title']}", *said, "; ".join(cites), explains]
    return " — ".join(part for part in parts if part)


def _value(value: Any) -> str:
    return shown(value["value"], value["unit"]) if isinstance(value, dict) else shown(value, None)


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


__all__ = ["column_name", "comparison_page", "spoken"]
