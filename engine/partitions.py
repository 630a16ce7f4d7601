"""A batch over partitions: a data frame of cases to a data frame of outcomes, sharing nothing with any other."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from .batching import Job, open_batch, size_rows
from .case_files import cell_text
from .diagnostics import GaugebookError

if TYPE_CHECKING:
    from collections.abc import Sequence


def batch_job(project: str, header: Sequence[str], *rulesets: str, folders: Sequence[str] = ()) -> Job:
    """The job of a batch, as plain data that any process can be handed.

    `header` names the columns of the cases, `rulesets` the stacks (ids joined with `+`); those of the project
    when there are none.
    """
    stacks = tuple(tuple(stack.split("+")) for stack in rulesets) or ((),)
    return Job(str(project), tuple(header), stacks, folders=tuple(map(str, folders)), special=True)


def size_frame(frame: Any, job: Job) -> Any:
    """The outcomes of a data frame of cases, under its own index; every cell is text, as in a batch's CSV.

    For an engine that maps partitions: `cases.map_partitions(gaugebook.size_frame, job)`. Raises `Refused`
    when project, rulesets or columns are wrong; a bad row comes through with its reason in `error`.
    """
    job = Job(*job)  # an engine may have taken it apart on the way
    if tuple(frame.columns) != job.header:
        found, expected = ", ".join(map(str, frame.columns)), ", ".join(job.header)
        raise GaugebookError.because("frame-columns", found=found, expected=expected)
    cells = [
        [
            "" if nothing else cell_text(cell)
            for cell, nothing in zip(frame[name], frame[name].isna(), strict=True)
        ]
        for name in frame.columns
    ]
    made = size_rows(job, list(map(list, zip(*cells, strict=True))))
    return type(frame)(made.rows, columns=open_batch(job).columns, index=frame.index)
