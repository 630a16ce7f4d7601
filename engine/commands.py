"""What each command does with the options of its call; each answers an exit status.

Everything heavy is imported inside the command that needs it.
"""

from __future__ import annotations

import os
import sys

from .diagnostics import GaugebookError, Problems, render

TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any

    from .resources import PathLike

PASSED, FAILED, WRONG = 0, 1, 2


def complain(text: str) -> int:
    """Print to standard error; if nobody listens there, so be it."""
    try:
        print(text, file=sys.stderr, flush=True)
    except (OSError, UnicodeError):
        silence(sys.stderr)
    return WRONG


def silence(stream: Any) -> None:
    """Send what is left of a broken stream nowhere, so that closing it does not complain."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
    except (OSError, ValueError):
        return


_STEERING = [*range(9), 0x0B, 0x0C, *range(0x0E, 0x20), *range(0x7F, 0xA0), *range(0x202A, 0x202F)]
_UNSTEERED = dict.fromkeys([*_STEERING, *range(0x2066, 0x206A)], "\N{REPLACEMENT CHARACTER}")
"""In place of the characters by which a text could steer a terminal, or reorder what is seen on it."""


def _write(options: Any, text: str) -> None:
    """Put the answer where it is wanted: the file of --output, or standard output."""
    if getattr(options, "output", None):
        from .filing import write_where_asked

        try:
            write_where_asked(options.output, text.encode("utf-8", "surrogateescape"))
        except OSError as error:
            raise GaugebookError.because(
                "cannot-write", path=options.output, reason=error.strerror or error
            ) from None
        return
    if hasattr(sys.stdout, "reconfigure"):
        sys.stdout.reconfigure(errors="replace")
    try:
        shown = text if text.replace("\n", "").isprintable() else text.translate(_UNSTEERED)
        sys.stdout.write(shown if shown.endswith("\n") else shown + "\n")
        sys.stdout.flush()
    except BrokenPipeError:
        silence(sys.stdout)
    except OSError as error:
        silence(sys.stdout)
        reason = error.strerror or error
        raise GaugebookError.because("cannot-write", path="<standard output>", reason=reason) from None


def _json(data: Any) -> str:
    import json

    return json.dumps(data, indent=2, ensure_ascii=False)


def _sized(options: Any) -> Any:
    """The result the selectors of the call ask for."""
    from .session import size

    result = size(
        options.project,
        options.ruleset,
        options.layout,
        _readings(options),
        options.rulesets or (),
        options.jurisdiction,
        options.date,
    )
    for note in result.run.notices:
        _tell(note)
    return result


def _status(passes: bool | None) -> int:
    return PASSED if passes else FAILED


def size(options: Any) -> int:
    from .reporting import report_format

    render_report = report_format(options.format)
    result = _sized(options)
    _write(options, render_report(result, options.full))
    return _status(result.passes)


def explain(options: Any) -> int:
    from .explanation import explain

    result = _sized(options)
    told = explain(result, options.name, full=options.full)
    printed = {"json": told.to_json, "markdown": told.to_markdown, "table": told.to_text}[options.format]
    _write(options, printed())
    return _status(result.passes)


def compare(options: Any) -> int:
    from .questions import compare

    stacks, layouts, folders = options.ruleset or (), options.layout or (), options.rulesets or ()
    everything = options.all or options.format == "html"
    wanted = {"date": options.date, "everything": everything, "values": options.values}
    wanted["prices"] = options.prices
    comparison = compare(options.project, stacks, layouts, _readings(options), folders, **wanted)
    _answer(options, comparison)
    return _status(comparison.passes)


def batch(options: Any) -> int:
    from pathlib import Path

    from .batch_run import run_batch
    from .batching import Job
    from .case_files import CaseTable

    cases = CaseTable(Path(options.cases))
    stacks = tuple(tuple(stack.split("+")) for stack in options.ruleset or ()) or ((),)
    readings = tuple(_readings(options).items())
    folders = tuple(options.rulesets or ())
    job = Job(options.project, cases.header, stacks, options.layout, readings, folders, options.date)
    job = job._replace(jurisdiction=options.jurisdiction, columns=not options.no_columns)
    summary = run_batch(job, cases, Path(options.output), _tell, options.workers)
    print(
        f"{summary.rows:,} rows: {summary.passing:,} pass, {summary.failing:,} fail, "
        f"{summary.undetermined:,} undetermined, {summary.bad:,} bad"
    )
    return WRONG if summary.bad else PASSED if summary.passing == summary.rows else FAILED


def _tell(note: Any) -> None:
    """Something the user should know meanwhile."""
    complain(render(note))


def limits(options: Any) -> int:
    from .questions import limits_of_result

    result = _sized(options)
    _answer(options, limits_of_result(result, options.input))
    return _status(result.passes)


def _answer(options: Any, answer: Any) -> None:
    """Print an answer in the form asked for."""
    from .blocks import as_markdown, as_text

    if options.format == "json":
        text = answer.to_json()
    elif options.format == "html":
        from .plugins.answer_html import render as render_file

        text = render_file(answer, options.full, getattr(options, "all", False))
    else:
        text = {"table": as_text, "markdown": as_markdown}[options.format](answer.page(options.full))
    _write(options, text)


def _folders(options: Any) -> list[PathLike]:
    from .session import search_folders

    return search_folders(options.rulesets or ())


def _page(options: Any, page: Any) -> str:
    from .blocks import as_markdown, as_text

    return as_markdown(page) if options.format == "markdown" else as_text(page)


def ruleset_list(options: Any) -> int:
    from . import bench

    found = bench.listing(_folders(options))
    _write(options, _json(found) if options.format == "json" else _page(options, bench.listing_page(found)))
    return PASSED


def ruleset_show(options: Any) -> int:
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


def ruleset_check(options: Any) -> int:
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


def ruleset_diff(options: Any) -> int:
    from . import bench, differing

    found = bench.diff(options.one, options.other, _folders(options))
    page = differing.page(options.one, options.other, found)
    _write(options, _json(found) if options.format == "json" else _page(options, page))
    return PASSED


def ruleset_new(options: Any) -> int:
    from pathlib import Path

    from . import bench

    _write(options, bench.begin(options.id, options.extends, Path(options.folder), _folders(options)))
    return PASSED


def ruleset_test(options: Any) -> int:
    from . import bench

    if options.entry and not options.change_cells:
        raise GaugebookError.because("entry-without-changes")
    holds, text = bench.try_out(options.id, _folders(options), options.change_cells, options.entry)
    _write(options, text)
    return PASSED if holds else FAILED


def plugins(options: Any) -> int:
    from . import plugin_list
    from .extending import extensions

    found = plugin_list.listing(extensions())
    _write(options, _json(found) if options.format == "json" else _page(options, plugin_list.page(found)))
    return PASSED


def look_up(options: Any) -> int:
    from pathlib import Path

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


def schema(options: Any) -> int:
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


def _readings(options: Any) -> dict[str, str]:
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
