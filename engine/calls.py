"""The shape of a call: which commands there are, and the options of each.

They are declared once, to whatever can `add_parser`, `add_argument` and `set_defaults`: to the reader of plain
calls, and where that gives up, to the library that explains, abbreviates and complains.
"""

from __future__ import annotations

from . import commands

TYPE_CHECKING = False

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any


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


def declare(group: Any) -> None:
    """Every command of ours with its options."""
    size = group.add_parser("size", help="make every open choice, check everything that is stated")
    size.add_argument("project", metavar="PROJECT", help="a project file")
    _select(size)
    _present(size, "table")
    size.set_defaults(command=commands.size)

    explain = group.add_parser("explain", help="how one value came about, down to inputs and table cells")
    explain.add_argument("project", metavar="PROJECT", help="a project file")
    explain.add_argument("name", metavar="THING.ATTRIBUTE", help="a value or a check, section.thing.name")
    _select(explain)
    _present(explain, "table", "json", "markdown")
    explain.set_defaults(command=commands.explain)

    compare = group.add_parser("compare", help="layouts and rulesets side by side, and why they differ")
    compare.add_argument("project", metavar="PROJECT", help="a project file")
    column = "a ruleset or a stack of them; repeat for further columns"
    compare.add_argument("--ruleset", action="append", metavar="ID[+ID]", help=column)
    column = "a layout, or 'base' for the project as written; repeat for further columns"
    compare.add_argument("--layout", action="append", metavar="NAME", help=column)
    compare.add_argument("--date", metavar="YYYY-MM-DD", help="the day that counts")
    compare.add_argument("--reading", action="append", metavar="NAME=OPTION", help="settle an open reading")
    compare.add_argument("--all", action="store_true", help="also the rows that agree")
    compare.add_argument("--prices", metavar="FILE", help="a price list: the totals as money")
    compare.add_argument("--values", action="store_true", help="every derived value, not only choices")
    _search(compare)
    _present(compare, "table", "json", "markdown", "html")
    compare.set_defaults(command=commands.compare)

    batch = group.add_parser("batch", help="a project as template, many cases; a table of outcomes")
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
    batch.add_argument("--jurisdiction", metavar="NAME", help="work under what is adopted there")
    batch.add_argument("--layout", metavar="NAME", help="one of the project's layouts")
    batch.add_argument("--date", metavar="YYYY-MM-DD", help="the day that counts, over the project's own")
    batch.add_argument("--reading", action="append", metavar="NAME=OPTION", help="settle an open reading")
    batch.add_argument("--workers", type=int, default=1, metavar="N", help="processes (default: %(default)s)")
    batch.add_argument("--no-columns", action="store_true", help="every row by itself, in exact decimals")
    _search(batch)
    batch.set_defaults(command=commands.batch)

    limits = group.add_parser("limits", help="how far each input may move before an outcome changes")
    limits.add_argument("project", metavar="PROJECT", help="a project file")
    moved = "move this input only; repeatable"
    limits.add_argument("--input", action="append", metavar="THING.FIELD", help=moved)
    _select(limits)
    _present(limits, "table", "json", "markdown", "html")
    limits.set_defaults(command=commands.limits)

    ruleset = group.add_parser("ruleset", help="what rulesets there are, and whether they are sound")
    benches = ruleset.add_subparsers(title="commands", required=True, metavar="COMMAND")
    listing = benches.add_parser("list", help="every ruleset found")
    _search(listing)
    _present(listing, "table", "json", "markdown", full=False)
    listing.set_defaults(command=commands.ruleset_list)
    show = benches.add_parser("show", help="the entries of a ruleset, or one entry in full")
    show.add_argument("id", metavar="ID", help="a ruleset")
    show.add_argument("entry", metavar="ENTRY", nargs="?", help="section/name, or the name alone")
    show.add_argument("--coverage", action="store_true", help="section by section: encoded, or why not")
    _search(show)
    _present(show, "table", "markdown", full=False)
    show.set_defaults(command=commands.ruleset_show)
    diff = benches.add_parser("diff", help="what changed from one ruleset to another, in words")
    diff.add_argument("one", metavar="A", help="a ruleset by id, or its folder or file")
    diff.add_argument("other", metavar="B", help="a ruleset by id, or its folder or file")
    _search(diff)
    _present(diff, "table", "json", "markdown", full=False)
    diff.set_defaults(command=commands.ruleset_diff)
    new = benches.add_parser("new", help="write a first layer, with comments that teach")
    new.add_argument("id", metavar="ID", help="the name of the layer, PLACE-YEAR")
    new.add_argument("--extends", metavar="PARENT", required=True, help="the ruleset it changes")
    new.add_argument("--folder", metavar="DIR", default=".", help="where to write it (default: here)")
    _search(new)
    new.set_defaults(command=commands.ruleset_new)
    for name, command, what, several in (
        ("check", commands.ruleset_check, "every fault of a ruleset, before any project is read", "+"),
        ("test", commands.ruleset_test, "run the worked cases of a ruleset", None),
    ):
        bench = benches.add_parser(name, help=what)
        what = "a ruleset by id, or its folder or file" + "; also a jurisdiction's file" * bool(several)
        bench.add_argument("id", metavar="PATH-or-ID", nargs=several, help=what)
        if name == "test":
            each = "also change every table cell in turn, and list the changes nobody notices"
            bench.add_argument("--change-cells", action="store_true", help=each)
            only = "with --change-cells: the cells of this table only; repeatable"
            bench.add_argument("--entry", action="append", metavar="ENTRY", help=only)
        _search(bench)
        bench.set_defaults(command=command)

    schema = group.add_parser("schema", help="print a JSON Schema")
    documents = ("project", "ruleset", "jurisdiction", "cases", "result", "compare", "limits", "prices")
    schema.add_argument("what", choices=documents, help="of which documents")
    under = "of projects under this ruleset; repeat to stack layers"
    schema.add_argument("--ruleset", action="append", metavar="ID", help=under)
    schema.add_argument("--output", metavar="FILE", help="write to a file")
    _search(schema)
    schema.set_defaults(command=commands.schema)

    plugins = group.add_parser("plugins", help="what is loaded, from where, and what it adds")
    _present(plugins, "table", "json", "markdown", full=False)
    plugins.set_defaults(command=commands.plugins)

    look_up = group.add_parser("look-up", help="what a catalogue knows of an item")
    look_up.add_argument("catalogue", metavar="CATALOGUE", nargs="?", help="left out: list the catalogues")
    look_up.add_argument("item", metavar="ITEM", nargs="?", help="a name it knows, or a file it reads")
    _present(look_up, "table", "json", "markdown", full=False)
    look_up.set_defaults(command=commands.look_up)


def _select(parser: Any) -> None:
    """Options that say under which rules a project is looked at."""
    parser.add_argument("--ruleset", action="append", metavar="ID", help="a ruleset; repeat to stack layers")
    parser.add_argument("--jurisdiction", metavar="NAME", help="work under what is adopted there")
    parser.add_argument("--date", metavar="YYYY-MM-DD", help="the day that counts, over the project's own")
    parser.add_argument("--layout", metavar="NAME", help="one of the project's layouts")
    parser.add_argument("--reading", action="append", metavar="NAME=OPTION", help="settle an open reading")
    _search(parser)


def _search(parser: Any) -> None:
    parser.add_argument("--rulesets", action="append", metavar="DIR", help="a folder of more rulesets")
    parser.add_argument(
        "--no-cache", action="store_true", help="neither use nor keep what was compiled before"
    )
    parser.add_argument(
        "--verbose", action="store_true", help="tell on standard error what the cache did not do"
    )


def _present(parser: Any, *formats: str, full: bool = True) -> None:
    """Options that say how the answer looks and where it goes."""
    how = "how to print (default: %(default)s)"
    if len(formats) > 1:
        choices: dict[str, Any] = {"choices": formats}
    else:
        choices, how = {"metavar": "FORMAT"}, f"{how}; 'gaugebook plugins' lists the formats"
    parser.add_argument("--format", default=formats[0], help=how, **choices)
    parser.add_argument("--output", metavar="FILE", help="write to a file")
    if full:
        parser.add_argument("--full", action="store_true", help="list what is otherwise only counted")
