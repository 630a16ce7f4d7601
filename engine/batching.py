"""A batch: one project as template, a table of cases, one or many stacks of rulesets; outcomes for every row.

`size_rows` maps rows to rows and shares nothing: `Job` is plain data, so that a part of a table can be worked
on by any process that has the project, the rulesets and this package.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

from .diagnostics import GaugebookError, Problems
from .outcomes import BadRow, Outcome, share_text
from .session import Offer, choose_rulesets, open_book, read_project, settle_readings, stated_readings
from .varying import Template

ERROR = "error"
"""The last column: what is wrong with a row, empty where nothing is."""

PASSES, GOVERNING, MARGIN = "passes", "governing", "margin"
VERDICTS = {True: "yes", False: "no", None: "undetermined"}
THE_ROW = ""
"""In place of a column where the whole row is at fault."""


class Job(NamedTuple):
    """Everything a batch is made of, except its rows.

    `stacks` are the rulesets of each outcome, bottom first; an empty stack means those of the project itself.
    `special` asks for a program of its own for each stack, which takes a second or two to make and is several
    times faster for each row; `columns` for one that works on many rows at once, where numpy is installed.
    """

    project: str
    header: tuple[str, ...]
    stacks: tuple[tuple[str, ...], ...] = ((),)
    layout: str | None = None
    readings: tuple[tuple[str, str], ...] = ()
    folders: tuple[str, ...] = ()
    date: str | None = None
    special: bool = False
    columns: bool = True
    jurisdiction: str | None = None


class Fault(NamedTuple):
    """What is wrong with one row of a part: its number within the part from 0, the column, the reason."""

    row: int
    column: str
    reason: str


class Made(NamedTuple):
    """The rows a part became, what was wrong with some, how many passed, failed, stayed open or were bad."""

    rows: list[list[str]]
    faults: list[Fault]
    counts: tuple[int, int, int, int]


class Batch:
    """A job ready for rows. Raises `Refused` with everything wrong with project, rulesets or header."""

    def __init__(self, job: Job) -> None:
        self.job = job
        problems = Problems()
        source = read_project(job.project, job.layout, problems)
        opened = []
        for stack in job.stacks:
            chosen = choose_rulesets(source, stack or None, problems, job.jurisdiction, job.date, job.folders)
            asked = chosen.adoption.asked if chosen.adoption is not None else frozenset()
            for header in job.header:
                if header.partition("[")[0].strip() in asked:
                    problems.add("case-column-decides", name=header)
            problems.refuse_if_any()
            opened.append(open_book(*chosen.ids, folders=job.folders, moment=chosen.moment))
        rulebooks = [book.rulebook for book in opened]
        offers = [*stated_readings(source, problems), *(Offer(*pair, "call") for pair in job.readings)]
        known = {name for rulebook in rulebooks for name in rulebook.frozen["readings"]}
        self.templates: list[Template] = []
        for rulebook in rulebooks:
            own = [o for o in offers if o.reading in rulebook.frozen["readings"] or o.reading not in known]
            settled = settle_readings(own, rulebook, problems)
            problems.refuse_if_any()
            self.templates.append(Template(source, rulebook, settled, job.header))
        self.columns = self._columns()
        self.lacking: list[tuple[str, str]] = []
        """The stacks for which something could not be made, with the name of what they lack."""
        for book, template in zip(opened, self.templates, strict=True):
            lacks = template.specialise(book.checked, job.columns) if job.special else None
            if lacks is not None:
                self.lacking.append((" + ".join(book.stack), lacks))
        self.labels = [
            header
            for header, field in zip(job.header, self.templates[0].fields, strict=True)
            if field is None
        ]

    @property
    def identity(self) -> list[str]:
        """What the outcomes depend on, apart from the rows: project and books."""
        return [
            self.templates[0].source.digest,
            *(str(template.rulebook.frozen["digest"]) for template in self.templates),
        ]

    def _columns(self) -> list[str]:
        """The header of the outcome."""
        made = list(self.job.header)
        for stack, template in zip(self.job.stacks, self.templates, strict=True):
            after = f" @ {'+'.join(stack)}" if len(self.job.stacks) > 1 else ""
            names = [f"{name} chosen" if name in made else name for name in template.names]
            made += [name + after for name in (PASSES, GOVERNING, MARGIN, *names)]
        made.append(ERROR)
        problems = Problems()
        for name, times in Counter(made).items():
            if times > 1:
                problems.add("case-column-twice", name=name)
        problems.refuse_if_any()
        return made

    def size(self, rows: Sequence[Sequence[str]]) -> Made:
        """The outcome of every row, in order; one that cannot be used comes through with its reason."""
        width = len(self.job.header)
        fitting = [cells for cells in rows if len(cells) == width]
        found = [template.outcomes(fitting) for template in self.templates]
        made: list[list[str]] = []
        faults: list[Fault] = []
        counts = [0, 0, 0, 0]
        for number, cells in enumerate(rows):
            if len(cells) == width:
                row, passes, wrong = self._row(cells, [next(outcomes) for outcomes in found])
            else:
                row, passes, wrong = self._misfit(cells)
            made.append(row)
            faults += [Fault(number, column, reason) for column, reason in wrong]
            counts[3 if wrong else 0 if passes else 2 if passes is None else 1] += 1
        return Made(made, faults, (counts[0], counts[1], counts[2], counts[3]))

    def _row(
        self, cells: Sequence[str], outcomes: Sequence[Outcome | BadRow | GaugebookError]
    ) -> tuple[list[str], bool | None, list[tuple[str, str]]]:
        """One row: its cells, whether it passes under every stack, and what is wrong with it."""
        wrong: list[tuple[str, str]] = []
        passes: set[bool | None] = set()
        row = list(cells)
        for template, outcome in zip(self.templates, outcomes, strict=True):
            if isinstance(outcome, Outcome):
                passes.add(outcome.passes)
                share = "" if outcome.margin is None else share_text(outcome.margin)
                row += [VERDICTS[outcome.passes], outcome.governing or "", share]
                row += [choice or "" for choice in outcome.choices]
                continue
            row += [""] * (len(template.names) + 3)
            if isinstance(outcome, BadRow):
                wrong += outcome.faults
            else:
                wrong += [(THE_ROW, diagnostic.message) for diagnostic in outcome.diagnostics]
        wrong = list(dict.fromkeys(wrong))
        row.append("; ".join(f"{column}: {reason}" if column else reason for column, reason in wrong))
        return row, False if False in passes else None if None in passes else True, wrong

    def _misfit(self, cells: Sequence[str]) -> tuple[list[str], None, list[tuple[str, str]]]:
        """A row with too few cells or too many, which come with the reason."""
        width = len(self.job.header)
        error = GaugebookError.because("case-cells", found=len(cells), expected=width)
        said = error.diagnostics[0].message
        beyond = f" ({', '.join(cells[width:])})" if len(cells) > width else ""
        empty = [""] * (len(self.columns) - width - 1)
        kept = [*cells[:width], *[""] * (width - len(cells))]
        return [*kept, *empty, said + beyond], None, [(THE_ROW, said)]


@lru_cache(maxsize=4)
def open_batch(job: Job) -> Batch:
    """The batch of a job, opened once in a process, with project and rulesets as they then were."""
    return Batch(job)


def size_rows(job: Job, rows: Sequence[Sequence[str]]) -> Made:
    """The outcome of some rows of a job; maps a part of a table to a part of the outcome, sharing nothing."""
    return open_batch(job).size(rows)
