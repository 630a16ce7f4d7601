"""What would flip it: for every choice and check the nearest change of each numeric input that changes it.

Only the inputs an outcome really read are moved, one at a time, from where they stand outward to the bounds
of their field, or far out where it has none; `searching` says how a change is found and to what resolution.
What ended each search is told, so that nothing is called steady beyond it.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from . import __version__
from .on_bounds import on_bounds
from .results import plain
from .runtime import EXACT
from .searching import RESOLUTION
from .studying import Data, Flip, Input, Outcome, Study, quantity

FORMAT = "limits/1"

FIELD, REACH, EFFORT = "field", "reach", "effort"
"""What ended a search: the bound of the field, the reach of the search, or the effort spent on it."""

SHARE_OF_POINTS = 100
"""A point on a scale has no percentages; its distances are ranked as shares of so many units."""


def limits_of(study: Study, result: Data, inputs: Iterable[str] | None = None) -> Data:
    """The limits as JSON data (see `rulesets/schema/limits.json`).

    `result` is the result of the same design as data; `inputs` restricts which inputs are moved, by label.
    """
    wanted = None if inputs is None else set(inputs)
    flips: list[Data] = []
    moved: list[Data] = []
    for given in study.inputs:
        if wanted is None or given.label in wanted:
            made, found = _along(study, given)
            moved.append(made)
            flips += found
    flips.sort(key=lambda flip: flip["tightness"])
    return {
        "format": FORMAT,
        "gaugebook": __version__,
        "passes": result["passes"],
        "layout": result["layout"],
        "project": result["project"],
        "ruleset": {key: result["ruleset"][key] for key in ("digest", "stack")},
        "resolution": float(RESOLUTION),
        "outcomes": [
            {
                "name": outcome.label,
                "kind": outcome.kind,
                "outcome": _told(study, outcome, study.now[outcome]),
            }
            for outcome in study.outcomes
        ],
        "margins": _margins(result),
        "flips": flips,
        "inputs": moved,
        "without_effect": [made["input"] for made in moved if not made["leaning"]],
        "unstated": study.unstated() if wanted is None else [],
        "on_bounds": list(on_bounds(study)),
    }


def _margins(result: Data) -> list[Data]:
    """The checks that have a margin, the tightest first."""
    keys = ("thing", "check", "passes", "actual", "sign", "limit", "margin")
    told = [{key: check[key] for key in keys} for check in result["checks"] if check["margin"] is not None]
    return sorted(told, key=lambda check: float(check["margin"]))


def _along(study: Study, given: Input) -> tuple[Data, list[Data]]:
    """What moving one input does."""
    leaning = study.leaning(given.read)
    outcomes = [outcome for outcome in study.outcomes if outcome in leaning]
    made: Data = {
        "input": given.label,
        "value": quantity(given.value, given.unit),
        "leaning": [o.label for o in outcomes],
    }
    if not outcomes:
        return made, []
    told: list[Data] = []
    searched, ended = {}, {}
    sides = (("below", "least"), ("above", "most"))
    for (direction, word), end in zip(sides, study.range(given), strict=True):
        flips, reached = study.flips(given, outcomes, end.value)
        searched[word] = plain(reached, given.unit)
        cut = reached != end.value and len(flips) < len(outcomes) and not study.listed(given, outcomes)
        ended[word] = EFFORT if cut else FIELD if end.stated else REACH
        told += [_flip(study, given, direction, flip) for flip in flips]
    made["searched"], made["ended_by"] = searched, ended
    listed = study.listed(given, outcomes)
    if listed:
        made["values"] = [plain(value, given.unit) for value in listed]
    flipped = {flip["outcome"] for flip in told}
    made["steady"] = [outcome.label for outcome in outcomes if outcome.label not in flipped]
    return made, told


def _flip(study: Study, given: Input, direction: str, flip: Flip) -> Data:
    """A flip as data: `included` says that the bound itself already changes the outcome, `only_there` that
    nothing but the bound does."""
    outcome = flip.outcome
    now = study.now[outcome]
    return {
        "outcome": outcome.label,
        "kind": outcome.kind,
        "input": given.label,
        "value": quantity(given.value, given.unit),
        "direction": direction,
        "bound": quantity(flip.bound, given.unit),
        "included": flip.at != now,
        "only_there": flip.beyond == now,
        **_distance(given, flip.bound),
        "is": _told(study, outcome, now),
        "becomes": _told(study, outcome, flip.beyond if flip.beyond != now else flip.at),
    }


def _distance(given: Input, bound: Decimal) -> Data:
    """How far away a bound lies, in the unit of the input and in percent of its value."""
    now, there = (given.unit.from_base(value) for value in (given.value, bound))
    change = there - now
    percent = None if given.unit.kind.point or not now else float(EXACT.divide(change * 100, abs(now)))
    tightness = abs(percent) / 100 if percent is not None else float(abs(change)) / SHARE_OF_POINTS
    return {"change": float(change), "percent": percent, "tightness": tightness}


def _told(study: Study, outcome: Outcome, result: tuple[str, Any]) -> Data:
    """An outcome as data: `what` with the value of a choice."""
    what, value = result
    if what != "chosen":
        return {"what": what}
    attribute = study.book.attributes[study.run.things[outcome.thing].kind][outcome.name]
    return {"what": what, **quantity(value, attribute.unit)}
