"""Tables of cases as files: read row by row, and written so that a batch that was stopped can go on.

While a batch runs, finished rows go to `OUTPUT.part` and a small journal beside it says how much of that is
certain; the output appears whole, under its own name, at the end.
"""

from __future__ import annotations

import csv
import hashlib
import json
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, Any

from .diagnostics import GaugebookError, Span
from .filing import write_whole

CSV, PARQUET = ".csv", ".parquet"
ROWS_AT_ONCE = 4096
"""Rows of a columnar file held at once."""

MOST_CHARACTERS = 2**24
"""Of a cell of a table, and of a line."""

csv.field_size_limit(MOST_CHARACTERS)


class CaseTable:
    """A table of cases: `header`, and its rows as texts. Raises `GaugebookError` when it is none."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.kind = path.suffix.lower()
        self._foreign: list[list[str]] = []
        if self.kind not in (CSV, PARQUET):
            from .taking import read_cases

            self._foreign = read_cases(path)
        try:
            self.digest, lines = _digest(path)
            self.lines = len(self._foreign) or lines
            self.header: tuple[str, ...] = tuple(name.strip() for name in next(self._all(), []))
        except OSError as error:
            reason = (error.strerror or "unknown reason").lower()
            span = Span(str(path), 1, 1, 1, 1)
            raise GaugebookError.because("file-unreadable", span, reason=reason) from None
        if not any(self.header):
            raise GaugebookError.because("case-without-header", Span(str(path), 1, 1, 1, 1))

    def rows(self, skip: int = 0) -> Iterator[list[str]]:
        """The rows after the header, without the first ones."""
        found = self._all()
        next(found, None)
        for number, row in enumerate(found):
            if number >= skip:
                yield row

    def _all(self) -> Iterator[list[str]]:
        if self._foreign:
            return iter(self._foreign)
        return _csv_rows(self.path) if self.kind == CSV else _parquet_rows(self.path)


def _sum(content: bytes) -> bytes:
    """What tells whether a journal is whole."""
    return hashlib.sha256(content).hexdigest().encode()


def _digest(path: Path) -> tuple[str, int]:
    """The identity of a file's content, and the number of its lines."""
    digest, lines = hashlib.sha256(), 0
    with path.open("rb") as file:
        while part := file.read(1 << 20):
            digest.update(part)
            lines += part.count(b"\n")
    return digest.hexdigest(), lines


def _csv_rows(path: Path) -> Iterator[list[str]]:
    """Every line that is not blank; bytes that are no text are kept as they are."""
    with path.open(encoding="utf-8-sig", errors="surrogateescape", newline="") as file:
        lines = iter(lambda: file.readline(MOST_CHARACTERS + 1), "")
        table = csv.reader(_within(line) for line in lines)
        try:
            for row in table:
                if row:
                    yield row
        except csv.Error:
            line = table.line_num + 1
            raise GaugebookError.because(
                "case-cell-too-long", Span(str(path), line, 1, line, 1), limit=MOST_CHARACTERS
            ) from None


def _within(line: str) -> str:
    """A line as a table can hold it; raises `csv.Error` for one that is too long."""
    if len(line) > MOST_CHARACTERS:
        raise csv.Error
    return line.replace("\0", "\ufffd")


def _parquet_rows(path: Path) -> Iterator[list[str]]:
    parquet = _pyarrow("parquet")
    with parquet.ParquetFile(path) as file:
        yield list(file.schema_arrow.names)
        for part in file.iter_batches(ROWS_AT_ONCE):
            columns = [[cell_text(cell) for cell in column.to_pylist()] for column in part.columns]
            yield from map(list, zip(*columns, strict=True))


def cell_text(cell: Any) -> str:
    """A cell of a columnar file as text; nothing where it holds nothing or no number."""
    if cell is None or (isinstance(cell, float) and cell != cell):
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    return repr(cell) if isinstance(cell, float) else str(cell)


def _pyarrow(part: str) -> Any:
    from importlib import import_module

    try:
        return import_module(f"pyarrow.{part}")
    except ImportError:
        raise GaugebookError.because(
            "extra-missing", what="a file in the format Parquet", package="pyarrow", extra="parquet"
        ) from None


class Outcomes:
    """The output of a batch in the making.

    `done` is the number of rows that are already there, `counts` how they came out. `identity` is everything
    they depend on: what another batch left behind is not continued. Use as a context; raises
    `GaugebookError` where nothing can be written or another process is at it.
    """

    def __init__(self, path: Path, columns: Sequence[str], identity: Sequence[str]) -> None:
        self.path, self.columns = path, list(columns)
        self.kind = path.suffix.lower()
        if self.kind not in (CSV, PARQUET):
            raise GaugebookError.because("case-file-kind", path=path)
        if self.kind == PARQUET:
            _pyarrow("parquet")
        self.part = path.with_name(path.name + ".part")
        self.journal = path.with_name(path.name + ".journal")
        self.identity = hashlib.sha256(json.dumps([*identity, *columns]).encode()).hexdigest()
        self.done = 0
        self.counts = [0, 0, 0, 0]
        self.anew = False
        self._file: IO[bytes] | None = None

    def __enter__(self) -> Outcomes:
        with self._writing():
            self._open()
        return self

    def __exit__(self, *_: object) -> None:
        if self._file is not None:
            with suppress(OSError):
                self._file.close()

    @contextmanager
    def _writing(self) -> Iterator[None]:
        """What the system refuses, a full disk say, is told; what is certain stays certain."""
        try:
            yield
        except OSError as error:
            reason = error.strerror or error
            raise GaugebookError.because("cannot-write", path=self.path, reason=reason) from None

    def _open(self) -> None:
        descriptor = os.open(self.part, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o666)
        self._file = os.fdopen(descriptor, "r+b")
        _lock(self._file, self.part)
        known = self._journal()
        if known is None:
            self.anew = os.fstat(descriptor).st_size > 0
            self._file.truncate(0)
            self._write([self.columns])
            self._note()
        else:
            self.done, self.counts = known["rows"], known["counts"]
            self._file.truncate(known["bytes"])
            self._file.seek(known["bytes"])

    def _journal(self) -> dict[str, Any] | None:
        """What the journal says of the same batch; None when there is none to go on with, or it is damaged."""
        assert self._file is not None
        try:
            digest, _, said = self.journal.read_bytes().partition(b"\n")
        except OSError:
            return None
        if digest != _sum(said):
            return None
        known: dict[str, Any] = json.loads(said)
        there = os.fstat(self._file.fileno()).st_size
        return known if known["identity"] == self.identity and known["bytes"] <= there else None

    def add(self, rows: Sequence[Sequence[str]], counts: Sequence[int]) -> None:
        """Keep some finished rows: once this returns they survive a kill, and none is written twice."""
        with self._writing():
            self._write(rows)
            self.done += len(rows)
            self.counts = [before + more for before, more in zip(self.counts, counts, strict=True)]
            self._note()

    def _write(self, rows: Sequence[Sequence[str]]) -> None:
        import io

        assert self._file is not None
        text = io.StringIO(newline="")
        csv.writer(text, lineterminator="\n").writerows(rows)
        self._file.write(text.getvalue().encode("utf-8", "surrogateescape"))
        self._file.flush()
        os.fsync(self._file.fileno())

    def _note(self) -> None:
        assert self._file is not None
        said = {
            "identity": self.identity,
            "rows": self.done,
            "bytes": self._file.tell(),
            "counts": self.counts,
        }
        written = json.dumps(said).encode()
        write_whole(self.journal, _sum(written) + b"\n" + written)

    def finish(self) -> None:
        """Give the output its name."""
        with self._writing():
            self._finish()

    def _finish(self) -> None:
        assert self._file is not None
        if self.kind == PARQUET:
            fresh = self.path.with_name(self.path.name + ".new")
            _to_parquet(self.part, fresh, self.columns)
            os.replace(fresh, self.path)
            self._file.close()
            self.part.unlink()
        else:
            self._file.close()
            os.replace(self.part, self.path)
        with suppress(FileNotFoundError):
            self.journal.unlink()


def _lock(file: IO[bytes], path: Path) -> None:
    """Only one process writes an output; where the system has no locks, nobody looks."""
    try:
        import fcntl
    except ImportError:
        return
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        raise GaugebookError.because("batch-running", path=path) from None


def _to_parquet(source: Path, target: Path, columns: Sequence[str]) -> None:
    """A columnar file of the rows of another; a column of numbers and empty cells holds numbers."""
    pyarrow, parquet = _pyarrow("lib"), _pyarrow("parquet")
    numeric = [True] * len(columns)
    filled = [False] * len(columns)
    for row in _data(source):
        for place, cell in enumerate(row):
            if cell:
                filled[place] = True
                numeric[place] = numeric[place] and _number(cell) is not None
    types = [pyarrow.float64() if n and f else pyarrow.string() for n, f in zip(numeric, filled, strict=True)]
    schema = pyarrow.schema(list(zip(columns, types, strict=True)))

    def part(rows: list[list[str]]) -> Any:
        made = [
            pyarrow.array(
                [_number(cell) if kind == pyarrow.float64() else _sound(cell) for cell in cells], kind
            )
            for kind, cells in zip(types, zip(*rows, strict=True), strict=True)
        ]
        return pyarrow.record_batch(made, schema=schema)

    with parquet.ParquetWriter(target, schema) as writer:
        held: list[list[str]] = []
        for row in _data(source):
            held.append(row)
            if len(held) == ROWS_AT_ONCE:
                writer.write_batch(part(held))
                held = []
        if held:
            writer.write_batch(part(held))


def _data(path: Path) -> Iterator[list[str]]:
    rows = _csv_rows(path)
    next(rows, None)
    return rows


def _number(cell: str) -> float | None:
    try:
        return float(cell) if cell else None
    except ValueError:
        return None


def _sound(cell: str) -> str | None:
    """Text without bytes that are none."""
    return cell.encode("utf-8", "surrogateescape").decode("utf-8", "replace") if cell else None
