"""The command line. Exit status: 0 every check passes, 1 one fails or stays undetermined, 2 wrong input.

Everything heavy is imported inside the command that needs it.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, NoReturn

from .diagnostics import GaugebookError, Problems, render

PROGRAM = "gaugebook"
PASSED, FAILED, WRONG = 0, 1, 2
INTERRUPTED = 130


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; never raises, always answers an exit status."""
    try:
        options = build_parser().parse_args(arguments)
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


def _cached(command: Callable[[argparse.Namespace], int], options: argparse.Namespace) -> int:
    """Run a command with or without the cache, and tell of the cache if asked to."""
    from . import cache

    cache.switch(on=not getattr(options, "no_cache", False))
    cache.notes.clear()
    try:
        return command(options)
    finally:
        if getattr(options, "verbose", False):
            for note in cache.notes:
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

    return size(options.project, options.ruleset, options.layout, _readings(options), options.rulesets or ())


def _status(passes: bool | None) -> int:
    return PASSED if passes else FAILED


def _size(options: argparse.Namespace) -> int:
    result = _sized(options)
    if options.format == "json":
        text = result.to_json()
    else:
        from . import rendering

        render_page = rendering.render_markdown if options.format == "markdown" else rendering.render_text
        text = render_page(result, options.full)
    _write(options, text)
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
    else:
        page = bench.show(options.id, folders)
    _write(options, _page(options, page))
    return PASSED


def _ruleset_check(options: argparse.Namespace) -> int:
    from . import bench

    _write(options, bench.check(options.id, _folders(options)))
    return PASSED


def _ruleset_test(options: argparse.Namespace) -> int:
    from . import bench

    outcome, text = bench.try_out(options.id, _folders(options))
    _write(options, text)
    return FAILED if outcome.failed else PASSED


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


class Parser(argparse.ArgumentParser):
    """A parser whose complaints look like all others."""

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


def build_parser() -> Parser:
    """Every command with its options."""
    about = "Sizes a project under the books that apply to it, every value cited."
    parser = Parser(PROGRAM, description=about)
    parser.add_argument("--version", action=Version, help="print the version and leave")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")

    size = commands.add_parser("size", help="make every open choice, check everything that is stated")
    size.add_argument("project", metavar="PROJECT", help="a project file")
    _select(size)
    _present(size, "table", "json", "markdown")
    size.set_defaults(command=_size)

    explain = commands.add_parser("explain", help="how one value came about, down to inputs and table cells")
    explain.add_argument("project", metavar="PROJECT", help="a project file")
    explain.add_argument("name", metavar="THING.ATTRIBUTE", help="a value, section.thing.attribute")
    _select(explain)
    _present(explain, "table", "json", "markdown")
    explain.set_defaults(command=_explain)

    ruleset = commands.add_parser("ruleset", help="what rulesets there are, and whether they are sound")
    benches = ruleset.add_subparsers(title="commands", required=True, metavar="COMMAND")
    listing = benches.add_parser("list", help="every ruleset found")
    _search(listing)
    _present(listing, "table", "json", "markdown", full=False)
    listing.set_defaults(command=_ruleset_list)
    show = benches.add_parser("show", help="the entries of a ruleset, or one entry in full")
    show.add_argument("id", metavar="ID", help="a ruleset")
    show.add_argument("entry", metavar="ENTRY", nargs="?", help="section/name, or the name alone")
    _search(show)
    _present(show, "table", "markdown", full=False)
    show.set_defaults(command=_ruleset_show)
    for name, command, what in (
        ("check", _ruleset_check, "every fault of a ruleset, before any project is read"),
        ("test", _ruleset_test, "run the worked cases of a ruleset"),
    ):
        bench = benches.add_parser(name, help=what)
        bench.add_argument("id", metavar="PATH-or-ID", help="a ruleset by id, or its folder or file")
        _search(bench)
        bench.set_defaults(command=command)

    schema = commands.add_parser("schema", help="print a JSON Schema")
    schema.add_argument("what", choices=("project", "ruleset", "cases", "result"))
    schema.add_argument("--ruleset", action="append", metavar="ID", help="whose projects; repeat to stack")
    schema.add_argument("--output", metavar="FILE", help="write to a file")
    _search(schema)
    schema.set_defaults(command=_schema)
    return parser


def _select(parser: argparse.ArgumentParser) -> None:
    """Options that say under which rules a project is looked at."""
    parser.add_argument("--ruleset", action="append", metavar="ID", help="a ruleset; repeat to stack layers")
    parser.add_argument("--layout", metavar="NAME", help="one of the project's layouts")
    parser.add_argument("--reading", action="append", metavar="NAME=OPTION", help="settle an open reading")
    _search(parser)


def _search(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--rulesets", action="append", metavar="DIR", help="a further folder of rulesets")
    parser.add_argument("--no-cache", action="store_true", help="neither use nor keep what was compiled before")
    parser.add_argument("--verbose", action="store_true", help="tell on standard error what the cache did not do")


def _present(parser: argparse.ArgumentParser, *formats: str, full: bool = True) -> None:
    """Options that say how the answer looks and where it goes."""
    how = "how to print (default: %(default)s)"
    parser.add_argument("--format", choices=formats, default=formats[0], help=how)
    parser.add_argument("--output", metavar="FILE", help="write to a file")
    if full:
        parser.add_argument("--full", action="store_true", help="list what is otherwise only counted")
