"""Reads a call with all that people expect of one: help, abbreviations, complaints; commands of plugins."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from functools import cache, partial
from typing import Any, NoReturn

from . import __version__
from .calls import OnlyOne, declare
from .diagnostics import GaugebookError
from .plain_calls import PROGRAM, WITHOUT


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


def parse(said: Sequence[str]) -> argparse.Namespace:
    """What a call says; leaves with `SystemExit` after help, raises `GaugebookError` at a mistake."""
    return build_parser(said).parse_args(said)


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
    parser.add_argument("--version", action="version", version=f"{PROGRAM} {__version__}")
    group: Any = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    if wanted is not None:
        group = OnlyOne(group, wanted)
    declare(group)
    if wanted is None and not set(said) & set(group.choices):
        _add_plugin_commands(group)
    return parser, bool(group.choices)


def _add_plugin_commands(group: Any) -> None:
    """The commands that plugins add; none can take the place of one of ours."""
    from .extending import extensions

    for plugin, item in extensions().commands():
        if item.name in group.choices:
            extensions().reject(plugin, "plugin-duplicate", adds="command", item=item.name, other=PROGRAM)
            continue
        added = group.add_parser(item.name, help=item.about)
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
