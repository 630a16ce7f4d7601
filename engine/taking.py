"""What a project takes from outside: files of another format, and values from catalogues, through plugins."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, Any

from .diagnostics import GaugebookError, Problems, Span, hint
from .documents import Document
from .extending import Plugin, extensions, reason_of
from .hooks import DesignTemperatures, ImportedProject, ProjectReader, Taken
from .kinds import Kind
from .loading import shipped_units
from .resources import PathLike
from .source import TAKEN_FROM, Source, read_source, source_of
from .units import UnitError

if TYPE_CHECKING:
    from .source import Path

CASES = (".csv", ".parquet")
"""Suffixes of tables of cases that are read without a plugin."""


class ForeignDocument(Document):
    """A file of another format, with the place of every value."""

    __slots__ = ("keys", "places")

    def __init__(self, name: str, made: ImportedProject) -> None:
        super().__init__(name, made.text, made.data)
        self.places, self.keys = made.places, made.keys or {}

    def span(self, path: Path = ()) -> Span:
        """The value at `path`, or the nearest enclosing value that has a place."""
        for length in range(len(path), -1, -1):
            if path[:length] in self.places:
                return self.places[path[:length]]
        return self.line_span(0)

    def key_span(self, path: Path) -> Span:
        """The name of the value at `path`, else the value."""
        return self.keys.get(path) or self.span(path)

    def span_inside(self, path: Path, start: int, end: int) -> Span:
        """The whole value."""
        return self.span(path)


def read_any(path: PathLike, layout: str | None, problems: Problems) -> Source | None:
    """Read a project of any format: YAML, or one that a plugin knows by the suffix of the file.

    Faults go to `problems`; None comes back when it is no project at all.
    """
    file = FilePath(path)
    known = extensions().project_readers().get(file.suffix.lower())
    if known is None:
        return read_source(path, layout, problems)
    document = _read_foreign(file, *known, problems)
    return None if document is None else source_of(document, layout, problems)


def _read_foreign(
    path: FilePath, plugin: Plugin, reader: ProjectReader, problems: Problems
) -> Document | None:
    """What a plugin reads in a file; its faults go to `problems`."""
    made: ImportedProject | None = None
    what = f"{reader.name} {path}"
    try:
        made = extensions().ask(plugin, "plugin-raises", lambda: reader.read(path, problems), what=what)
    except GaugebookError as error:
        problems.take(error, Span(str(path), 1, 1, 1, 1))
    if made is None and not len(problems):
        start = Span(str(path), 1, 1, 1, 1)
        problems.add("sheet-unreadable", start, what=reader.name, reason=f"{plugin}")
    if made is None:
        return None
    from .yamltree import unseen

    document = ForeignDocument(str(path), made)
    for span, text in _texts(document, made.data, ()):
        for _, code in unseen(text):
            problems.add("control-character", span, code=code)
    return document


def _texts(document: Document, data: Any, path: Path) -> Iterator[tuple[Span, str]]:
    """Every text of a document, names too, with its place."""
    if isinstance(data, str):
        yield document.span(path), data
    elif isinstance(data, dict):
        for key, value in data.items():
            yield document.key_span((*path, key)), str(key)
            yield from _texts(document, value, (*path, key))
    elif isinstance(data, list):
        for index, value in enumerate(data):
            yield from _texts(document, value, (*path, index))


def read_cases(path: FilePath) -> list[list[str]]:
    """The rows of a table of cases of a format that a plugin knows, the header first.

    Raises `GaugebookError` when no plugin knows it, or with every fault of the file.
    """
    known = extensions().case_readers()
    if path.suffix.lower() not in known:
        raise GaugebookError.because("case-file-kind", path=path, known=", ".join([*CASES, *known]))
    plugin, reader = known[path.suffix.lower()]
    problems, what = Problems(), f"{reader.name} {path}"

    def read() -> list[list[str]]:
        return [[str(cell) for cell in row] for row in reader.read(path, problems)]

    rows = extensions().ask(plugin, "plugin-raises", read, what=what)
    problems.refuse_if_any()
    if rows is None:
        raise GaugebookError(plugin.faults[-1])
    return rows


def take(source: Source, problems: Problems) -> None:
    """Fill every part of a project that takes values from a catalogue; what the part states itself stands."""
    source.data = _copied(source.data)
    for path, part in list(_parts(source.data, ())):
        text = str(part.pop(TAKEN_FROM))
        span = source.span((*path, TAKEN_FROM))
        try:
            catalogue, item, taken = look_up(text, FilePath(source.document.name).parent)
        except GaugebookError as error:
            problems.take(error, span)
            continue
        values = {key: value for key, value in taken.values.items() if key not in part}
        source.fill(path, values, TAKEN_FROM)
        source.taken.append(
            {
                "thing": ".".join(str(step) for step in path),
                "catalogue": catalogue,
                "item": item,
                "source": taken.source,
                "says": taken.says,
                "values": values,
            }
        )


def _copied(data: Any) -> Any:
    """The same data anew: lists and mappings may still be parts of the document, which others read."""
    if isinstance(data, dict):
        return {key: _copied(value) for key, value in data.items()}
    return [_copied(value) for value in data] if isinstance(data, list) else data


def _parts(data: Any, path: Path) -> Iterator[tuple[Path, dict[str, Any]]]:
    """The mappings that say where to take values from, with their paths."""
    if isinstance(data, dict):
        if TAKEN_FROM in data:
            yield path, data
        for key, value in data.items():
            yield from _parts(value, (*path, key))
    elif isinstance(data, list):
        for index, value in enumerate(data):
            yield from _parts(value, (*path, index))


def look_up(text: str, folder: FilePath) -> tuple[str, str, Taken]:
    """What "CATALOGUE: ITEM" names: the catalogue, the item, its values. Raises `GaugebookError`."""
    name, colon, item = (part.strip() for part in text.partition(":"))
    if not (name and colon and item):
        raise GaugebookError.because("catalogue-without-item", text=text)
    known = extensions().catalogues()
    if name not in known:
        listed = ", ".join(known) or "none"
        raise GaugebookError.because("unknown-catalogue", name=name, nearest=hint(name, known), known=listed)
    plugin, catalogue = known[name]
    held_by, what = extensions(), f"{name}: {item}"
    try:
        taken = held_by.watched(plugin, lambda: catalogue.look_up(item, folder))
    except GaugebookError:
        raise
    except (Exception, SystemExit) as error:
        fault = held_by.reject(plugin, "plugin-raises", what=what, reason=reason_of(error))
        raise GaugebookError(fault) from None
    if isinstance(taken, Taken):
        wrong = _no_temperatures(taken) if isinstance(catalogue, DesignTemperatures) else {}
        if not wrong:
            return name, item, taken
        faults = ({"field": field, "found": value, "what": what} for field, value in wrong.items())
        raise GaugebookError(*(held_by.reject(plugin, "plugin-no-temperature", **fault) for fault in faults))
    if taken is not None:
        found = {"hook": what, "item": Taken.__name__, "found": repr(taken)[:80]}
        raise GaugebookError(held_by.reject(plugin, "plugin-wrong-answer", **found))
    names = catalogue.items
    items = held_by.ask(plugin, "plugin-raises", lambda: list(names()), what=name) if names else []
    raise GaugebookError.because("catalogue-lacks", name=name, item=item, nearest=hint(item, items or []))


def _no_temperatures(taken: Taken) -> dict[str, Any]:
    """The values that are no temperature with its unit."""
    units = shipped_units()
    temperature = Kind(units.unit("K").kind.dimension, point=True)
    wrong = {}
    for field, value in taken.values.items():
        try:
            fits = units.quantity(str(value))[1].kind == temperature
        except UnitError:
            fits = False
        if not fits:
            wrong[field] = value
    return wrong
