"""The author's bench: what rulesets there are, what one says, whether it is sound, whether its cases hold."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from .adopting import is_jurisdiction, read_jurisdiction
from .blocks import Block, Grid, Heading, Items, Paragraph
from .books import check_book
from .casework import Outcome, try_cases
from .checksums import unguarded_cells
from .coverage import nearest_register, register_of
from .diagnostics import GaugebookError, Problems, hint, render
from .differing import differences
from .documents import read
from .entries import SECTIONS, Book, Entry
from .layers import build, stack_of
from .linting import lint
from .loading import as_list, plain
from .moments import LAST_DAY, Moment, next_day
from .provenance import story
from .resources import PathLike
from .shelf import HEADER_FILE, Shelf
from .slips import change_cells
from .starting import start


def find(text: str, folders: Sequence[PathLike]) -> tuple[str, Path, list[PathLike]]:
    """A ruleset named by id or by path: its id, its place, and the folders to search for it and its parents.

    An id known on the shelf wins over a path; raises `GaugebookError` when the text is neither.
    """
    places = Shelf(folders).places()
    if text in places:
        return text, places[text], list(folders)
    place = Path(text).resolve()
    inside = [folder for folder in place.parents if (folder / HEADER_FILE).is_file()]
    place = inside[0] if inside and place.exists() else place
    if (place / HEADER_FILE).is_file() or (place.is_file() and place.suffix == ".yaml"):
        return (place.stem if place.is_file() else place.name), place, [place.parent, *folders]
    raise GaugebookError.because("unknown-ruleset-or-path", text=text, nearest=hint(text, places))


def listing(folders: Sequence[PathLike]) -> list[dict[str, Any]]:
    """Every ruleset found: id, version, title, what it extends, and whether it is in force by itself."""
    problems = Problems()
    found = []
    for id, place in sorted(Shelf(folders).places().items()):
        document = read(place / HEADER_FILE if place.is_dir() else place, problems)
        if document is None or not isinstance(document.data, dict):
            continue
        header = plain(document.data)
        found.append(
            {
                "id": id,
                "version": str(header.get("version", "")),
                "title": str(header.get("title", "")),
                "extends": as_list(header.get("extends")),
                "force": str(header.get("force", "yes")),
            }
        )
    problems.refuse_if_any()
    return found


def listing_page(found: list[dict[str, Any]]) -> list[Block]:
    """The listing for people."""
    rows = [[item["id"], item["version"], ", ".join(item["extends"]), item["title"]] for item in found]
    return [Grid(["ruleset", "version", "extends", "title"], rows)]


def show(text: str, folders: Sequence[PathLike]) -> list[Block]:
    """A ruleset with everything below it: its layers and its entries with their citations."""
    book = _stacked(text, folders)
    top = book.layers[-1]
    layers = ", ".join(f"{layer.id} {layer.header.get('version', '')}" for layer in book.layers)
    lines = [f"Document: {top.document}", f"Layers, bottom first: {layers}", f"Digest: {top.digest}"]
    page: list[Block] = [Heading(str(top.header.get("title", top.id)), 1), Paragraph("\n".join(lines))]
    for section in SECTIONS:
        entries = book.section(section).values()
        if entries:
            page.append(Heading(f"{section} ({len(entries)})"))
            page.append(
                Grid(
                    ["entry", "title", "cites", "transcription", "said by"],
                    [
                        [
                            entry.name,
                            str(entry.body.get("title", "")),
                            "; ".join(book.cites(entry.cites)),
                            str(entry.body.get("transcription", "")),
                            _layers(entry),
                        ]
                        for entry in entries
                    ],
                )
            )
    if book.removed:
        gone = [f"{id} by {change.layer}" for id, change in book.removed.items()]
        page += [Heading("Removed"), Items(gone)]
    left_out = [str(part) for _, part in book.not_encoded()]
    return [*page, Heading("Not encoded"), Items(left_out)] if left_out else page


def _layers(entry: Entry) -> str:
    return ", ".join(dict.fromkeys(change.layer for change in entry.history))


def show_coverage(text: str, folders: Sequence[PathLike]) -> list[Block]:
    """What the nearest coverage register of a ruleset's stack says, and the entries behind each section.

    Raises `GaugebookError` when no layer of the stack has one, and `Refused` when it cannot be read.
    """
    book = _stacked(text, folders)
    problems = Problems()
    register = nearest_register(book, problems)
    problems.refuse_if_any()
    if register is None:
        raise GaugebookError.because("no-register", ruleset=book.layers[-1].id)
    return register.page()


def show_entry(text: str, name: str, folders: Sequence[PathLike]) -> list[Block]:
    """One entry in full: what it says, on what authority, and who changed it.

    `name` is `section/name`, or the name alone where only one section has it.
    """
    book = _stacked(text, folders)
    entries = {**book.gone, **book.entries}
    known = {**{entry.name: entry for entry in entries.values()}, **entries}
    entry = known.get(book.current(name))
    if entry is None:
        near = hint(name, known)
        raise GaugebookError.because("unknown-entry", ruleset=book.layers[-1].id, entry=name, nearest=near)
    aside = ("title", "source", "transcription", "note", "rows", "columns")
    lines = [f"{entry.full_id}"]
    lines += [f"Cites: {'; '.join(book.cites(entry.cites))}"] * bool(entry.cites)
    for word in ("source", "transcription", "note"):
        if word in entry.body:
            lines.append(f"{word.capitalize()}: {', '.join(map(str, as_list(entry.body[word])))}")
    page: list[Block] = [Heading(str(entry.body.get("title", entry.name)), 1), Paragraph("\n".join(lines))]
    said = [line for key, value in entry.body.items() if key not in aside for line in _outline(key, value)]
    if said:
        page.append(Items(said))
    if "rows" in entry.body:
        page.append(_grid(entry.body))
    return [*page, *story(book, entry)]


def _outline(key: str, value: Any) -> list[str]:
    """A property and what lies below it, one line for each plain value, by its dotted path."""
    if isinstance(value, dict):
        return [line for inner, item in value.items() for line in _outline(f"{key}.{inner}", item)]
    if isinstance(value, list) and any(isinstance(item, dict) for item in value):
        return [f"{key}[{index}]: {_flat(item)}" for index, item in enumerate(value)]
    return [f"{key}: {_flat(value)}"]


def _flat(value: Any) -> str:
    """A value on one line."""
    if isinstance(value, dict):
        return "; ".join(f"{key} {_flat(item)}" for key, item in value.items())
    return ", ".join(_flat(item) for item in value) if isinstance(value, list) else str(value)


def _grid(body: dict[str, Any]) -> Grid:
    keys = [str(key["name"]) for key in body.get("keys") or [{"name": ""}]]
    columns = [" ".join(column) for column in body.get("columns") or [[str(body.get("unit", ""))]]]
    return Grid([keys[0], *columns], [[row, *cells] for row, cells in body["rows"].items()])


def diff(one: str, other: str, folders: Sequence[PathLike]) -> list[dict[str, Any]]:
    """What changed from one ruleset to another, as `differing.differences` tells it."""
    return differences(_stacked(one, folders), _stacked(other, folders))


def _stacked(text: str, folders: Sequence[PathLike]) -> Book:
    id, _, searched = find(text, folders)
    problems = Problems()
    book = build([id], searched, problems)
    problems.refuse_if_any()
    return book


def check(text: str, folders: Sequence[PathLike]) -> str:
    """One line about a sound ruleset or jurisdiction, and what deserves a look; raises `Refused` with every
    fault of an unsound one, on any of the days on which something in it begins or ends.
    """
    if is_jurisdiction(Path(text)):
        return _check_jurisdiction(Path(text), folders)
    id, _, searched = find(text, folders)
    checked = check_book([id], searched)
    rulebook = checked.compiled()
    problems = Problems()
    register = register_of(checked.book.layers[-1], checked.book, problems)
    if register is not None:
        register.examine(problems)
    problems.refuse_if_any()
    for day in turning_days(checked.book):
        check_book([id], searched, Moment(day)).compiled()
    counts = Counter(name.partition("/")[0] for name in rulebook.entries)
    said = ", ".join(f"{counts[section]} {section}" for section in SECTIONS if counts[section])
    warnings = lint(checked, checked.book.layers[-1])
    told = [f"{id} is sound: {said}; {rulebook.frozen['digest']}"]
    if warnings:
        told += [f"{len(warnings)} worth a look:", *(render(warning) for warning in warnings)]
    return "\n\n".join(told)


def turning_days(book: Book) -> list[str]:
    """The first days of what begins in a book's layers, and the days after what ends."""
    stated = [layer.header.get("in_force") for layer in book.layers]
    stated += [operation.body.get("in_force") for layer in book.layers for operation in layer.operations]
    days = {str(part["from"]) for part in stated if part and "from" in part}
    days |= {next_day(str(part["until"])) for part in stated if part and "until" in part}
    return sorted(days - {LAST_DAY})


def _check_jurisdiction(path: Path, folders: Sequence[PathLike]) -> str:
    shelf = Shelf([path.resolve().parent.parent, *folders])
    problems = Problems()
    place = read_jurisdiction(path.stem, shelf, problems)
    problems.refuse_if_any()
    assert place is not None
    for name, span, values in place.faults(shelf.places()):
        problems.add(name, span, **values)
    problems.refuse_if_any()
    return f"{path.stem} is sound: {len(place.periods)} periods"


def begin(id: str, parent: str, folder: Path, folders: Sequence[PathLike]) -> str:
    """Write a first layer over `parent`; one line that says where."""
    if not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", id):
        raise GaugebookError.because("bad-pattern", value=id, pattern="place-year")
    return f"{start(id, parent, _stacked(parent, folders), folder)} written"


def try_out(
    text: str, folders: Sequence[PathLike], slips: bool = False, entries: Sequence[str] | None = None
) -> tuple[bool, str]:
    """Whether the cases of a ruleset hold, and the report on them.

    With `slips` the cells of its tables, or of the tables `entries` names, are changed one by one as well; a
    change that nobody notices counts like a case that fails.
    """
    id, place, searched = find(text, folders)
    outcome = try_cases(id, place, searched)
    problems = Problems()
    layers = stack_of([id], Shelf(searched), problems)
    problems.refuse_if_any()
    told = report(id, outcome, unguarded_cells(layers))
    if not slips:
        return not outcome.failed, told
    found = change_cells(id, searched, outcome, entries)
    return not outcome.failed and not found.unnoticed, "\n".join([told.rstrip("\n"), *found.lines(), ""])


def report(id: str, outcome: Outcome, unguarded: dict[str, int]) -> str:
    """One line per expectation that failed, a count, what no case touches, and the cells without a checksum."""
    lines = [str(miss) for miss in outcome.misses]
    lines += [render(notice) for notice in outcome.notices]
    lines.append(f"{id}: {outcome.cases} cases, {outcome.cases - outcome.failed} pass, {outcome.failed} fail")
    if outcome.untouched:
        lines.append(f"{len(outcome.untouched)} entries no case touches:")
        lines += [f"  {entry}" for entry in outcome.untouched]
    hit = sum(read for read, _ in outcome.cells.values())
    printed = sum(cells for _, cells in outcome.cells.values())
    if printed:
        lines.append(f"{hit} of {printed} table cells are touched:")
        lines += [f"  tables/{name}: {read} of {cells}" for name, (read, cells) in outcome.cells.items()]
    lines.append(f"{sum(unguarded.values())} table cells without a checksum")
    lines += [f"  {name}: {cells}" for name, cells in unguarded.items()]
    return "\n".join(lines) + "\n"
