"""Runs a batch from file to file: in blocks, on one or several processes, telling how far it is."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from itertools import islice
from pathlib import Path
from typing import NamedTuple

from .batching import Batch, Fault, Job, Made, size_rows
from .case_files import CaseTable, Outcomes
from .diagnostics import Diagnostic, GaugebookError, Span, diagnose
from .progress import Bar
from .varying import COLUMNS, NUMPY, PROGRAM

BLOCK, COLUMN_BLOCK = 128, 32768
"""Rows worked on at a time, one by one and as columns: what may have to be done again after a kill."""

MOST_CELLS = 1 << 24
"""What a block of columns holds: the more values a project has, the fewer rows it takes."""

FEW = 1500
"""Up to so many rows a program of its own does not pay."""

LACKING = {PROGRAM: "batch-row-by-row", COLUMNS: "batch-without-columns", NUMPY: "batch-without-numpy"}
"""What is told where a stack cannot be made faster."""

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
    for stack, lacks in batch.lacking:
        tell(diagnose(LACKING[lacks], stack=stack))
    if batch.labels:
        tell(diagnose("case-labels", names=", ".join(batch.labels)))
    identity = [repr(job._replace(special=False, columns=False)), cases.digest, *batch.identity]
    told = Faults(cases.path, tell)
    with Outcomes(output, batch.columns, identity) as outcomes:
        if outcomes.done:
            tell(diagnose("batch-goes-on", path=outcomes.part, rows=outcomes.done))
        elif outcomes.anew:
            tell(diagnose("batch-starts-anew", path=outcomes.part))
        size = _block(max(template.columns for template in batch.templates))
        bar = Bar(cases.lines - 1, outcomes.done)
        try:
            for made in _made(job, batch, _blocks(cases.rows(outcomes.done), size), workers):
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


def _block(columns: int) -> int:
    """The rows of a block with so many columns."""
    return max(BLOCK, min(COLUMN_BLOCK, MOST_CELLS // columns)) if columns else BLOCK


def _blocks(rows: Iterator[list[str]], size: int) -> Iterator[list[list[str]]]:
    while block := list(islice(rows, size)):
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
