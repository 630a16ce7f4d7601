"""What authors write is read: expressions, YAML, rulesets, jurisdictions, cases of rulesets."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

from samples import ADOPTION, CASES, CASES_OF_A_FILE, LAYER, LINES, PROJECT, RECKONED, SPARE, TINY
from trying import Finding, Target, putter, some

from gaugebook import casework
from gaugebook.adopting import read_jurisdiction
from gaugebook.bench import report
from gaugebook.books import CheckedBook, open_book
from gaugebook.compiling import Pool, Writer, exactness
from gaugebook.diagnostics import Diagnostic, Problems, Span, diagnose
from gaugebook.documents import Document, parse, read
from gaugebook.entries import Place
from gaugebook.grammar import SyntaxProblem, print_tree
from gaugebook.grammar import parse as parse_rule
from gaugebook.layers import stack_of, stacked
from gaugebook.linting import lint
from gaugebook.moments import LATEST, Moment
from gaugebook.project import build_run
from gaugebook.resources import packaged
from gaugebook.runtime import Absent
from gaugebook.session import Book
from gaugebook.shelf import Shelf
from gaugebook.source import Source
from gaugebook.understanding import Reader
from gaugebook.yamltree import Scalar

EXPRESSION = re.compile(r"""(?:is|require|when|otherwise): +(?:"([^"\n]+)"|'([^'\n]+)'|([^\n"'{|]+))""")


def shipped(*folder: str) -> list[Path]:
    """The YAML files shipped below a folder."""
    return sorted(packaged(*folder).rglob("*.yaml"))


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
        if len(text) % 4 == 0 and parse_rule(print_tree(tree)) != tree:
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
            return some(problems)
        for place in [(), *_places(document.data, (), 3)]:
            for span in (document.span(place), document.key_span(place), document.span_inside(place, 0, 1)):
                _inside(span, document)
        return list(problems)

    return Target("documents", "the YAML loader", seeds, [], one, 300, deep)


def rulesets(folder: Path, books: Path) -> Target:
    """A ruleset -> checked, compiled, and every value of a thing under it worked out."""
    folder.mkdir(exist_ok=True)
    put = putter(folder / "fuzzed.yaml")
    put(SPARE)
    shelf = _shelf([folder, books])
    stated = {
        kind: Source(parse(f"gaugebook: project/1\n{things}\n", "project.yaml"), None, Problems())
        for kind, things in (("shelf", "shelves: {a: {load: 4 kg}}"), ("a", "a: {x: 3 m}"))
    }
    sections = b"readings totals cautions checks choices not_encoded units summary precedence retire borrow exceptions"
    words = b"unit is of when otherwise cites from keys match up_to at_least linear exact series terms flag links least"
    more = b"fuzzed spare rules/y fields/a.x tables/bears was to with set add remove replace allow may_be_none default"

    def one(given: bytes) -> Iterable[Diagnostic]:
        put(given)
        problems = Problems()
        book = stacked(stack_of(["fuzzed"], shelf, problems), problems, LATEST, shelf)
        problems.refuse_if_any()
        checked = CheckedBook(book, problems)
        rulebook = checked.compiled()
        for source in (stated[kind] for kind in stated if kind in rulebook.attributes):
            run = build_run(source, rulebook, {}, problems)
            for thing in run.things.values():
                for name in rulebook.attributes[thing.kind]:
                    try:
                        with run.exactly():
                            thing.get(name)
                    except Absent:
                        continue
        return [*problems, *lint(checked, book.layers[-1])]

    seeds, known = [SPARE, LAYER, TINY, LINES], b" ".join([sections, words, more]).split()
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
    return Target("rulesets", "loading a ruleset", seeds, known, one, 600, large)


def jurisdictions(folder: Path, books: Path) -> Target:
    """A jurisdiction's document -> its faults, and what it adopts for jobs that state much or little."""
    (folder / "jurisdictions").mkdir(parents=True, exist_ok=True)
    put = putter(folder / "jurisdictions" / "fuzzed.yaml")
    shelf, known = _shelf([folder]), _shelf([books]).places()
    spring = {"yard.permit": "2016-02-29", "yard.cover": "roof"}
    jobs = [
        {},
        spring,
        {"yard.applied": "2012-07-01", "yard.begun": "2016-01-01", "yard.heat": "25 degC"},
        {**spring, "yard.elected": "kept"},
        {"yard.permit": "spring", "yard.begun": "9999-12-31"},
    ]

    def one(given: bytes) -> Iterable[Diagnostic]:
        put(given)
        problems = Problems()
        place = read_jurisdiction("fuzzed", shelf, problems)
        if place is None:
            return some(problems)
        for name, span, values in place.faults(known):
            problems.add(name, span, **values)
        for job, day in [*((job, None) for job in jobs), (spring, "2015-12-31"), (spring, "today")]:
            found = Problems()
            adoption = place.adopt(job.get, day, found)
            if adoption is None and not len(found):
                raise Finding("nothing adopted without a reason")
            if adoption is not None:
                json.dumps([adoption.to_plain(), adoption.stack, adoption.moment, adoption.not_encoded])
            for diagnostic in found:
                problems.note(diagnostic)
        return list(problems)

    words = b"""from until stack elect yes no when trigger latest earliest election events on after before days weeks
        months years first next month quarter 02-29 unknown 9999-12-31 0001-01-01 2016-02-29 ruleset not_encoded
        reference floating resolved note cites yard.permit yard.cover is given one of and or not roof"""
    shipped_ones = [path.read_bytes() for path in shipped("rulesets", "jurisdictions")]
    seeds = [ADOPTION, RECKONED, *(re.sub(rb"(?m)^id: .*$", b"id: fuzzed", one) for one in shipped_ones)]
    small = [seed for seed in seeds if len(seed) < 700]
    events = b", ".join(b"{after: filed, days: %d}" % n for n in range(500))
    deep = b"{after: " * 50 + b"filed" + b", days: 1}" * 50
    large = [
        RECKONED.replace(b"{after: filed, days: 90}", day)
        for day in (b"{latest: [%s]}" % events, deep, b"{after: filed, years: %s}" % (b"9" * 49))
    ]
    large += [
        ADOPTION.replace(b"yard.cover is roof", text) for text in (b"not " * 2400, b"a and " * 1500 + b"a")
    ]
    large += [
        ADOPTION + b"".join(b"  - {name: p%d, stack: [spare]}\n" % n for n in range(1000)),
        *shipped_ones,
    ]
    return Target("jurisdictions", "what is adopted where and when", small, words.split(), one, 600, large)


def cases(folder: Path, books: Path) -> Target:
    """Cases of a ruleset -> run under it."""
    (folder / "cases").mkdir(parents=True, exist_ok=True)
    put = putter(folder / "cases" / "fuzzed.yaml")
    (folder / "yard.yaml").write_bytes(PROJECT)

    @lru_cache(maxsize=20)
    def opened(day: str | None) -> casework.CountedRulebook:
        return casework.CountedRulebook(open_book(["hoists"], [books], Moment(day)).frozen)

    on = lambda self, day: opened(day)  # noqa: E731  # opened once for each day, not for each input
    casework.Books.on = on  # type: ignore[method-assign]

    def one(given: bytes) -> Iterable[Diagnostic]:
        put(given)
        outcome = casework.try_cases("hoists", folder)
        if f"\nhoists: {outcome.cases} cases, " not in f"\n{report('hoists', outcome, {})}":
            raise Finding("a report that does not say how many cases there are")
        if outcome.failed > outcome.cases or bool(outcome.failed) is not bool(outcome.misses):
            raise Finding(f"{outcome.failed} of {outcome.cases} fail by {outcome.misses}")
        missed = [Diagnostic("case-missed", miss.found, miss.span) for miss in outcome.misses]
        return [*outcome.notices, *missed]

    words = b"""given project layout readings expect checks tolerance source note date base name undetermined none
        not_applicable pass fail hoists.a hoists.a.burden hoists.a.strength hoists.a.hook hoists.a.wet holds hooked
        hoists.west.rope yard.heat yard.cover thin thick huge roof 2015-02-03 0.1 % kg degC ../yard.yaml far null"""
    paths = (b".", b"/", b"x" * 5000, b'"a\\0b"', b"fuzzed.yaml")
    large = [
        CASES.replace(b"hoists.a.burden: 5 kg", b"".join(b"hoists.a.x%d: 5 kg, " % n for n in range(900))),
        CASES
        + b"".join(b"  - {name: c%d, given: {}, expect: {hoists.a.hook: 10 kg}}\n" % n for n in range(300)),
        *(CASES.replace(b"0.1 %", number) for number in (b"9" * 49, b"-1", b"1/" + b"9" * 40, b"1e999999")),
        *(CASES.replace(b"5 kg", text) for text in (b"9" * 20_000, b"x" * 20_000 + b" kg", b'"a\\nb: c"')),
        *(CASES_OF_A_FILE.replace(b"../yard.yaml", path) for path in paths),
    ]
    others = {"yard.yaml": PROJECT}
    seeds = [CASES, CASES_OF_A_FILE]
    return Target("cases", "cases of a ruleset", seeds, words.split(), one, 450, large, others)


def _shelf(folders: list[Path]) -> Shelf:
    """A shelf of these folders alone, looked through once and not for each input."""
    shelf = Shelf()
    shelf.folders = folders
    places, jurisdictions = shelf.places(), shelf.jurisdictions()
    shelf.places, shelf.jurisdictions = lambda: places, lambda: jurisdictions  # type: ignore[method-assign]
    return shelf


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
