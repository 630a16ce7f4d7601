"""A circuit schedule as a project, and a table of designs: from CSV, or from a spreadsheet (.xlsx).

A sheet of a workbook, or a part of a CSV file that begins with a row such as `[circuits]`, is one section
of the project; a file that names no section is a schedule of circuits. `project` and `site` are two
columns, field and value. Every other section has a header row: its first column names what the row is
about, every other header is a field with its unit in brackets (`terminal_rating [degC]`,
`conductor.material`). Several values in one cell are parted by semicolons. The section `runs` names, in
its first column, the circuit each run belongs to. Whatever is wrong is told with row and column, counted
from 1.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any, NamedTuple

from gaugebook import (
    CaseReader,
    GaugebookError,
    ImportedProject,
    Problems,
    ProjectReader,
    Span,
    hint,
    hookimpl,
    read_content,
)

PROJECT, SITE, CIRCUITS = "project", "site", "circuits"
PAIRS = (PROJECT, SITE)
"""Sections that are two columns, field and value."""
WITHIN = {"runs": CIRCUITS}
"""Sections whose rows are a list within a thing of another section."""

Place = tuple[str | int, ...]

MOST_CELLS = 400_000
"""Cells of a spreadsheet: as many as a YAML file has values."""

_SECTION = re.compile(r"\w[\w -]*")
_NUMBER = re.compile(r"[-+]?(\d+(\.\d*)?|\.\d+)")


@hookimpl
def provide_project_readers() -> list[ProjectReader]:
    """Projects from a circuit schedule."""
    workbook = "a circuit schedule as a spreadsheet (extra: spreadsheet)"
    return [
        ProjectReader("schedule", (".csv",), read_csv, "a circuit schedule as CSV"),
        ProjectReader("workbook", (".xlsx",), read_workbook, workbook),
    ]


@hookimpl
def provide_case_readers() -> list[CaseReader]:
    """Tables of designs from the first sheet of a spreadsheet."""
    about = "the first sheet of a spreadsheet (extra: spreadsheet)"
    return [CaseReader("workbook", (".xlsx",), read_cases, about)]


class Row(NamedTuple):
    """One row of texts and where it stands."""

    file: str
    number: int
    cells: list[str]

    def span(self, column: int) -> Span:
        """A cell, counted from 0, as row and column counted from 1."""
        return Span(self.file, self.number, column + 1, self.number, column + 2)


def read_csv(path: Path, problems: Problems) -> ImportedProject | None:
    """Read a schedule from CSV, with commas or tabs."""
    content = read_content(path, problems)
    if content is None:
        return None
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        problems.add("file-unreadable", Span(str(path), 1, 1, 1, 1), reason=error)
        return None
    delimiter = "\t" if "\t" in text.partition("\n")[0] else ","
    rows = []
    table = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    line = 1
    try:
        for cells in table:
            rows.append(Row(str(path), line, [cell.strip() for cell in cells]))
            line = table.line_num + 1
    except csv.Error as error:
        problems.add("sheet-unreadable", Span(str(path), line, 1, line, 1), what="table", reason=error)
        return None
    schedule = Schedule(str(path), problems)
    schedule.read(rows, None)
    return schedule.finished(text)


def read_workbook(path: Path, problems: Problems) -> ImportedProject | None:
    """Read a schedule from a spreadsheet: every sheet with something in it is a section."""
    schedule = Schedule(str(path), problems)
    texts = []
    for name, rows in _sheets(path, problems):
        texts += [f"[{name}]", *("\t".join(row.cells) for row in rows)]
        schedule.read(rows, name)
    return schedule.finished("\n".join(texts)) if texts else None


def read_cases(path: Path, problems: Problems) -> Iterable[Sequence[str]]:
    """The rows of the first sheet, the header first."""
    for _, rows in _sheets(path, problems):
        width = max(len(row.cells) for row in rows)
        return [[*row.cells, *[""] * (width - len(row.cells))] for row in rows if any(row.cells)]
    return []


def _sheets(path: Path, problems: Problems) -> list[tuple[str, list[Row]]]:
    """The sheets that hold something, each with its rows as texts."""
    try:
        import openpyxl
    except ImportError:
        raise GaugebookError.because(
            "extra-missing", what="a spreadsheet", package="openpyxl", extra="spreadsheet"
        ) from None
    content = read_content(path, problems)
    if content is None:
        return []
    found = []
    try:
        values, formulas = (
            openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=only)
            for only in (True, False)
        )
        left = MOST_CELLS
        for sheet, beside in zip(values.worksheets, formulas.worksheets, strict=True):
            rows = []
            for row, missing in _rows(sheet, beside, f"{path}[{sheet.title}]"):
                left -= max(1, len(row.cells))
                if left < 0:
                    problems.add("too-many-values", row.span(0), limit=MOST_CELLS)
                    return []
                for column in missing:
                    problems.add("sheet-formula", row.span(column))
                rows.append(row)
            if any(any(row.cells) for row in rows):
                found.append((sheet.title, rows))
    except Exception as error:
        problems.add("sheet-unreadable", Span(str(path), 1, 1, 1, 1), what="spreadsheet", reason=error)
        return []
    return found


def _rows(values: Any, formulas: Any, name: str) -> Iterator[tuple[Row, list[int]]]:
    """The rows of a sheet, each with the columns of formulas whose result the file does not hold."""
    for sheet in (values, formulas):
        sheet.reset_dimensions()  # what a file says of its size need not be so
    sheets = zip(values.iter_rows(values_only=True), formulas.iter_rows(values_only=True), strict=True)
    for number, (cells, beside) in enumerate(sheets, 1):
        missing = [column for column, cell in enumerate(cells) if cell is None and beside[column] is not None]
        yield Row(name, number, [_text(cell) for cell in cells]), missing


def _text(value: object) -> str:
    """The content of a spreadsheet's cell as somebody would type it."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        text = f"{Decimal(repr(value)):f}"
        return text.rstrip("0").rstrip(".") if "." in text else text
    if isinstance(value, datetime):
        return value.date().isoformat()
    return value.isoformat() if isinstance(value, date) else str(value).strip()


def _name(text: str) -> str:
    """The name of a section or a field: small letters, words joined by underscores."""
    return "_".join(text.strip().lower().split())


class Schedule:
    """Puts rows into a project, section by section, and remembers where each value stood."""

    def __init__(self, file: str, problems: Problems) -> None:
        self.problems = problems
        self.data: dict[str, Any] = {"gaugebook": "project/1"}
        self.places: dict[Place, Span] = {(): Span(file, 1, 1, 1, 2)}
        self.keys: dict[Place, Span] = {}
        self.lists: list[tuple[str, Row, dict[str, Any], dict[Place, Span], dict[Place, Span]]] = []

    def finished(self, text: str) -> ImportedProject:
        """The project, with every list handed to the thing it belongs to."""
        for section, row, values, places, keys in self.lists:
            known = self.data.get(WITHIN[section])
            owners = known if isinstance(known, dict) else {}
            owner = row.cells[0]
            if not isinstance(owners.get(owner), dict):
                self.problems.add(
                    "sheet-row-of-nothing",
                    row.span(0),
                    name=owner,
                    section=WITHIN[section],
                    nearest=hint(owner, owners),
                )
                continue
            siblings = owners[owner].setdefault(section, [])
            if not isinstance(siblings, list):
                self.problems.add(
                    "sheet-header-inside",
                    row.span(0),
                    header=f"{owner}.{section}[0]",
                    outer=f"{owner}.{section}",
                )
                continue
            at: Place = (WITHIN[section], owner, section, len(siblings))
            siblings.append(values)
            self.places[at] = row.span(0)
            self.places.update(_below(at, places))
            self.keys.update(_below(at, keys))
        return ImportedProject(self.data, self.places, text, self.keys)

    def read(self, rows: Iterable[Row], section: str | None) -> None:
        """Take in the rows of one sheet, or of a whole CSV file; `section` is the name of the sheet."""
        for name, part in _parts(rows, section):
            head = part[0]
            if name in self.data or any(other == name for other, *_ in self.lists):
                self.problems.add("sheet-section-twice", head.span(0), section=name)
            elif name in PAIRS:
                self._pairs(name, part)
            else:
                self._table(name, part)

    def _pairs(self, section: str, rows: list[Row]) -> None:
        """Field and value, one row each."""
        body = self.data if section == PROJECT else self.data.setdefault(section, {})
        base: Place = () if section == PROJECT else (section,)
        self.places.setdefault(base, rows[0].span(0))
        seen: dict[str, Row] = {}
        for row in rows:
            field, unit = _header(row.cells[0])
            self._surplus(row, 2)
            if not field:
                self.problems.add("sheet-row-unnamed", row.span(0))
            elif field in seen:
                line = seen[field].number
                self.problems.add("sheet-row-twice", row.span(0), section=section, name=field, line=line)
            else:
                seen[field] = row
                self._put(body, base, self.places, (field, unit), row, 1)
                self.keys |= {(*base, *steps): row.span(0) for steps in _steps(field)}

    def _table(self, section: str, rows: list[Row]) -> None:
        """A header, then one row for each thing."""
        head, *rows = rows
        headers = [_header(cell) for cell in head.cells]
        seen: dict[str, int] = {}
        for column, (field, _) in enumerate(headers):
            if field and field in seen:
                self.problems.add("sheet-header-twice", head.span(column), header=field)
            seen.setdefault(field, column)
        things: dict[str, Any] = {}
        if section not in WITHIN:
            self.data[section] = things
            self.places[section,] = head.span(0)
        named: dict[str, Row] = {}
        for row in rows:
            name = row.cells[0]
            if not name:
                self.problems.add("sheet-row-unnamed", row.span(0))
                continue
            values: dict[str, Any] = {}
            places: dict[Place, Span] = {}
            keys: dict[Place, Span] = {}
            for column, header in enumerate(headers[1:], 1):
                if header[0] and seen[header[0]] == column:
                    self._put(values, (), places, header, row, column)
                    keys |= {steps: head.span(column) for steps in _steps(header[0])}
                elif column < len(row.cells) and row.cells[column] and not header[0]:
                    self.problems.add("sheet-header-empty", row.span(column))
            self._surplus(row, len(headers))
            if section in WITHIN:
                self.lists.append((section, row, values, places, keys))
            elif name in named:
                line = named[name].number
                self.problems.add("sheet-row-twice", row.span(0), section=section, name=name, line=line)
            else:
                named[name] = row
                things[name] = values
                self.places[section, name] = row.span(0)
                self.places.update(_below((section, name), places))
                self.keys.update(_below((section, name), keys))

    def _surplus(self, row: Row, width: int) -> None:
        for column, cell in enumerate(row.cells):
            if column >= width and cell:
                self.problems.add("sheet-header-empty", row.span(column))

    def _put(
        self,
        body: dict[str, Any],
        base: Place,
        places: dict[Place, Span],
        header: tuple[str, str],
        row: Row,
        column: int,
    ) -> None:
        """Put one cell where its header says; an empty cell states nothing."""
        cell = row.cells[column] if column < len(row.cells) else ""
        if not cell:
            return
        steps = header[0].split(".")
        for length, step in enumerate(steps[:-1], 1):
            body = body.setdefault(step, {})
            if not isinstance(body, dict):
                outer = ".".join(steps[:length])
                self.problems.add("sheet-header-inside", row.span(column), header=header[0], outer=outer)
                return
            places.setdefault((*base, *steps[:length]), row.span(column))
        if isinstance(body.get(steps[-1]), dict):
            self.problems.add("sheet-header-twice", row.span(column), header=header[0])
            return
        parts = [part.strip() for part in cell.split(";") if part.strip()]
        made = [f"{part} {header[1]}" if header[1] and _NUMBER.fullmatch(part) else part for part in parts]
        body[steps[-1]] = made if ";" in cell else made[0]
        places[(*base, *steps)] = row.span(column)


def _section(cell: str) -> str:
    """The section that begins with this cell, such as [circuits]; nothing where none does."""
    inside = cell[1:-1].strip() if cell.startswith("[") and cell.endswith("]") else ""
    return inside if _SECTION.fullmatch(inside) else ""


def _header(cell: str) -> tuple[str, str]:
    """The field a header names, and the unit of its cells in brackets at the end."""
    text = cell.rstrip()
    if text.endswith(("]", ")")):
        after = max(text.rfind(sign, 0, -1) for sign in "])") + 1
        opens = [place for sign in "[(" if (place := text.find(sign, after, -1)) >= 0]
        if opens and (unit := text[min(opens) + 1 : -1].strip()):
            return _name(text[: min(opens)]), unit
    return _name(text), ""


def _steps(field: str) -> list[Place]:
    """The paths down to a dotted field, its own last."""
    steps = field.split(".")
    return [tuple(steps[:length]) for length in range(1, len(steps) + 1)]


def _below(at: Place, places: dict[Place, Span]) -> dict[Place, Span]:
    """The same places with their paths counted from further up."""
    return {(*at, *place): span for place, span in places.items()}


def _parts(rows: Iterable[Row], section: str | None) -> Iterator[tuple[str, list[Row]]]:
    """The sections of a table with their rows that hold something."""
    name, part = _name(section or CIRCUITS), list[Row]()
    for row in rows:
        begins = _section(row.cells[0]) if row.cells and not any(row.cells[1:]) else ""
        if begins:
            if part:
                yield name, part
            name, part = _name(begins), []
        elif any(row.cells):
            part.append(row)
    if part:
        yield name, part
