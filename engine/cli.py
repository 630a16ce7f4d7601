"""The command line. Exit status: 0 every check passes, 1 one fails or stays undetermined, 2 wrong input.

Everything heavy is imported inside the command that needs it.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Sequence
from functools import cache, partial
from pathlib import Path
from typing import Any, NoReturn

from .diagnostics import GaugebookError, Problems, render

PROGRAM = "gaugebook"
PASSED, FAILED, WRONG = 0, 1, 2
INTERRUPTED = 130
WITHOUT = "--without-plugin"


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; never raises, always answers an exit status."""
    from .extending import without

    try:
        said, left_alone = _left_alone(list(sys.argv[1:] if arguments is None else arguments))
        with without(left_alone):
            options = build_parser(said).parse_args(said)
            command: Callable[[argparse.Namespace], int] = options.command
            return _cached(command, options)
    except GaugebookError as error:
        return _complain("\n".join(render(diagnostic) for diagnostic in error.diagnostics))
    except SystemExit as exit:
        return exit.code if isinstance(exit.code, int) else WRONG
    except KeyboardInterrupt:
        return INTERRUPTED
    except Exception as error:
        return _complain(
            f"{PROGRAM}: internal error: {type(error).__name__}: {error}\n"
            "  help: this is a mistake in the program; please report it with the command and the files"
        )


def _left_alone(arguments: list[str]) -> tuple[list[str], list[str]]:
    """A call without its --without-plugin options, and what they name: that is settled before all else."""
    said: list[str] = []
    names: list[str] = []
    rest = iter(arguments)
    for argument in rest:
        option, sign, name = argument.partition("=")
        if argument == "--":
            return [*said, argument, *rest], names
        if option != WITHOUT:
            said.append(argument)
        elif sign:
            names.append(name)
        else:
            names.append(next(rest, ""))
    if "" in names:
        raise GaugebookError.because("bad-call", problem=f"{WITHOUT} names no plugin", program=PROGRAM)
    return said, names


def _cached(command: Callable[[argparse.Namespace], int], options: argparse.Namespace) -> int:
    """Run a command with or without the cache, and tell of the cache if asked to."""
    from . import cache as kept

    kept.switch(on=not getattr(options, "no_cache", False))
    kept.notes.clear()
    try:
        return command(options)
    finally:
        if getattr(options, "verbose", False):
            for note in kept.notes:
                _complain(f"note: {render(note)}")


def _complain(text: str) -> int:
    """Print to standard error; if nobody listens there, so be it."""
    try:
        print(text, file=sys.stderr, flush=True)
    except (OSError, UnicodeError):
        _silence(sys.stderr)
    return WRONG


def _silence(stream: Any) -> None:
    """Send what is left of a broken stream nowhere, so that closing it does not complain."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
    except (OSError, ValueError):
        return


def _write(options: argparse.Namespace, text: str) -> None:
    """Put the answer where it is wanted: the file of --output, or standard output."""
    if getattr(options, "output", None):
        try:
            Path(options.output).write_text(text, "utf-8")
        except OSError as error:
            raise GaugebookError.because(
                "cannot-write", path=options.output, reason=error.strerror or error
            ) from None
        return
    if hasattr(sys.stdout, "reconfigure"):
        sys.stdout.reconfigure(errors="replace")
    try:
        sys.stdout.write(text if text.endswith("\n") else text + "\n")
        sys.stdout.flush()
    except BrokenPipeError:
        _silence(sys.stdout)


def _json(data: Any) -> str:
    import json

    return json.dumps(data, indent=2, ensure_ascii=False)


# --- commands -----------------------------------------------------------------------------------------


def _sized(options: argparse.Namespace) -> Any:
    """The result the selectors of the call ask for."""
    from .session import size

    return size(
        options.project,
        options.ruleset,
        options.layout,
        _readings(options),
        options.rulesets or (),
        options.jurisdiction,
        options.date,
    )


def _status(passes: bool | None) -> int:
    return PASSED if passes else FAILED


def _size(options: argparse.Namespace) -> int:
    from .reporting import report_format

    render_report = report_format(options.format)
    result = _sized(options)
    _write(options, render_report(result, options.full))
    return _status(result.passes)


def _explain(options: argparse.Namespace) -> int:
    from . import explaining

    result = _sized(options)
    told = explaining.explain(
        result.run, result.book.checked, options.name, full=options.full, source=result.source
    )
    if options.format == "json":
        text = _json(told)
    elif options.format == "markdown":
        text = explaining.render_markdown(told, options.full)
    else:
        text = explaining.render_text(told, options.full)
    _write(options, text)
    return _status(result.passes)


def _compare(options: argparse.Namespace) -> int:
    from .questions import compare

    stacks, layouts, folders = options.ruleset or (), options.layout or (), options.rulesets or ()
    everything = options.all or options.format == "html"
    wanted = {"date": options.date, "everything": everything, "values": options.values}
    comparison = compare(options.project, stacks, layouts, _readings(options), folders, **wanted)
    _answer(options, comparison)
    return _status(comparison.passes)


def _batch(options: argparse.Namespace) -> int:
    from .batch_run import run_batch
    from .batching import Job
    from .case_files import CaseTable

    cases = CaseTable(Path(options.cases))
    stacks = tuple(tuple(stack.split("+")) for stack in options.ruleset or ()) or ((),)
    readings = tuple(_readings(options).items())
    folders = tuple(options.rulesets or ())
    job = Job(options.project, cases.header, stacks, options.layout, readings, folders, options.date)
    summary = run_batch(job, cases, Path(options.output), _tell, options.workers)
    print(
        f"{summary.rows:,} rows: {summary.passing:,} pass, {summary.failing:,} fail, "
        f"{summary.undetermined:,} undetermined, {summary.bad:,} bad"
    )
    return WRONG if summary.bad else PASSED if summary.passing == summary.rows else FAILED


def _tell(note: Any) -> None:
    """Something the user should know meanwhile."""
    _complain(render(note))


def _limits(options: argparse.Namespace) -> int:
    from .questions import limits_of_result

    result = _sized(options)
    _answer(options, limits_of_result(result, options.input))
    return _status(result.passes)


def _answer(options: argparse.Namespace, answer: Any) -> None:
    """Print an answer in the form asked for."""
    from .blocks import as_markdown, as_text

    if options.format == "json":
        text = answer.to_json()
    elif options.format == "html":
        from .plugins.answer_html import render as render_file

        text = render_file(answer)
    else:
        text = {"table": as_text, "markdown": as_markdown}[options.format](answer.page(options.full))
    _write(options, text)


def _folders(options: argparse.Namespace) -> list[Path]:
    from .session import search_folders

    return search_folders(options.rulesets or ())


def _page(options: argparse.Namespace, page: Any) -> str:
    from .blocks import as_markdown, as_text

    return as_markdown(page) if options.format == "markdown" else as_text(page)


def _ruleset_list(options: argparse.Namespace) -> int:
    from . import bench

    found = bench.listing(_folders(options))
    _write(options, _json(found) if options.format == "json" else _page(options, bench.listing_page(found)))
    return PASSED


def _ruleset_show(options: argparse.Namespace) -> int:
    from . import bench

    folders = _folders(options)
    if options.entry:
        page = bench.show_entry(options.id, options.entry, folders)
    elif options.coverage:
        page = bench.show_coverage(options.id, folders)
    else:
        page = bench.show(options.id, folders)
    _write(options, _page(options, page))
    return PASSED


def _ruleset_check(options: argparse.Namespace) -> int:
    from . import bench

    told: dict[str, None] = {}
    problems = Problems()
    for path in options.id:
        try:
            told[bench.check(path, _folders(options))] = None
        except GaugebookError as error:
            problems.take(error)
    problems.refuse_if_any()
    _write(options, "\n\n".join(told))
    return PASSED


def _ruleset_diff(options: argparse.Namespace) -> int:
    from . import bench, differing

    found = bench.diff(options.one, options.other, _folders(options))
    page = differing.page(options.one, options.other, found)
    _write(options, _json(found) if options.format == "json" else _page(options, page))
    return PASSED


def _ruleset_new(options: argparse.Namespace) -> int:
    from . import bench

    _write(options, bench.begin(options.id, options.extends, Path(options.folder), _folders(options)))
    return PASSED


def _ruleset_test(options: argparse.Namespace) -> int:
    from . import bench

    outcome, text = bench.try_out(options.id, _folders(options))
    _write(options, text)
    return FAILED if outcome.failed else PASSED


def _plugins(options: argparse.Namespace) -> int:
    from . import plugin_list
    from .extending import extensions

    found = plugin_list.listing(extensions())
    _write(options, _json(found) if options.format == "json" else _page(options, plugin_list.page(found)))
    return PASSED


def _look_up(options: argparse.Namespace) -> int:
    from . import plugin_list
    from .extending import extensions
    from .taking import look_up

    if options.catalogue is None or options.item is None:
        known = [catalogue for _, catalogue in extensions().catalogues().values()]
        _write(options, _page(options, plugin_list.catalogues_page(known)))
        return PASSED
    name, item, taken = look_up(f"{options.catalogue}: {options.item}", Path())
    page = plugin_list.taken_page(name, item, taken)
    _write(options, _json(taken._asdict()) if options.format == "json" else _page(options, page))
    return PASSED


def _schema(options: argparse.Namespace) -> int:
    if options.what == "project":
        from .project_schema import project_schema
        from .session import open_book

        if not options.ruleset:
            raise GaugebookError.because("no-ruleset-named")
        schema = project_schema(open_book(*options.ruleset, folders=options.rulesets or ()).rulebook)
    else:
        from .schema import schema_of

        schema = schema_of(options.what)
    _write(options, _json(schema))
    return PASSED


def _readings(options: argparse.Namespace) -> dict[str, str]:
    """The pairs of --reading; all that are no pairs are reported together."""
    problems = Problems()
    readings = {}
    for pair in options.reading or ():
        name, sign, option = pair.partition("=")
        if not (name and sign and option):
            problems.add("bad-pair", text=pair)
        readings[name.strip()] = option.strip()
    problems.refuse_if_any()
    return readings


# --- the shape of a call ------------------------------------------------------------------------------


class Formatter(argparse.HelpFormatter):
    """Lays out help; finds the width of the terminal itself, because argparse imports all of shutil for that,
    and makes a formatter for every single option."""

    def __init__(self, prog: str) -> None:
        super().__init__(prog, width=_terminal_width() - 2)


@cache
def _terminal_width() -> int:
    """The width of the terminal in characters, 80 where there is none."""
    try:
        return int(os.environ["COLUMNS"])
    except (KeyError, ValueError):
        pass
    try:
        return os.get_terminal_size(sys.__stdout__.fileno()).columns or 80  # type: ignore[union-attr]
    except (AttributeError, ValueError, OSError):
        return 80


class Parser(argparse.ArgumentParser):
    """A parser whose complaints look like all others."""

    def __init__(self, *arguments: Any, **options: Any) -> None:
        options.setdefault("formatter_class", Formatter)
        super().__init__(*arguments, **options)

    def error(self, message: str) -> NoReturn:
        """Refuse the call."""
        raise GaugebookError.because("bad-call", problem=message, program=self.prog)


class Version(argparse.Action):
    """Prints the version; it is only looked up when asked for."""

    def __init__(self, **options: Any) -> None:
        super().__init__(nargs=0, **options)

    def __call__(self, parser: argparse.ArgumentParser, *_: Any) -> NoReturn:
        """Print and leave."""
        from .results import version

        print(f"{PROGRAM} {version()}")
        raise SystemExit(PASSED)


class OnlyOne:
    """Takes the place of the commands of a parser: keeps the one wanted, and swallows all others.

    Making the parsers of every command takes longer than sizing a small project.
    """

    def __init__(self, commands: Any, wanted: str) -> None:
        self.commands, self.wanted = commands, wanted

    def add_parser(self, name: str, **options: Any) -> Any:
        """The parser of the command wanted; something that does nothing for any other."""
        return self.commands.add_parser(name, **options) if name == self.wanted else Swallowing()

    @property
    def choices(self) -> dict[str, Any]:
        """The commands kept."""
        choices: dict[str, Any] = self.commands.choices
        return choices


class Swallowing:
    """A parser that nobody will ask: whatever is called, it does nothing and answers itself."""

    def __getattr__(self, _: str) -> Callable[..., Swallowing]:
        return lambda *arguments, **options: self


def build_parser(said: Sequence[str] = ()) -> Parser:
    """The command that `said` begins with, else every command; those of plugins where it holds none of ours."""
    if said and not said[0].startswith("-"):
        parser, found = _build_parser(said, said[0])
        if found:
            return parser
    return _build_parser(said, None)[0]


def _build_parser(said: Sequence[str], wanted: str | None) -> tuple[Parser, bool]:
    """Every command with its options, or only the one wanted; and whether there is any."""
    about = "Sizes a project under the books that apply to it, every value cited."
    parser = Parser(PROGRAM, description=about)
    leave = "leave a plugin alone; repeatable, anywhere in a call"
    parser.add_argument(WITHOUT, action="append", metavar="NAME", help=leave)
    parser.add_argument("--version", action=Version, help="print the version and leave")
    commands: Any = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    if wanted is not None:
        commands = OnlyOne(commands, wanted)

    size = commands.add_parser("size", help="make every open choice, check everything that is stated")
    size.add_argument("project", metavar="PROJECT", help="a project file")
    _select(size)
    _present(size, "table")
    size.set_defaults(command=_size)

    explain = commands.add_parser("explain", help="how one value came about, down to inputs and table cells")
    explain.add_argument("project", metavar="PROJECT", help="a project file")
    explain.add_argument("name", metavar="THING.ATTRIBUTE", help="a value, section.thing.attribute")
    _select(explain)
    _present(explain, "table", "json", "markdown")
    explain.set_defaults(command=_explain)

    compare = commands.add_parser("compare", help="layouts and rulesets side by side, and why they differ")
    compare.add_argument("project", metavar="PROJECT", help="a project file")
    compare.add_argument("--ruleset", action="append", metavar="ID[+ID]", help="a column; repeatable")
    compare.add_argument("--layout", action="append", metavar="NAME", help="base: the project as written")
    compare.add_argument("--date", metavar="YYYY-MM-DD", help="the day that counts")
    compare.add_argument("--reading", action="append", metavar="NAME=OPTION", help="settle an open reading")
    compare.add_argument("--all", action="store_true", help="also the rows that agree")
    compare.add_argument("--values", action="store_true", help="every derived value, not only choices")
    _search(compare)
    _present(compare, "table", "json", "markdown", "html")
    compare.set_defaults(command=_compare)

    batch = commands.add_parser("batch", help="a project as template, many cases; a table of outcomes")
    batch.add_argument("project", metavar="PROJECT", help="a project file: what all cases have in common")
    batch.add_argument(
        "cases",
        metavar="CASES",
        help="a .csv or .parquet file; its header names fields, 'section.thing.field [unit]'",
    )
    batch.add_argument(
        "--ruleset", action="append", metavar="ID[+ID]", help="a stack of rulesets; repeat for more outcomes"
    )
    batch.add_argument("--output", required=True, metavar="FILE", help="a .csv or .parquet file")
    batch.add_argument("--layout", metavar="NAME", help="one of the project's layouts")
    batch.add_argument("--date", metavar="YYYY-MM-DD", help="the day that counts, over the project's own")
    batch.add_argument("--reading", action="append", metavar="NAME=OPTION", help="settle an open reading")
    batch.add_argument("--workers", type=int, default=1, metavar="N", help="processes (default: %(default)s)")
    _search(batch)
    batch.set_defaults(command=_batch)

    limits = commands.add_parser("limits", help="how far each input may move before an outcome changes")
    limits.add_argument("project", metavar="PROJECT", help="a project file")
    limits.add_argument("--input", action="append", metavar="THING.FIELD", help="move this one only")
    _select(limits)
    _present(limits, "table", "json", "markdown", "html")
    limits.set_defaults(command=_limits)

    ruleset = commands.add_parser("ruleset", help="what rulesets there are, and whether they are sound")
    benches = ruleset.add_subparsers(title="commands", required=True, metavar="COMMAND")
    listing = benches.add_parser("list", help="every ruleset found")
    _search(listing)
    _present(listing, "table", "json", "markdown", full=False)
    listing.set_defaults(command=_ruleset_list)
    show = benches.add_parser("show", help="the entries of a ruleset, or one entry in full")
    show.add_argument("id", metavar="ID", help="a ruleset")
    show.add_argument("entry", metavar="ENTRY", nargs="?", help="section/name, or the name alone")
    show.add_argument("--coverage", action="store_true", help="section by section: encoded, or why not")
    _search(show)
    _present(show, "table", "markdown", full=False)
    show.set_defaults(command=_ruleset_show)
    diff = benches.add_parser("diff", help="what changed from one ruleset to another, in words")
    diff.add_argument("one", metavar="A", help="a ruleset by id, or its folder or file")
    diff.add_argument("other", metavar="B", help="a ruleset by id, or its folder or file")
    _search(diff)
    _present(diff, "table", "json", "markdown", full=False)
    diff.set_defaults(command=_ruleset_diff)
    new = benches.add_parser("new", help="write a first layer, with comments that teach")
    new.add_argument("id", metavar="ID", help="the name of the layer, PLACE-YEAR")
    new.add_argument("--extends", metavar="PARENT", required=True, help="the ruleset it changes")
    new.add_argument("--folder", metavar="DIR", default=".", help="where to write it (default: here)")
    _search(new)
    new.set_defaults(command=_ruleset_new)
    for name, command, what, several in (
        ("check", _ruleset_check, "every fault of a ruleset, before any project is read", "+"),
        ("test", _ruleset_test, "run the worked cases of a ruleset", None),
    ):
        bench = benches.add_parser(name, help=what)
        what = "a ruleset by id, or its folder or file"
        bench.add_argument("id", metavar="PATH-or-ID", nargs=several, help=what)
        _search(bench)
        bench.set_defaults(command=command)

    schema = commands.add_parser("schema", help="print a JSON Schema")
    documents = ("project", "ruleset", "jurisdiction", "cases", "result", "compare", "limits")
    schema.add_argument("what", choices=documents)
    schema.add_argument("--ruleset", action="append", metavar="ID", help="whose projects; repeat to stack")
    schema.add_argument("--output", metavar="FILE", help="write to a file")
    _search(schema)
    schema.set_defaults(command=_schema)

    plugins = commands.add_parser("plugins", help="what is loaded, from where, and what it adds")
    _present(plugins, "table", "json", "markdown", full=False)
    plugins.set_defaults(command=_plugins)

    look_up = commands.add_parser("look-up", help="what a catalogue knows of an item")
    look_up.add_argument("catalogue", metavar="CATALOGUE", nargs="?", help="left out: list the catalogues")
    look_up.add_argument("item", metavar="ITEM", nargs="?", help="a name it knows, or a file it reads")
    _present(look_up, "table", "json", "markdown", full=False)
    look_up.set_defaults(command=_look_up)
    if wanted is None and not set(said) & set(commands.choices):
        _add_plugin_commands(commands)
    return parser, bool(commands.choices)


def _add_plugin_commands(commands: Any) -> None:
    """The commands that plugins add; none can take the place of one of ours."""
    from .extending import extensions

    for plugin, item in extensions().commands():
        if item.name in commands.choices:
            extensions().reject(plugin, "plugin-duplicate", adds="command", item=item.name, other=PROGRAM)
            continue
        added = commands.add_parser(item.name, help=item.about)
        extensions().ask(plugin, "plugin-raises", partial(item.prepare, added), what=item.name)
        added.set_defaults(command=partial(_run_plugin, plugin, item))


def _run_plugin(plugin: Any, item: Any, options: argparse.Namespace) -> int:
    """Run a command of a plugin; a failure is told with the plugin's name."""
    from .extending import extensions, reason_of

    try:
        return int(item.run(options))
    except GaugebookError:
        raise
    except Exception as error:
        values = {"what": item.name, "reason": reason_of(error)}
        raise GaugebookError(extensions().describe(plugin, "plugin-raises", **values)) from None


def _select(parser: argparse.ArgumentParser) -> None:
    """Options that say under which rules a project is looked at."""
    parser.add_argument("--ruleset", action="append", metavar="ID", help="a ruleset; repeat to stack layers")
    parser.add_argument("--jurisdiction", metavar="NAME", help="work under what is adopted there")
    parser.add_argument("--date", metavar="YYYY-MM-DD", help="the day that counts, over the project's own")
    parser.add_argument("--layout", metavar="NAME", help="one of the project's layouts")
    parser.add_argument("--reading", action="append", metavar="NAME=OPTION", help="settle an open reading")
    _search(parser)


def _search(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--rulesets", action="append", metavar="DIR", help="a further folder of rulesets")
    parser.add_argument(
        "--no-cache", action="store_true", help="neither use nor keep what was compiled before"
    )
    parser.add_argument(
        "--verbose", action="store_true", help="tell on standard error what the cache did not do"
    )


def _present(parser: argparse.ArgumentParser, *formats: str, full: bool = True) -> None:
    """Options that say how the answer looks and where it goes."""
    how = "how to print (default: %(default)s)"
    choices = {"choices": formats} if len(formats) > 1 else {"metavar": "FORMAT"}
    parser.add_argument("--format", default=formats[0], help=how, **choices)
    parser.add_argument("--output", metavar="FILE", help="write to a file")
    if full:
        parser.add_argument("--full", action="store_true", help="list what is otherwise only counted")
