"""The command line. Exit status: 0 every check passes, 1 one fails or stays undetermined, 2 wrong input."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence

from .calls import PROGRAM, WITHOUT, build_parser
from .commands import WRONG, complain
from .diagnostics import GaugebookError, render

INTERRUPTED = 130


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
                complain(f"note: {render(note)}")
