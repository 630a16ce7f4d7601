"""What a plugin can add: the things it describes, and the hooks that ask for them.

A plugin is a module (or any object) with functions marked `@hookimpl`, named by an entry point of the group
`gaugebook`. Every hook is a question without arguments that answers with a list of descriptions; nothing is
done until somebody uses what is described. `TABLE` is the documentation: one row for each hook.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from decimal import Decimal

from .records import Record

TYPE_CHECKING = False

if TYPE_CHECKING:
    import argparse
    from pathlib import Path
    from typing import Any, Protocol, TypeVar

    from .diagnostics import Problems, Span
    from .session import Result

    _Hook = TypeVar("_Hook", bound=Callable[..., Any])
else:
    Protocol = object

GROUP = "gaugebook"
"""The group of entry points that plugins are found by."""

MARK = "gaugebook_hook"
"""The attribute that `hookimpl` leaves on a function."""

Argument = Decimal | str | bool
"""What the rule language hands over: numbers in the unit declared, words and members as text, yes and no."""


def hookimpl(function: _Hook) -> _Hook:
    """Mark a function as the answer to the hook of its name."""
    setattr(function, MARK, True)
    return function


class NoValue(Exception):
    """Raised by a function of the rule language where it has no value; the text says why."""


class Quantity(Record):
    """An amount in a unit, where a function would rather answer in another unit than the one it declares."""

    amount: Decimal
    unit: str


class LanguageFunction(Record):
    """A function of the rule language.

    `takes` and `gives` say what the arguments and the result are: the text of a unit ("mm2", "1" for a plain
    number), "flag", "series:NAME" (a member of it) or "terms:NAME" (a word of it). `call` is pure: it gets
    decimals, texts and truths in that order and answers one. `exact` is for a function without divisions and
    roots, whose results are compared without slack.
    """

    name: str
    takes: Sequence[str]
    gives: str
    call: Callable[..., Argument | Quantity]
    about: str
    exact: bool = False


class ImportedProject(Record):
    """A project read from a file of another format.

    `data` is what a project file would say, every value a text, a whole number, a list or a mapping. `places`
    maps the path of a value, such as ("shed", "door"), to where it stands, so that whatever is wrong with it
    is shown there; `text` is the content of the file as text. `keys` maps a path to where its name stands, a
    header say, if not beside the value.
    """

    data: dict[str, Any]
    places: Mapping[tuple[Any, ...], Span]
    text: str
    keys: Mapping[tuple[Any, ...], Span] | None = None


class ProjectReader(Record):
    """Reads projects from files with one of the `suffixes` (".csv"); faults go to the problems given."""

    name: str
    suffixes: Sequence[str]
    read: Callable[[Path, Problems], ImportedProject | None]
    about: str


class CaseReader(Record):
    """Reads a table of designs: the header, then one list of texts for each design."""

    name: str
    suffixes: Sequence[str]
    read: Callable[[Path, Problems], Iterable[Sequence[str]]]
    about: str


class ReportFormat(Record):
    """A way to write a result: `render` gets the result, and whether to list what is otherwise counted."""

    name: str
    render: Callable[[Result, bool], str]
    about: str


class Taken(Record):
    """What a catalogue knows of an item: values by field, as a project would state them.

    `source` names the data and its version; `says` tells what the figures are and what they are not.
    """

    values: dict[str, Any]
    source: str
    says: str = ""


class Catalogue(Record):
    """Values for a part of a project, taken from outside it by name.

    A project asks with `taken_from: "NAME: ITEM"` in that part. `look_up` gets the item and the folder of the
    project; it answers none for an item it does not know. `items` lists what is known, for suggestions.
    """

    name: str
    look_up: Callable[[str, Path], Taken | None]
    about: str
    items: Callable[[], Iterable[str]] | None = None


class DesignTemperatures(Record):
    """Design temperatures of a site, by the name of a place, a station or a file.

    Asked as a catalogue is, `taken_from: "NAME: ITEM"`, and names may not be those of catalogues. Every value
    that `look_up` answers is a temperature with its unit; anything else is refused.
    """

    name: str
    look_up: Callable[[str, Path], Taken | None]
    about: str
    items: Callable[[], Iterable[str]] | None = None


class Command(Record):
    """A command of its own: `prepare` declares its arguments, `run` answers the exit status."""

    name: str
    prepare: Callable[[argparse.ArgumentParser], None]
    run: Callable[[argparse.Namespace], int]
    about: str


class Hooks(Protocol):
    """The specifications, checked against a plugin's functions when it is loaded."""

    def provide_rulesets(self) -> Iterable[os.PathLike[str]]:
        """Folders of rulesets (a folder or file each), with jurisdictions below `jurisdictions/`."""

    def provide_functions(self) -> Iterable[LanguageFunction]:
        """Functions of the rule language, with the units of arguments and result; pure."""

    def provide_project_readers(self) -> Iterable[ProjectReader]:
        """Projects from files of another format, every value with its place."""

    def provide_case_readers(self) -> Iterable[CaseReader]:
        """Tables of designs for `batch` from files of another format."""

    def provide_report_formats(self) -> Iterable[ReportFormat]:
        """Ways to write a result: `--format NAME`."""

    def provide_catalogues(self) -> Iterable[Catalogue]:
        """Values taken by name: data of a product."""

    def provide_design_temperatures(self) -> Iterable[DesignTemperatures]:
        """Design temperatures of a site, taken by name."""

    def provide_commands(self) -> Iterable[Command]:
        """Commands beside those of the program."""


class HookRow(Record):
    """One hook: its name, the description it is answered with, and what it adds, in plain words.

    Two items of one hook, or of hooks that share `names`, may not have one name.
    """

    hook: str
    item: type
    adds: str
    names: str = ""

    @property
    def about(self) -> str:
        """What its specification says."""
        return (getattr(Hooks, self.hook).__doc__ or "").strip()


TABLE = (
    HookRow("provide_rulesets", os.PathLike, "ruleset folder"),
    HookRow("provide_functions", LanguageFunction, "function"),
    HookRow("provide_project_readers", ProjectReader, "project format"),
    HookRow("provide_case_readers", CaseReader, "table format"),
    HookRow("provide_report_formats", ReportFormat, "report format"),
    HookRow("provide_catalogues", Catalogue, "catalogue", "taken from"),
    HookRow("provide_design_temperatures", DesignTemperatures, "design temperatures", "taken from"),
    HookRow("provide_commands", Command, "command"),
)
