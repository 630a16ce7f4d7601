"""Everything that inputs are tried on."""

from __future__ import annotations

from pathlib import Path

from authored import cases, documents, expressions, jurisdictions, rulesets
from handed import kept_files, projects, schedules, tables
from samples import BOOK, SPARE
from trying import Target

from gaugebook import cache
from gaugebook.session import open_book


def targets(folder: Path) -> list[Target]:
    """Every target; files are made in a folder that is best kept in memory."""
    cache.switch(on=False)
    books = folder / "books"
    books.mkdir(parents=True, exist_ok=True)
    (books / "hoists.yaml").write_bytes(BOOK)
    (books / "spare.yaml").write_bytes(SPARE.replace(b"id: fuzzed", b"id: spare"))
    book = open_book("hoists", folders=[books])
    return [
        expressions(book),
        documents(folder / "documents"),
        projects(folder / "projects", book),
        schedules(folder / "schedules", book),
        rulesets(folder / "rulesets", books),
        jurisdictions(folder / "jurisdictions", books),
        cases(folder / "cases", books),
        tables(folder / "tables", book),
        kept_files(folder / "kept"),
    ]
