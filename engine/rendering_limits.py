"""What would flip the outcomes of a design, as a page for people."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from .blocks import Block, Grid, Heading, Items, Paragraph
from .shown import VERDICTS, shown

Data = dict[str, Any]

SIGNS = {
    ("above", True): "at or above",
    ("above", False): "above",
    ("below", True): "at or below",
    ("below", False): "below",
}
SHOWN = 30
"""How many flips are listed unless all are asked for."""


def limits_page(data: Data, full: bool = False) -> list[Block]:
    """The limits from top to bottom; `full` lists every flip, not only the tightest."""
    return list(_page(data, full))


def _page(data: Data, full: bool) -> Iterator[Block]:
    yield Heading(f"{data['project']['title']}: what would flip it", 1)
    stack = ", ".join(f"{layer['id']} {layer['version']}" for layer in data["ruleset"]["stack"])
    yield Paragraph(f"{VERDICTS[data['passes']]} under {stack}. One input is moved at a time.")
    if data["on_bounds"]:
        yield Heading("Right on a bound")
        yield Items([_bound(item) for item in data["on_bounds"]])
    yield Heading("Nearest changes, the tightest first")
    lines = list(_together(data["flips"]))
    telling = list(_together([flip for flip in data["flips"] if _telling(flip)]))
    listed = lines if full else telling[:SHOWN]
    yield Grid(["input", "is", "changes", "", "outcome", "becomes"], listed)
    if len(lines) > len(listed):
        yield Paragraph(f"{len(lines) - len(listed)} further changes are not listed; --full lists them.")
    steady = [
        f"{item['input']}: {', '.join(item['steady'])} (tried {_range(item)})"
        for item in data["inputs"]
        if item.get("steady")
    ]
    if steady:
        yield Heading("No change within the range tried")
        yield Items(steady if full else [text.split(":")[0] + text[text.rindex(" (") :] for text in steady])
    if data["without_effect"]:
        yield Heading("Read by no choice and no check")
        yield Items([", ".join(data["without_effect"])])


def _telling(flip: Data) -> bool:
    """Whether a flip is worth a line: a choice, or a check that comes to fail or no longer does."""
    return flip["kind"] == "choice" or "fails" in (flip["is"]["what"], flip["becomes"]["what"])


def _together(flips: list[Data]) -> Iterator[list[str]]:
    """A line per input, bound and change; outcomes that change alike share it."""
    lines: dict[tuple[str, ...], list[str]] = {}
    for flip in flips:
        bound = (
            f"exactly {_quantity(flip['bound'])}"
            if flip["only_there"]
            else (f"{SIGNS[flip['direction'], flip['included']]} {_quantity(flip['bound'])}")
        )
        key = (
            flip["input"],
            _quantity(flip["value"]),
            bound,
            _away(flip),
            f"{outcome(flip['is'])} → {outcome(flip['becomes'])}",
        )
        lines.setdefault(key, []).append(flip["outcome"])
    for (name, value, bound, away, change), outcomes in lines.items():
        yield [name, value, bound, away, ", ".join(outcomes), change]


def outcome(told: Data) -> str:
    """An outcome in words."""
    if told["what"] != "chosen":
        return str(told["what"])
    return shown(told["value"], told["unit"])


def _away(flip: Data) -> str:
    """How far away a change lies: percent, or the plain distance where percent means nothing."""
    if flip["percent"] is not None:
        return f"{flip['percent']:+.2g} %" if abs(flip["percent"]) < 10 else f"{flip['percent']:+.0f} %"
    return f"{flip['change']:+.4g}"


def _quantity(told: Data) -> str:
    return shown(told["value"], told["unit"])


def _range(item: Data) -> str:
    least, most = item["searched"]["least"], item["searched"]["most"]
    return f"{shown(least, item['value']['unit'])} to {shown(most, item['value']['unit'])}"


def _bound(item: Data) -> str:
    where = f"{item['value_of']}: "
    if item["kind"] == "check":
        return f"{where}exactly at its limit of {_quantity(item['bound'])}; it {item['at']}"
    sides = ", ".join(
        f"{word} it {_cell(item[key], item['unit'])}"
        for word, key in (("just below", "below"), ("just above", "above"))
    )
    return (
        f"{where}{item['key']} is {_quantity(item['bound'])}, a bound of {item['entry'].partition(':')[2]}: "
        f"{_cell(item['at'], item['unit'])} there, {sides}"
    )


def _cell(value: Any, unit: str | None) -> str:
    return "not permitted" if value is None else shown(value, unit)
