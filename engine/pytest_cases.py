"""A pytest plugin: one test for each worked case of each ruleset below the folders pytest is given.

`cases/*.yaml` beside a `ruleset.yaml` is collected. A case that fails shows what was expected, what was
found, and how the value came about. Nothing is imported from the engine before such a file is met.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from .books import CheckedBook
    from .casework import Case, Miss
    from .rulebook import Rulebook

CASES, HEADER = "cases", "ruleset.yaml"
FOLDERS = "gaugebook_rulesets"


def pytest_addoption(parser: pytest.Parser) -> None:
    """One setting: folders to search for the rulesets that others extend."""
    parser.addini(FOLDERS, "further folders of rulesets, relative to the configuration file", "paths", [])


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> CaseFile | None:
    """Take the case files of a ruleset."""
    folder = file_path.parent
    if file_path.suffix == ".yaml" and folder.name == CASES and (folder.parent / HEADER).is_file():
        made: CaseFile = CaseFile.from_parent(parent, path=file_path)
        return made
    return None


@cache
def opened(place: Path, folders: tuple[Path, ...], day: str | None) -> tuple[CheckedBook, Rulebook]:
    """A ruleset checked and compiled as of a day, once for all its cases."""
    from .books import check_book
    from .moments import Moment
    from .session import search_folders

    checked = check_book([place.name], [place.parent, *search_folders(folders)], Moment(day))
    return checked, checked.compiled()


class CaseFailed(Exception):
    """Expectations of a case that did not come true, with the derivations of what was found."""

    def __init__(self, misses: list[Miss], derivations: list[str]) -> None:
        super().__init__("\n\n".join([*map(str, misses), *derivations]))


class CaseFile(pytest.File):
    """The cases of one file."""

    def collect(self) -> Iterator[CaseItem]:
        """One item for each case; raises for a file that is no case file."""
        from .diagnostics import GaugebookError, Problems
        from .documents import read
        from .schema import validate

        problems = Problems()
        document = read(self.path, problems)
        if document is not None:
            validate(document, "cases", problems)
        try:
            problems.refuse_if_any()
        except GaugebookError as error:
            raise self.CollectError(str(error)) from None
        assert document is not None
        for index, body in enumerate(document.data["cases"]):
            made: CaseItem = CaseItem.from_parent(
                self, name=str(body["name"]), document=document, index=index
            )
            yield made


class CaseItem(pytest.Item):
    """One case as a test."""

    def __init__(self, *, document: Any, index: int, **options: Any) -> None:
        super().__init__(**options)
        self.document, self.index = document, index

    def runtest(self) -> None:
        """Run the case; `Refused` for faults of ruleset or case, `CaseFailed` for what did not come true."""
        from .casework import Case, day_of
        from .diagnostics import Problems

        folders = tuple(Path(folder) for folder in self.config.getini(FOLDERS))
        checked, rulebook = opened(self.path.parent.parent, folders, day_of(self.document, self.index))
        problems = Problems()
        case = Case(self.document, self.index, rulebook, problems)
        misses = list(case.misses())
        problems.refuse_if_any()
        if misses:
            raise CaseFailed(misses, [text for miss in misses if (text := derivation(case, checked, miss))])

    def repr_failure(self, excinfo: Any, style: Any = None) -> Any:
        """Our own complaints speak for themselves; anything else is shown with its traceback."""
        from .diagnostics import GaugebookError

        if isinstance(excinfo.value, (CaseFailed, GaugebookError)):
            return str(excinfo.value)
        return super().repr_failure(excinfo, style)

    def reportinfo(self) -> tuple[Path, int, str]:
        """Where the case stands."""
        span = self.document.span(("cases", self.index))
        return self.path, span.line - 1, self.name


def derivation(case: Case, checked: CheckedBook, miss: Miss) -> str | None:
    """How the value a case looked at came about; None where there is none."""
    from .diagnostics import GaugebookError
    from .explaining import explain, render_text

    if case.run is None:
        return None
    try:
        return render_text(explain(case.run, checked.written, miss.what.replace(" ", ".")))
    except GaugebookError:
        return None
