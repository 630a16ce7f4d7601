"""The plugins of this call: found, checked, asked. What is wrong with one is said, and the rest goes on.

Shipped plugins come first, in their own fixed order, then those of others by name. A plugin is switched off
before it is imported by `--without-plugin NAME` or the environment variable GAUGEBOOK_WITHOUT. Faults are
logged as warnings under the name `gaugebook`, which puts them on standard error unless the caller says
otherwise. Neither pluggy nor the metadata of distributions is touched where no plugin of others is installed.
"""

from __future__ import annotations

import io
import os
import sys
import time
from collections.abc import Callable, Iterator
from functools import cache, cached_property
from importlib import import_module

from . import __version__
from .diagnostics import Diagnostic, GaugebookError, diagnose, hint, render
from .finding import OURSELVES, Found, age_of, find, imported, place_of
from .hooks import (
    MARK,
    TABLE,
    CaseReader,
    Catalogue,
    Command,
    DesignTemperatures,
    HookRow,
    Hooks,
    LanguageFunction,
    ProjectReader,
    ReportFormat,
)
from .resources import PathLike, shipped

TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any, TypeVar

    _Item = TypeVar("_Item")

WITHOUT_VARIABLE = "GAUGEBOOK_WITHOUT"
"""An environment variable: names of plugins or distributions, separated by commas, that are left alone."""

SLOW = 1.0
"""Seconds that loading a plugin, one of its hooks or a function of it may take before it is remarked on."""

LOADED, OFF, BROKEN, WAITING = "loaded", "switched off", "broken", "not needed yet"


class Plugin:
    """One plugin: who made it, where it came from, how it is, and the functions that answer its hooks."""

    def __init__(self, found: Found, shipped: tuple[str, ...] | None = None) -> None:
        self.found, self.shipped = found, shipped
        self.state = WAITING
        self.where = found.value
        self.answers: dict[str, Callable[[], Any]] = {}
        self.faults: list[Diagnostic] = []

    def __str__(self) -> str:
        by = "shipped" if self.shipped is not None else f"{self.found.distribution} {self.found.version}"
        return f"{self.found.name} ({by})"


class Extensions:
    """The plugins that may be used, and everything they add.

    `denied` are names of plugins or distributions to leave alone.
    """

    def __init__(self, denied: frozenset[str] = frozenset()) -> None:
        self.plugins: list[Plugin] = []
        self._said: set[Diagnostic] = set()
        self._items: dict[str, list[tuple[Plugin, Any]]] = {}
        self._verifier: Any = None
        names: set[str] = set()
        for plugin in _listed():
            known = {plugin.found.name, plugin.found.distribution} - {""}
            names |= known
            self.plugins.append(plugin)
            if known & denied:
                plugin.state = OFF
        for name in sorted(denied - names):
            self._warn(None, "unknown-plugin", name=name, nearest=hint(name, names))

    # -- loading

    @cached_property
    def loaded(self) -> list[Plugin]:
        """The plugins at hand; those of others are loaded here, each with its faults told."""
        taken: dict[str, Plugin] = {}
        for plugin in self.plugins:
            if plugin.state == OFF:
                continue
            name = plugin.found.name
            if name in taken:
                plugin.state = BROKEN
                self._warn(plugin, "plugin-name-taken", other=taken[name])
                continue
            taken[name] = plugin
            if plugin.shipped is None:
                self._load(plugin)
        return [plugin for plugin in self.plugins if plugin.state in (LOADED, WAITING)]

    def _load(self, plugin: Plugin) -> None:
        """Import a plugin and take note of what it answers."""
        plugin.state = BROKEN
        if plugin.found.needs:
            self._warn(plugin, "plugin-needs-other-version", needs=plugin.found.needs, version=__version__)
            return
        imported = self.ask(plugin, "plugin-import", lambda: _imported(plugin.found.value), SLOW)
        if imported is None:
            return
        made, answers = imported
        plugin.where = place_of(made)
        known = [row.hook for row in TABLE]
        for name in sorted(answers.keys() - set(known)):
            self._warn(plugin, "plugin-unknown-hook", hook=name, nearest=hint(name, known))
            return
        if not answers:
            self._warn(plugin, "plugin-answers-nothing")
        if plugin.shipped is not None or self._fits(plugin, made):
            plugin.answers = answers
            plugin.state = LOADED

    def _fits(self, plugin: Plugin, made: Any) -> bool:
        """True when its functions have the signatures that the hooks specify."""
        import pluggy

        if self._verifier is None:
            self._verifier = _verifier()
        try:
            self._verifier.register(made, plugin.found.name)
        except (pluggy.PluginValidationError, TypeError, ValueError) as error:
            self._warn(plugin, "plugin-signature", reason=" ".join(str(error).split()))
            return False
        return True

    # -- asking

    def ask(
        self,
        plugin: Plugin,
        fault: str,
        call: Callable[[], _Item],
        limit: float | None = None,
        **values: object,
    ) -> _Item | None:
        """What a call into a plugin answers; where it fails, that is told as `fault`, and none comes back.

        A `GaugebookError` passes: it is the plugin's own word on an input.
        """
        try:
            return self.watched(plugin, call, limit)
        except GaugebookError:
            raise
        except (Exception, SystemExit) as error:
            self._warn(plugin, fault, reason=reason_of(error), **values)
            return None

    def watched(self, plugin: Plugin, call: Callable[[], _Item], limit: float | None = None) -> _Item:
        """Call into a plugin; standard output is kept from it; more seconds than `limit` are told."""
        printed = io.StringIO()
        start = time.perf_counter()
        heard, sys.stdout = sys.stdout, printed
        try:
            return call()
        finally:
            sys.stdout = heard
            took = time.perf_counter() - start
            if printed.getvalue():
                self._warn(plugin, "plugin-prints", text=printed.getvalue().strip()[:60])
            told = any(fault.name == "plugin-slow" for fault in plugin.faults)
            if limit is not None and took > limit and not told and plugin.shipped is None:
                self._warn(plugin, "plugin-slow", seconds=f"{took:.1f}")

    def items(self, hook: str) -> list[tuple[Plugin, Any]]:
        """Everything the plugins answer to a hook, in their order; what is no good is told and left out."""
        if hook not in self._items:
            asked = next(row for row in TABLE if row.hook == hook)
            self._collect([row for row in TABLE if row is asked or row.names == asked.names != ""])
        return self._items[hook]

    def _collect(self, rows: list[HookRow]) -> None:
        """Ask hooks whose items share their names."""
        holders: dict[str, str] = {}
        self._items.update({row.hook: [] for row in rows})
        for plugin in self.loaded:
            for row in rows:
                if plugin.state == WAITING and row.hook in (plugin.shipped or ()):
                    self._load(plugin)
                if row.hook in plugin.answers:
                    self._take(plugin, row, holders)

    def _take(self, plugin: Plugin, row: HookRow, holders: dict[str, str]) -> None:
        """What a plugin answers to a hook, without what another has given already."""
        for item in self._answer(plugin, row):
            keys = _keys(row, item)
            held = [key for key in keys if key in holders]
            for key in held:
                self._warn(plugin, "plugin-duplicate", adds=row.adds, item=key, other=holders[key])
            if not held:
                holders.update(dict.fromkeys(keys, str(plugin)))
                self._items[row.hook].append((plugin, item))

    def _answer(self, plugin: Plugin, row: HookRow) -> Iterator[Any]:
        answer = plugin.answers[row.hook]
        items = self.ask(plugin, "plugin-raises", lambda: list(answer()), SLOW, what=row.hook)
        for item in items or ():
            wrong = _wrong(row, item)
            if wrong:
                self._warn(plugin, "plugin-wrong-answer", hook=row.hook, item=row.item.__name__, found=wrong)
            else:
                yield item

    def reject(self, plugin: Plugin, fault: str, **values: object) -> Diagnostic:
        """Tell a fault found in something a plugin added."""
        return self._warn(plugin, fault, **values)

    @staticmethod
    def describe(plugin: Plugin | None, fault: str, /, **values: object) -> Diagnostic:
        """A fault with the plugin it is laid to, in words; nothing is told yet."""
        if plugin is not None:
            by = plugin.found.distribution or OURSELVES
            values = {"plugin": plugin, "plugin_name": plugin.found.name, "by": by, **values}
        return diagnose(fault, None, **values)

    def _warn(self, plugin: Plugin | None, fault: str, /, **values: object) -> Diagnostic:
        diagnostic = self.describe(plugin, fault, **values)
        if diagnostic not in self._said:
            import logging

            self._said.add(diagnostic)
            if plugin is not None:
                plugin.faults.append(diagnostic)
            logging.getLogger(OURSELVES).warning("warning: %s", render(diagnostic))
        return diagnostic

    # -- what is added

    def ruleset_folders(self) -> list[PathLike]:
        """The folders of rulesets, to be searched after the shipped ones."""
        provided = self.items("provide_rulesets")
        ours = set(_ids(shipped("rulesets"))) if provided else set()
        for plugin, folder in provided:
            for id in ours.intersection(_ids(folder)):
                self._warn(plugin, "plugin-duplicate", adds="ruleset", item=id, other=OURSELVES)
        return [folder for _, folder in provided]

    def functions(self) -> list[tuple[Plugin, LanguageFunction]]:
        """The functions offered to the rule language, not yet checked against units."""
        return self.items("provide_functions")

    def project_readers(self) -> dict[str, tuple[Plugin, ProjectReader]]:
        """Suffix to the reader of projects."""
        return {s: (plugin, r) for plugin, r in self.items("provide_project_readers") for s in r.suffixes}

    def case_readers(self) -> dict[str, tuple[Plugin, CaseReader]]:
        """Suffix to the reader of tables of designs."""
        return {s: (plugin, r) for plugin, r in self.items("provide_case_readers") for s in r.suffixes}

    def report_formats(self) -> dict[str, tuple[Plugin, ReportFormat]]:
        """Name to the report format."""
        return {item.name: (plugin, item) for plugin, item in self.items("provide_report_formats")}

    def catalogues(self) -> dict[str, tuple[Plugin, Catalogue | DesignTemperatures]]:
        """Name to what values can be taken from."""
        hooks = ("provide_catalogues", "provide_design_temperatures")
        return {item.name: (plugin, item) for hook in hooks for plugin, item in self.items(hook)}

    def commands(self) -> list[tuple[Plugin, Command]]:
        """The further commands."""
        return self.items("provide_commands")

    def fingerprint(self) -> list[str]:
        """The plugins of others in use and the age of their code: part of what a book was compiled from."""
        others = [plugin for plugin in self.loaded if plugin.shipped is None]
        return [f"{plugin} {plugin.where} {age_of(plugin.where)}" for plugin in others]


def extensions() -> Extensions:
    """The plugins of this call, made once for each set of names switched off."""
    names = os.environ.get(WITHOUT_VARIABLE, "").split(",")
    return _extensions(frozenset(name.strip() for name in names if name.strip()))


@cache
def _extensions(denied: frozenset[str]) -> Extensions:
    return Extensions(denied)


class without:
    """Leave further plugins alone for a while; processes started meanwhile do so too."""

    def __init__(self, names: list[str]) -> None:
        self._names = names

    def __enter__(self) -> None:
        self._before = os.environ.get(WITHOUT_VARIABLE)
        if self._names:
            told = [self._before] if self._before else []
            os.environ[WITHOUT_VARIABLE] = ",".join([*told, *self._names])

    def __exit__(self, *_: object) -> None:
        if self._names and self._before is None:
            del os.environ[WITHOUT_VARIABLE]
        elif self._before is not None:
            os.environ[WITHOUT_VARIABLE] = self._before


def reason_of(error: BaseException) -> str:
    """An exception on one line."""
    text = " ".join(str(error).split())
    return f"{type(error).__name__}: {text}" if text else type(error).__name__


def _listed() -> list[Plugin]:
    """The shipped plugins, then those of others; none is imported."""
    shipped: dict[str, tuple[str, tuple[str, ...]]] = import_module(".plugins", __package__).SHIPPED
    ours = [Plugin(Found(name, module, "", "", ""), hooks) for name, (module, hooks) in shipped.items()]
    return [*ours, *(Plugin(found) for found in find())]


def _imported(value: str) -> tuple[Any, dict[str, Callable[[], Any]]]:
    """A plugin's module or object, and its functions that are marked as answers to hooks."""
    made = imported(value)
    members: dict[str, Any] = {name: getattr(made, name, None) for name in dir(made)}
    return made, {name: value for name, value in members.items() if getattr(value, MARK, False) is True}


def _verifier() -> Any:
    """A plugin manager that knows the specifications."""
    import pluggy

    class Verifier(pluggy.PluginManager):
        def parse_hookimpl_opts(self, plugin: Any, name: str) -> Any:
            marked = getattr(getattr(plugin, name, None), MARK, False)
            return {"specname": None} if marked is True else None

        def parse_hookspec_opts(self, module_or_class: Any, name: str) -> Any:
            known = any(row.hook == name for row in TABLE)
            return {"firstresult": False, "historic": False} if known else None

    verifier = Verifier(OURSELVES)
    verifier.add_hookspecs(Hooks)
    return verifier


def _wrong(row: HookRow, item: Any) -> str:
    """What is wrong with an answer to a hook, or nothing."""
    if row.item is os.PathLike:
        if isinstance(item, os.PathLike):
            return "" if os.path.isdir(item) else str(item)
        return repr(item)
    if not isinstance(item, row.item):
        return f"{type(item).__name__} {item!r}"[:80]
    name = getattr(item, "name", "")
    return "" if isinstance(name, str) and _may_name(name) else f"name {name!r}"


def _may_name(text: str) -> bool:
    """A letter, then letters, figures, `_` and `-`, all of them ASCII."""
    return text.isascii() and text[:1].isalpha() and text.replace("_", "").replace("-", "").isalnum()


def _keys(row: HookRow, item: Any) -> list[str]:
    """What an item is found by; two items may not share one."""
    if row.item is os.PathLike:
        return _ids(item)
    return list(item.suffixes) if row.item in (ProjectReader, CaseReader) else [item.name]


def _ids(place: PathLike) -> list[str]:
    """The ids of the rulesets and jurisdictions in a folder."""
    from pathlib import Path

    folder = Path(place)
    files = [*folder.glob("*/ruleset.yaml"), *folder.glob("*.yaml"), *folder.glob("jurisdictions/*.yaml")]
    return sorted({file.parent.name if file.name == "ruleset.yaml" else file.stem for file in files})
