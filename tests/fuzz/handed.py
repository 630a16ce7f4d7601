"""What users hand in is read: projects, schedules, tables of designs; and what earlier calls have left."""

from __future__ import annotations

import csv
import io
import json
import os
from collections.abc import Callable, Iterable, Iterator
from functools import lru_cache
from pathlib import Path

from samples import PROJECT, TABLE, YARD
from trying import Finding, Target, putter

from gaugebook import batching, cache
from gaugebook.case_files import CaseTable, Outcomes
from gaugebook.diagnostics import Diagnostic, Problems, Span, diagnose
from gaugebook.rendering import render_text
from gaugebook.session import Book, choose_rulesets, read_project, size_source


def projects(folder: Path, book: Book) -> Target:
    """A project file -> a graph of things -> a result and its page."""
    folder.mkdir(exist_ok=True)
    small = (
        b"gaugebook: project/1\nhoists: {a: {load: 4 kg, next: b}, b: {load: 1/3 lb, wet: no, rope: huge}}\n"
    )
    loop = b"gaugebook: project/1\nhoists: {a: {load: 4 kg, next: b}, b: {load: 2 kg, next: a}}\n"
    read_by = (
        b"gaugebook: project/1\nreadings: {x: y}\nyard: {jurisdiction: larkmere, heat: 300 K, cover: none}\n"
    )
    taken = b'gaugebook: project/1\nhoists: {a: {taken_from: "weather: x.epw, 2 %"}}\n'

    head = b"gaugebook: project/1\nhoists: "
    chain = b", ".join(b"h%d: {load: 1 kg, next: h%d}" % (n, n + 1) for n in range(1000))
    large = [
        head + b"{" + chain + b", h1000: {load: 1 kg}}\n",
        head + b"{%s: {load: 4 kg}}\n" % (b"n" * 100_000),
    ]
    large += [
        head + b"{a: {load: %s kg}}\n" % number for number in (b"9" * 20_000, b"1e999999", b"1/" + b"9" * 40)
    ]
    large += [
        head + b"{a: {pulleys: [" + b"{width: 1 mm}, " * 4000 + b"]}}\n",
        head + b"[" * 63 + b"]" * 63 + b"\n",
    ]
    pulleys = b"gaugebook: project/1\nhoists: {a: {load: 4 kg, pulleys: [{width: 3 in, extra: none}]}}\n"
    layout = b"gaugebook: project/1\nhoists: {a: {load: 4 kg}}\nlayouts: {b: {hoists: {a: {load: 7/8 lb}}}}\n"
    seeds = [small, pulleys, layout, loop, read_by, taken, PROJECT]
    one = sized(folder / "project.yaml", book)
    return Target("projects", "loading and sizing a project", seeds, [], one, 260, large)


def schedules(folder: Path, book: Book) -> Target:
    """A schedule as CSV, read by a plugin -> the same."""
    folder.mkdir(exist_ok=True)
    pairs = b"[project]\ntitle,Yard\n[yard]\nname,heat [degC],cover\nyard,25,none\n"
    plain = b"[hoists]\nname,load [kg],wet,rope,next\na,4,no,huge,b\nb,1/3 lb,yes,,\n"
    odd = b'\xef\xbb\xbf[hoists]\r\n"Name","Load (kg)",taken_from\r\n"a;b","1,5","x: y"\r\n\r\n[runs]\r\nhoist,x\r\n'
    large = [b"[hoists]\n" + b"," * 50_000, b"[hoists]\nname\n" + b"a\n" * 5000, b"[" * 9999, b'"' * 9999]
    one = sized(folder / "schedule.csv", book)
    return Target(
        "schedules", "loading and sizing a schedule", [plain, pairs, plain + pairs, odd], [], one, 260, large
    )


def sized(path: Path, book: Book) -> Callable[[bytes], Iterable[Diagnostic]]:
    """Reads an input as a project file and asks for all that `size` shows."""
    put = putter(path)

    def one(given: bytes) -> Iterable[Diagnostic]:
        put(given)
        problems = Problems()
        source = read_project(path, None, problems)
        for layout in source.layouts[:1]:
            read_project(path, layout, problems)
        choose_rulesets(source, None, Problems())
        result = size_source(source, book, {}, problems)
        if len(given) % 8 == 0:
            json.loads(result.to_json())
            if not all(line.isprintable() for line in render_text(result).split("\n")):
                raise Finding("a page with a character that cannot be seen")
        return []

    return one


def tables(folder: Path, book: Book) -> Target:
    """A table of designs as CSV -> outcomes."""
    folder.mkdir(exist_ok=True)
    path, project = folder / "cases.csv", folder / "project.yaml"
    put = putter(path)
    project.write_bytes(YARD)
    source = read_project(project, None, Problems())
    batching.open_book = lambda *_, **__: book  # type: ignore[attr-defined]  # opened once, not for each input
    batching.read_project = lambda *_, **__: source  # type: ignore[attr-defined]  # and read once
    header = tuple(TABLE.decode().splitlines()[0].split(","))
    fast = batching.Batch(batching.Job(str(project), header, (("hoists",),), special=True))

    @lru_cache(maxsize=200)
    def opened(header: tuple[str, ...]) -> batching.Batch:
        return batching.Batch(batching.Job(str(project), header, (("hoists",),)))

    def one(given: bytes) -> Iterable[Diagnostic]:
        put(given)
        cases = CaseTable(path)
        batch = opened(cases.header)
        rows = list(cases.rows())[:50]
        made = batch.size(rows)
        if cases.header == header and made != fast.size(rows):
            raise Finding("a program of its own answers otherwise")
        text = io.StringIO(newline="")
        csv.writer(text, lineterminator="\n").writerows([batch.columns, *made.rows])
        if len(text.getvalue().encode("utf-8", "surrogateescape")) > 100_000 + 200 * len(given):
            raise Finding("an output far larger than its input")
        if len(made.rows) != len(rows) or any(len(row) != len(batch.columns) for row in made.rows):
            raise Finding("an output with another number of rows or cells")
        start = Span("cases.csv", 1, 1, 1, 1)
        told = made.faults[:5]
        return [diagnose("bad-case", start, row=f.row, column=f.column, reason=f.reason) for f in told]

    short = b"hoists.east.load [kg],name\n12,a\n1e3,b\nx,d\n"
    plain = b"hoists.west.load [kg]\n1/3\n 12 lb\n16.000000000000001\n"
    word = b"hoists.west.rope\nthin\n\nhuge\n"
    quoted = b'"yard.heat [degC]","note"\n"1,5","a\nb"\n"",""\n'
    tie = b"hoists.west.next;x,hoists.east.rope\neast,thin\nwest,thick\n"
    large = [
        b"a" * 300_000,
        b"hoists.east.load [kg]\n" + b"9" * 100_000,
        b'"' * 9999,
        b"," * 100_000,
        b"\n" * 100_000,
    ]
    large += [
        b"hoists.east.load [kg]\n%s\n" % cell
        for cell in (b"1e999999999", b"1e-999999999", b"1e99999", b"1/1e9")
    ]
    large += [b"hoists.east.load [kg]" + b",hoists.east.load [kg]" * 9000 + b"\n1\n"]
    return Target(
        "tables", "a table of designs", [short, plain, word, quoted, tie, TABLE], [], one, 160, large
    )


def kept_files(folder: Path) -> Target:
    """What lies in the cache, and what a batch that was stopped has left: believed only when whole."""
    folder.mkdir(mode=0o700, exist_ok=True)
    os.environ[cache.VARIABLE] = str(folder / "cache")
    value = {"digest": "sha256:0", "data": [1, "two", None, b"3.5"]}
    cache.switch(on=True)
    cache.keep("fuzz", "key", value)
    (place,) = (folder / "cache").glob("fuzz-*")
    whole = place.read_bytes()
    put = putter(place)
    cache.switch(on=False)
    output = folder / "out.csv"
    with Outcomes(output, ["a", "b"], ["same"]) as outcomes:
        outcomes.add([["1", "2"], ["3", "4"]], [1, 1, 0, 0])
    part, journal = (folder / f"out.csv.{end}" for end in ("part", "journal"))
    rows, noted = part.read_bytes(), journal.read_bytes()

    def one(given: bytes) -> Iterable[Diagnostic]:
        if not given.startswith(cache.MAGIC[:4]):
            return list(go_on(given))
        put(given)
        cache.switch(on=True)
        cache.notes.clear()
        found = cache.fetch("fuzz", "key")
        cache.switch(on=False)
        if found is not None and (found != value or given != whole):
            raise Finding(f"a changed file is believed: {found!r}")
        return list(cache.notes)

    def go_on(given: bytes) -> Iterator[Diagnostic]:
        part.write_bytes(rows)
        journal.write_bytes(given)
        with Outcomes(output, ["a", "b"], ["same"]) as outcomes:
            outcomes.add([["5", "6"]], [0, 1, 0, 0])
            done, counts = outcomes.done, outcomes.counts
            made = part.read_bytes()
        if not (made.startswith(b"a,b\n") and made.count(b"\n") == done + 1 and sum(counts) == done):
            raise Finding(f"{done} rows, {counts}, {made!r}")
        yield diagnose("batch-goes-on", None, path="part", rows=done)

    return Target("kept", "files in the cache, and the journal of a batch", [whole, noted], [], one, 400)
