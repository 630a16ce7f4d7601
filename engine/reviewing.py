"""A stated size judged: what the choice would have come to, had the project left it open."""

from __future__ import annotations

from typing import Any

from .diagnostics import Problems
from .evaluating import Run, Thing
from .project import Source, fill_run
from .runtime import Absent


def unstated(run: Run, source: Source, thing: Thing, name: str) -> Any:
    """What the rules would choose for an attribute that the project states, or the `Absent` in its place.

    `run` is left as it is; everything else the project states stays stated.
    """
    fresh = Run(run.rulebook, run.settled)
    fill_run(fresh, source, Problems())
    other = fresh.things[thing.path]
    other.stated.discard(name)
    other.memo.pop(name, None)
    with fresh.exactly():
        try:
            return other.get(name)
        except Absent as absent:
            return absent
