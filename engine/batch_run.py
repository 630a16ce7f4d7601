"""Runs a batch from file to file: in blocks, on one or several processes, telling how far it is."""

from __future__ import annotations

import os
import sys
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from itertools import islice
from pathlib import Path
from typing import NamedTuple

from .batching import Batch, Fault, Job, Made, size_rows
from .case_files import CaseTable, Outcomes
from .diagnostics import Diagnostic, GaugebookError, Span, diagnose

BLOCK = 128
"""Rows worked on at a time: what may have to be done again after a kill."""

FEW = 1500
"""Up to so many rows a program of its own does not pay."""

MOST_FAULTS = 20
"""Bad rows told one by one; the others are counted."""

Tell = Callable[[Diagnostic], None]


class Summary(NamedTuple):
    """How the rows came out."""

    rows: int
    passing: int
    failing: int
    undetermined: int
    bad: int


def run_batch(job: Job, cases: CaseTable, output: Path, tell: Tell, workers: int = 1) -> Summary:
    """Work through a table of cases; `tell` gets what the user should know on the way.

    Raises `GaugebookError` before anything is written when project, rulesets or header are wrong. A run that
    was stopped goes on where it was.
    """
    if output.exists() and output.samefile(cases.path):
        raise GaugebookError.because("output-is-input", path=cases.path)
    job = job._replace(special=cases.lines > FEW)
    batch = Batch(job)
    for stack in batch.row_by_row:
        tell(diagnose("batch-row-by-row", stack=stack))
    if batch.labels:
        tell(diagnose("case-labels", names=", ".join(batch.labels)))
    identity = [repr(job), cases.digest, *batch.identity]
    told = Faults(cases.path, tell)
    with Outcomes(output, batch.columns, identity) as outcomes:
        if outcomes.done:
            tell(diagnose("batch-goes-on", path=outcomes.part, rows=outcomes.done))
        elif outcomes.anew:
            tell(diagnose("batch-starts-anew", path=outcomes.part))
        bar = Bar(cases.lines - 1, outcomes.done)
        try:
            for made in _made(job, batch, _blocks(cases.rows(outcomes.done)), workers):
                told.take(made.faults, outcomes.done)
                outcomes.add(made.rows, made.counts)
                bar.show(outcomes.done)
        except KeyboardInterrupt:
            tell(diagnose("batch-stopped", rows=outcomes.done))
            raise
        finally:
            bar.clear()
        outcomes.finish()
    told.end()
    return Summary(outcomes.done, *outcomes.counts)


def _blocks(rows: Iterator[list[str]]) -> Iterator[list[list[str]]]:
    while block := list(islice(rows, BLOCK)):
        yield block


def _made(job: Job, batch: Batch, blocks: Iterator[list[list[str]]], workers: int) -> Iterator[Made]:
    """The blocks worked on, in their order; never more than a few are held at once."""
    if workers <= 1:
        yield from map(batch.size, blocks)
        return
    from concurrent.futures import Future, ProcessPoolExecutor

    with ProcessPoolExecutor(workers) as pool:
        waiting: deque[Future[Made]] = deque()
        try:
            for block in blocks:
                waiting.append(pool.submit(size_rows, job, block))
                if len(waiting) > 2 * workers:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


class Faults:
    """Tells of bad rows with row and column, and counts those beyond the first few."""

    def __init__(self, path: Path, tell: Tell) -> None:
        self.path, self.tell = path, tell
        self.rows = 0

    def take(self, faults: Sequence[Fault], before: int) -> None:
        """The faults of a block that begins after `before` rows."""
        last = None
        for fault in faults:
            if fault.row != last:
                self.rows += 1
                last = fault.row
            if self.rows <= MOST_FAULTS:
                row = before + fault.row + 1
                span = Span(str(self.path), row + 1, 1, row + 1, 1)
                name = "bad-case" if fault.column else "bad-row"
                self.tell(diagnose(name, span, row=row, column=fault.column, reason=fault.reason))

    def end(self) -> None:
        """What was not told one by one."""
        if self.rows > MOST_FAULTS:
            self.tell(diagnose("bad-cases-more", count=self.rows - MOST_FAULTS))


class Bar:
    """How far a batch is, on a terminal only; `total` is an estimate."""

    WIDTH = 30

    def __init__(self, total: int, done: int) -> None:
        self.total, self.start = max(total, 1), done
        self.begun = self.last = time.monotonic()
        self.on = sys.stderr is not None and sys.stderr.isatty() and os.environ.get("TERM") != "dumb"

    def show(self, done: int) -> None:
        """Redraw, at most ten times a second."""
        now = time.monotonic()
        if not self.on or now - self.last < 0.1:
            return
        self.last = now
        share = min(1.0, done / self.total)
        rate = (done - self.start) / (now - self.begun)
        bar = ("█" * round(share * self.WIDTH)).ljust(self.WIDTH, "░")
        sys.stderr.write(f"\r{bar} {share:4.0%}  {done:,} rows, {rate:,.0f} a second ")
        sys.stderr.flush()

    def clear(self) -> None:
        """Take it away."""
        if self.on:
            sys.stderr.write("\r\033[K")
            sys.stderr.flush()
