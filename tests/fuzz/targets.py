"""What inputs are tried on: the rule language, YAML, projects, rulesets, tables of designs, files that were kept."""

from __future__ import annotations

import csv
import io
import json
import os
import re
from collections.abc import Callable, Iterable, Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

from trying import Finding, Target

from gaugebook import batching, cache
from gaugebook.books import check_book
from gaugebook.case_files import CaseTable, Outcomes
from gaugebook.compiling import Pool, Writer, exactness
from gaugebook.diagnostics import Diagnostic, Problems, Span, diagnose
from gaugebook.documents import Document, parse, read
from gaugebook.entries import Place
from gaugebook.grammar import SyntaxProblem, print_tree
from gaugebook.grammar import parse as parse_rule
from gaugebook.meaning import Reader
from gaugebook.project import build_run
from gaugebook.rendering import render_text
from gaugebook.resources import packaged
from gaugebook.runtime import Absent
from gaugebook.session import Book, choose_rulesets, open_book, read_project, size_source
from gaugebook.shelf import Shelf
from gaugebook.yamltree import Scalar

BOOK = b"""\
gaugebook: ruleset/1
id: hoists
version: 1.0.0
title: Hoists
document: Book 1
sources: {S1: {what: written for this test}}
kinds:
  yard: {section: yard, one: yes}
  hoist: {section: hoists}
  pulley: {within: hoist, section: pulleys}
terms:
  covers: [none, roof]
series:
  ropes: {members: [thin, thick, huge], properties: {mass: {unit: kg, values: [1, 2, 8]}}}
  hooks: {unit: kg, members: [10, 20, 50]}
fields:
  yard.heat: {unit: degC, default: 20 degC}
  yard.cover: {terms: covers, default: roof}
  hoist.load: {unit: kg, required: yes, least: 0 kg}
  hoist.wet: {flag: yes, default: no}
  hoist.next: {links: hoist, inverse: before}
  hoist.rope: {series: ropes}
  pulley.width: {unit: mm, required: yes}
  pulley.extra: {unit: kg, may_be_none: yes}
tables:
  bearing: {cites: T1, source: S1, transcription: checked, unit: kg,
    keys: [{name: rope, series: ropes}, {name: wet, unit: "1"}], columns: [0, 1],
    rows: {thin: [20, 15], thick: [80, 60], huge: [160, '-']}}
  weakening: {cites: T2, source: S1, transcription: recalled, unit: "1",
    keys: [{name: heat, unit: degC, match: up_to}], rows: {20: 1, 30: 0.91, 50: 0.71}}
rules:
  share: {of: pulley, unit: kg, cites: "2", is: if extra is given then extra else 0 kg}
  burden: {of: hoist, unit: kg, cites: "1", is: 1.25 * load + sum of share over pulleys}
  strength: {of: hoist, unit: kg, cites: "3", is: "bearing[rope, if wet then 1 else 0] * weakening[yard.heat]"}
checks:
  holds: {of: hoist, cites: "4", require: strength >= burden, constrains: rope}
  hooked: {of: hoist, cites: "5", require: hook >= burden / 2, constrains: hook}
choices:
  rope: {of: hoist, from: ropes, cites: "4"}
  hook: {of: hoist, from: hooks, cites: "5"}
"""

TINY = b"""\
gaugebook: ruleset/1
id: fuzzed
version: 1.0.0
title: Shelves
document: Book 1
kinds: {shelf: {section: shelves}}
series: {boards: {members: [thin, thick]}}
fields: {shelf.load: {unit: kg, least: 0 kg}, shelf.wide: {unit: m}}
constants: {reserve: {unit: "1", value: 1.5, cites: 2.1}}
tables: {bears: {cites: T1, unit: kg, keys: [{name: board, series: boards}], rows: {thin: 20, thick: 40}}}
rules:
  burden: {of: shelf, unit: kg, cites: "1", is: reserve * load}
checks: {holds: {of: shelf, cites: "4", require: "bears[board] >= burden", constrains: board}}
choices: {board: {of: shelf, from: boards, cites: "4"}}
"""

SPARE = b"""\
gaugebook: ruleset/1
id: fuzzed
version: 1.0.0
title: T
document: B
kinds: {a: {section: as, one: yes}}
fields: {a.x: {unit: m}}
rules:
  y: {of: a, unit: m, is: 2 * x, when: x > 1 m, otherwise: 0 m, exceptions: {e: {when: x > 5 m, is: x / 3, cites: "2"}}}
"""

LAYER = b"""\
gaugebook: ruleset/1
id: fuzzed
version: 1.0.0
title: Above
document: Book 2
extends: spare
amend:
  - {set: fields/a.x, to: {default: 2 m}, why: said}
  - {replace: rules/y, with: {of: a, unit: m, is: 3 * x}, cites: "1"}
  - {remove: rules/y}
  - {add: constants/k, with: {unit: "1", value: 2}}
"""

PROJECT = b"""\
gaugebook: project/1
title: Yard
yard: {rulesets: [hoists], heat: 25 degC}
hoists:
  east: {load: 20 kg, pulleys: [{width: 20 mm}, {width: 3 in, extra: 2 kg}]}
  west: {load: 5 kg, wet: yes, next: east, rope: thin}
layouts:
  far: {hoists: {west: {load: 7/8 kg}, east: null}}
"""

TABLE = b"""\
yard.heat [degC],hoists.east.load [kg],hoists.west.wet,hoists.west.rope,hoists.west.next,name
20,12,yes,thin,east,first
31.5,1/3,no,,,second
-4,12 lb,,huge,,third
"""

EXPRESSION = re.compile(r"""(?:is|require|when|otherwise): +(?:"([^"\n]+)"|'([^'\n]+)'|([^\n"'{|]+))""")


def targets(folder: Path) -> list[Target]:
    """Every target; files are made in a folder that is best kept in memory."""
    cache.switch(on=False)
    books = folder / "books"
    books.mkdir(parents=True, exist_ok=True)
    (books / "hoists.yaml").write_bytes(BOOK)
    (books / "spare.yaml").write_bytes(SPARE.replace(b"id: fuzzed", b"id: spare"))
    book = open_book("hoists", folders=[books])
    return [
        expressions(book),
        documents(folder / "documents"),
        projects(folder / "projects", book),
        schedules(folder / "schedules", book),
        rulesets(folder / "rulesets", books),
        tables(folder / "tables", book),
        kept_files(folder / "kept"),
    ]


def shipped(folder: str) -> list[Path]:
    return sorted(path for path in Path(packaged(folder)).rglob("*.yaml"))


def expressions(book: Book) -> Target:
    """Text -> tree -> meaning -> Python -> a value, under a book of hoists."""
    texts = {
        b"load",
        b"sum of share over pulleys where width > 4 mm",
        b"first r in ropes where r.mass > 2 kg",
    }
    for path in [*shipped("rulesets"), *shipped("grammar")]:
        for found in EXPRESSION.findall(path.read_text("utf-8")):
            texts.add(next(filter(None, found)).strip().encode())
    known = book.checked
    entry = next(entry for entry in known.book.entries.values() if entry.id == "rules/burden")
    exact = exactness(known.model, known.programs)
    problems = Problems()
    document = parse(PROJECT.decode(), "yard.yaml")
    from gaugebook.project import Source

    run = build_run(Source(document, None, problems), book.rulebook, {}, problems)
    thing = run.things["hoists.east"]

    def one(given: bytes) -> Iterable[Diagnostic]:
        text = given.decode("utf-8", "surrogateescape")
        try:
            tree = parse_rule(text)
        except SyntaxProblem as error:
            if not 0 <= error.start <= error.end <= max(len(text), 1):
                raise Finding(f"{error.name} points from {error.start} to {error.end}") from None
            return [Diagnostic(error.name, error.message, None, error.help)]
        if parse_rule(print_tree(tree)) != tree:
            raise Finding("the printed text is read as another tree")
        found = Problems()
        root = Scalar((0, 0), (0, len(text)), text, None, text)
        entry.places[("is",)] = Place(Document("rule", text, text, root), ())
        op = Reader(known.model, entry, "hoist", found).read(text, "is")
        if op is None or len(found):
            return list(found)
        pool = Pool()
        written = Writer(known.model, pool, exact).write(op)
        space: dict[str, Any] = dict(book.rulebook.namespace)
        exec("\n".join([*pool.lines, f"def answer(t):\n    return {written}"]), space)
        with run.exactly():
            try:
                space["answer"](thing)
            except Absent:
                return [diagnose("values-lean-on-each-other", None, path="none")]
        return []

    words = (
        b"is of in over where given if then else and or not sum greatest least any all count first last none"
    )
    more = b"load wet rope hook pulleys share yard.heat next before power square_root round_up absolute"
    short = sorted(text for text in texts if len(text) <= 60)
    large = [
        b"(" * 9000,
        b"not " * 2400,
        b"1 + " * 2400 + b"1",
        b"a." * 4900 + b"a",
        b"-" * 9999,
        b"x" * 20_000,
    ]
    large += [b"2 ^ " * 2000 + b"2", b"power(9, 999999999)", b"power(1/3, 0.999999999)", b"9 ^ 999999999"]
    large += [
        b"power(" * 60 + b"9" + b", 99)" * 60,
        b"((load / 1 kg) ^ 64) ^ 64 ^ 64",
        b"if " * 3000,
        b"load[" * 3000,
    ]
    large += [
        b"1" * 5000,
        b"1." + b"0" * 5000 + b" kg",
        b"round_up(10, 0)",
        b"square_root(-1)",
        b"9 ^ -999999",
    ]
    return Target("expressions", "the rule language", short, [*words.split(), *more.split()], one, 120, large)


def documents(folder: Path) -> Target:
    """A file -> data with places."""
    folder.mkdir(exist_ok=True)
    path = folder / "document.yaml"
    put = putter(path)
    deep = [
        b"[" * 5000,
        b"{a: " * 3000,
        b"- " * 3000,
        b"? " * 3000,
        b"a: " * 40,
        b"x" * 100_000,
        b"'" * 20_000,
    ]
    bomb = b"a: &a [x, x]\n" + b"".join(
        b"%c: &%c [%s]\n" % (98 + n, 98 + n, b", ".join([b"*%c" % (97 + n)] * 9)) for n in range(12)
    )
    seeds = [PROJECT[:200], b"", b"a: 1\nb: [c, {d: e}]\nf: |\n  g\n  h\n", bomb]
    seeds += [b"k: &x {l: *x}\n", b"%TAG ! tag:x,2000:\n---\n!a b\n", b"\xef\xbb\xbfa: b\r\nc: d\r\n"]
    for shipped_file in shipped("rulesets")[::8]:
        seeds.append(shipped_file.read_bytes()[:250])

    def one(given: bytes) -> Iterable[Diagnostic]:
        put(given)
        problems = Problems()
        document = read(path, problems)
        if document is None:
            return _some(problems)
        for place in [(), *_places(document.data, (), 3)]:
            for span in (document.span(place), document.key_span(place), document.span_inside(place, 0, 1)):
                _inside(span, document)
        return list(problems)

    return Target("documents", "the YAML loader", seeds, [], one, 300, deep)


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
    seeds, one = [small, PROJECT, loop, read_by, taken], sized(folder / "project.yaml", book)
    return Target("projects", "loading and sizing a project", seeds, [], one, 400, large)


def schedules(folder: Path, book: Book) -> Target:
    """A schedule as CSV, read by a plugin -> the same."""
    folder.mkdir(exist_ok=True)
    pairs = b"[project]\ntitle,Yard\n[yard]\nname,heat [degC],cover\nyard,25,none\n"
    plain = b"[hoists]\nname,load [kg],wet,rope,next\na,4,no,huge,b\nb,1/3 lb,yes,,\n"
    odd = b'\xef\xbb\xbf[hoists]\r\n"Name","Load (kg)",taken_from\r\n"a;b","1,5","x: y"\r\n\r\n[runs]\r\nhoist,x\r\n'
    large = [b"[hoists]\n" + b"," * 50_000, b"[hoists]\nname\n" + b"a\n" * 5000, b"[" * 9999, b'"' * 9999]
    one = sized(folder / "schedule.csv", book)
    return Target(
        "schedules", "loading and sizing a schedule", [plain, pairs + plain, odd], [], one, 400, large
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


def rulesets(folder: Path, books: Path) -> Target:
    """A ruleset -> checked, compiled, and a project sized under it."""
    folder.mkdir(exist_ok=True)
    path, project = folder / "fuzzed.yaml", folder / "project.txt"
    put = putter(path)
    project.write_bytes(b"gaugebook: project/1\nshelves: {a: {load: 4 kg, wide: 1 m}}\na: {x: 3 m}\n")
    places = {"fuzzed": path, **{place.stem: place for place in books.glob("*.yaml")}}
    Shelf.places = lambda self: places  # type: ignore[method-assign]  # looked for once, not for each input
    sections = b"readings totals cautions checks choices not_encoded units summary precedence retire borrow exceptions"
    words = b"unit is of when otherwise cites from keys match up_to at_least linear exact series terms flag links least"
    more = b"fuzzed spare rules/y fields/a.x tables/bears was to with set add remove replace allow may_be_none default"

    def one(given: bytes) -> Iterable[Diagnostic]:
        put(given)
        checked = check_book(["fuzzed"], [folder, books])
        rulebook = checked.compiled()
        problems = Problems()
        from gaugebook.project import read_source

        source = read_source(project, None, problems)
        assert source is not None
        run = build_run(source, rulebook, {}, problems)
        if len(problems):
            return _some(problems)
        for thing in run.things.values():
            for name in rulebook.attributes[thing.kind]:
                try:
                    with run.exactly():
                        thing.get(name)
                except Absent:
                    continue
        return []

    seeds, known = [SPARE, LAYER, TINY], b" ".join([sections, words, more]).split()
    long = [
        b"2 ^ 999999 * x",
        b"x ^ 99999999",
        b"(" * 3000 + b"x",
        b"power(9, 9999999) * x",
        b"x * 1" + b"0" * 2000,
    ]
    large = [SPARE.replace(b"2 * x", expression) for expression in long]
    chain = b"".join(b"  r%d: {of: a, unit: m, is: r%d}\n" % (n, n + 1) for n in range(1500))
    large += [SPARE + chain + b"  r1500: {of: a, unit: m, is: x}\n"]
    large += [
        SPARE.replace(b"{unit: m}", b"{unit: %s}" % unit) for unit in (b"m99999999", b"m" * 9999, b"m/" * 999)
    ]
    return Target("rulesets", "loading a ruleset", seeds, known, one, 700, large)


def tables(folder: Path, book: Book) -> Target:
    """A table of designs as CSV -> outcomes."""
    folder.mkdir(exist_ok=True)
    path, project = folder / "cases.csv", folder / "project.yaml"
    put = putter(path)
    project.write_bytes(PROJECT.replace(b"layouts:\n", b"note:\n"))
    batching.open_book = lambda *_, **__: book  # type: ignore[attr-defined]  # opened once, not for each input
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

    short = b"hoists.east.load [kg],name\n12,a\n1e3,b\n-1,c\nx,d\n1/3,e\n12 lb,f\n.5,g\n1e-9,h\n0,i\n"
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
    return Target("tables", "a table of designs", [short, TABLE, quoted, tie], [], one, 200, large)


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


def putter(path: Path) -> Callable[[bytes], None]:
    """Puts inputs into one file, opened once."""
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT, 0o600)

    def put(given: bytes) -> None:
        os.pwrite(descriptor, given, 0)
        os.ftruncate(descriptor, len(given))

    return put


def _some(problems: Problems) -> list[Diagnostic]:
    found = list(problems)
    if not found:
        raise Finding("refused without a reason")
    return found


def _places(data: Any, path: tuple[Any, ...], depth: int) -> Iterator[tuple[Any, ...]]:
    """The paths of some values of a document."""
    if depth and isinstance(data, (dict, list)):
        for step, value in list(data.items() if isinstance(data, dict) else enumerate(data))[:4]:
            yield (*path, step)
            yield from _places(value, (*path, step), depth - 1)


def _inside(span: Span, document: Document) -> None:
    ends = (span.line, span.column) <= (span.end_line, span.end_column)
    if not (1 <= span.line <= len(document.lines) + 1 and span.column >= 1 and ends):
        raise Finding(f"a place outside of the file: {span} to {span.end_line}:{span.end_column}")
