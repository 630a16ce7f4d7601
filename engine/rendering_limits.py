"""What would flip the outcomes of a design, as a page for people."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from .blocks import Block, Grid, Heading, Items, Paragraph
from .shown import VERDICTS, relation, share, shown

Data = dict[str, Any]

SIGNS = {
    ("above", True): "at or above",
    ("above", False): "above",
    ("below", True): "at or below",
    ("below", False): "below",
}
MARKS = {"reach": "*", "effort": "**"}
NOTES = {
    "reach": "* The field states no bound; beyond this nothing was searched.",
    "effort": "** So many changes lie on the way that the search was given up here.",
}
TIGHTEST = 10
"""How many margins are listed unless all are asked for."""

SHOWN = 30
"""How many flips are listed unless all are asked for."""


def limits_page(data: Data, full: bool = False) -> list[Block]:
    """The limits from top to bottom; `full` lists every flip, not only the tightest."""
    return list(_page(data, full))


def _page(data: Data, full: bool) -> Iterator[Block]:
    yield Heading(f"{data['project']['title']}: what would flip it", 1)
    stack = ", ".join(f"{layer['id']} {layer['version']}" for layer in data["ruleset"]["stack"])
    moved = "One numeric input is moved at a time; words, links and yes or no stay as they are."
    yield Paragraph(f"{VERDICTS[data['passes']]} under {stack}. {moved}")
    if data["on_bounds"]:
        yield Heading("Right on a bound")
        yield Items([_bound(item) for item in data["on_bounds"]])
    yield from _margins(data["margins"], full)
    yield Heading("Nearest changes, the tightest first")
    lines = list(_together(data["flips"]))
    telling = list(_together([flip for flip in data["flips"] if _telling(flip)]))
    listed = lines if full else telling[:SHOWN]
    yield Grid(["input", "is", "changes", "distance", "outcome", "becomes"], listed)
    if len(lines) > len(listed):
        yield Paragraph(f"{len(lines) - len(listed)} further changes are not listed; --full lists them.")
    yield from _steady(data["inputs"], full)
    if data["without_effect"]:
        yield Heading("Read by no choice and no check, as the design stands")
        yield Items([", ".join(data["without_effect"])])
    if data["unstated"]:
        yield Heading("Asked for, but not stated, so not moved")
        yield Items(
            [", ".join(data["unstated"])] if full else [f"{len(data['unstated'])} fields; --full lists them"]
        )


def _margins(margins: list[Data], full: bool) -> Iterator[Block]:
    """How much room the checks leave, the tightest first."""
    if not margins:
        return
    yield Heading("Margins, the tightest first")
    listed = margins if full else margins[:TIGHTEST]
    rows = [
        [
            f"{item['thing']}.{item['check']}",
            _quantity(item["actual"]),
            relation(item["sign"], _quantity(item["limit"])),
            share(item["margin"]),
        ]
        for item in listed
    ]
    yield Grid(["check", "actual", "limit", "margin"], rows)
    if len(margins) > len(listed):
        yield Paragraph(f"{len(margins) - len(listed)} checks leave more; --full lists them.")


def _steady(inputs: list[Data], full: bool) -> Iterator[Block]:
    """What did not change over the stretch that was searched, and where that stretch ends."""
    idle = [item for item in inputs if item["leaning"] and item["steady"] == item["leaning"]]
    partly = [item for item in inputs if full and item["leaning"] and item not in idle and item["steady"]]
    if idle:
        yield Heading("No change over all that was searched")
        yield Items([f"{item['input']}, {_range(item)}" for item in idle])
    if partly:
        yield Heading("What the other inputs leave as it is")
        yield Items([f"{item['input']}, {_range(item)}: {', '.join(item['steady'])}" for item in partly])
    marked = {end for item in [*idle, *partly] for end in item["ended_by"].values()}
    notes = [text for end, text in NOTES.items() if end in marked]
    if notes:
        yield Paragraph("\n".join(notes))


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
    """The stretch that was searched; an end that the field does not state is marked."""
    if "values" in item:
        return f"tried {', '.join(shown(value, item['value']['unit']) for value in item['values'])}"
    ends = [
        shown(item["searched"][word], item["value"]["unit"]) + MARKS.get(item["ended_by"][word], "")
        for word in ("least", "most")
    ]
    return f"{ends[0]} to {ends[1]}"


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
