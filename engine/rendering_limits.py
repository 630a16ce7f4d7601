"""What would flip the outcomes of a design, as a page for people."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from .blocks import TIE, Block, Grid, Heading, Items, Paragraph
from .shown import VERDICTS, attributes_of, relation, share, shown, together

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
OUTCOMES = {"none": "none passes"}
"""Outcomes that are said in other words than their names."""
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
        yield Items([f"{attributes_of(names)}: {said}" for said, names in _bounds(data["on_bounds"]).items()])
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
        yield Items([attributes_of(data["without_effect"])])
    if data["unstated"]:
        yield Heading("Asked for, but not stated, so not moved")
        yield Items(
            [attributes_of(data["unstated"])]
            if full
            else [f"{len(data['unstated'])} fields; --full lists them"]
        )


def _margins(margins: list[Data], full: bool) -> Iterator[Block]:
    """How much room the checks leave, the tightest first."""
    if not margins:
        return
    yield Heading("Margins, the tightest first")
    alike: dict[tuple[str, ...], list[str]] = {}
    for item in margins:
        limit = relation(item["sign"], _quantity(item["limit"]))
        key = (item["check"], _quantity(item["actual"]), limit, share(item["margin"]))
        alike.setdefault(key, []).append(item["thing"])
    listed = list(alike.items())[: None if full else TIGHTEST]
    rows = [[f"{check} of {together(things)}", *figures] for (check, *figures), things in listed]
    yield Grid(["check", "actual", "limit", "margin"], rows)
    left = len(margins) - sum(len(things) for _, things in listed)
    if left:
        yield Paragraph(f"{left} checks leave more; --full lists them.")


def _steady(inputs: list[Data], full: bool) -> Iterator[Block]:
    """What did not change over the stretch that was searched, and where that stretch ends."""
    idle = [item for item in inputs if item["leaning"] and item["steady"] == item["leaning"]]
    partly = [item for item in inputs if full and item["leaning"] and item not in idle and item["steady"]]
    if idle:
        yield Heading("No change over all that was searched")
        alike: dict[str, list[str]] = {}
        for item in idle:
            alike.setdefault(_range(item), []).append(item["input"])
        yield Items([f"{attributes_of(names)}, {stretch}" for stretch, names in alike.items()])
    if partly:
        yield Heading("What the other inputs leave as it is")
        yield Items(
            [
                f"{attributes_of([item['input']])}, {_range(item)}: {attributes_of(item['steady'])}"
                for item in partly
            ]
        )
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
        yield [attributes_of([name]), value, bound, away, attributes_of(outcomes), change]


def outcome(told: Data) -> str:
    """An outcome in words."""
    if told["what"] != "chosen":
        return OUTCOMES.get(told["what"], str(told["what"]))
    return "none needed" if told["value"] is None else shown(told["value"], told["unit"])


def _away(flip: Data) -> str:
    """How far away a change lies: percent, or the plain distance where percent means nothing."""
    if flip["percent"] is not None:
        return f"{flip['percent']:+.{'2g' if abs(flip['percent']) < 10 else '0f'}}{TIE}%"
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


def _bounds(items: list[Data]) -> dict[str, list[str]]:
    """What is said of values that lie right on a bound, with the values of which it is."""
    found: dict[str, list[str]] = {}
    for item in items:
        found.setdefault(_bound(item), []).append(item["value_of"])
    return found


def _bound(item: Data) -> str:
    if item["kind"] == "check":
        return f"exactly at its limit of {_quantity(item['bound'])}; it {item['at']}"
    sides = ", ".join(
        f"{word} it {_cell(item[key], item['unit'])}"
        for word, key in (("just below", "below"), ("just above", "above"))
    )
    return (
        f"{item['key']} is {_quantity(item['bound'])}, a bound of {item['entry'].partition(':')[2]}: "
        f"{_cell(item['at'], item['unit'])} there, {sides}"
    )


def _cell(value: Any, unit: str | None) -> str:
    return "not permitted" if value is None else shown(value, unit)
