"""The command line. Exit status: 0 every check passes, 1 one fails or stays undetermined, 2 wrong input."""

from __future__ import annotations

import gc
import os
import sys

from .commands import WRONG, complain
from .diagnostics import GaugebookError, render
from .plain_calls import PROGRAM, WITHOUT, read_plain

TYPE_CHECKING = False

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from typing import Any, NoReturn

INTERRUPTED = 130

PATIENCE = 50_000
"""Things made before rubbish is looked for: what a call reads in, it keeps, and looking through it all takes longer
than the call."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; never raises, always answers an exit status."""
    before = gc.get_threshold()
    try:
        return _answered(arguments)
    finally:
        gc.set_threshold(*before)


def _answered(arguments: Sequence[str] | None) -> int:
    """The exit status of one command; from here on rubbish is looked for patiently."""
    gc.set_threshold(PATIENCE, *gc.get_threshold()[1:])
    try:
        return _obeyed(list(sys.argv[1:] if arguments is None else arguments))
    except GaugebookError as error:
        return complain("\n".join(render(diagnostic) for diagnostic in error.diagnostics))
    except SystemExit as exit:
        return exit.code if isinstance(exit.code, int) else WRONG
    except KeyboardInterrupt:
        return INTERRUPTED
    except Exception as error:
        return complain(
            f"{PROGRAM}: internal error: {type(error).__name__}: {error}\n"
            "  help: this is a mistake in the program; please report it with the command and the files"
        )


def program() -> NoReturn:
    """Run the command of this process and leave.

    The process ends once everybody who asked has been told of it: taking apart what was read in takes as long as
    reading it. Only other threads are waited for.
    """
    status = _answered(None)
    try:
        sys.stdout.flush()
        sys.stderr.flush()
    except (AttributeError, OSError, ValueError):
        sys.exit(status)
    if "threading" in sys.modules and sys.modules["threading"].active_count() > 1:
        sys.exit(status)
    if "atexit" in sys.modules:
        sys.modules["atexit"]._run_exitfuncs()
    os._exit(status)


def _obeyed(arguments: list[str]) -> int:
    """What the command of a call answers."""
    from .extending import without

    said, left_alone = _left_alone(arguments)
    with without(left_alone):
        options: Any = read_plain(said)
        if options is None:
            from .parsing import parse

            options = parse(said)
        return _cached(options.command, options)


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


def _cached(command: Callable[[Any], int], options: Any) -> int:
    """Run a command with or without the cache, and tell of the cache if asked to."""
    from . import cache as kept

    kept.switch(on=not getattr(options, "no_cache", False))
    kept.notes.clear()
    try:
        return command(options)
    finally:
        if getattr(options, "verbose", False):
            for note in kept.notes:
                complain(f"note: {render(note)}")
