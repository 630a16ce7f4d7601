"""The sheets of the examples and of an invented book, made once."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, partial
from pathlib import Path
from typing import Any, NamedTuple

import pytest

import gaugebook
from gaugebook.documents import read
from gaugebook.plugins import answer_html, sheet_html

ROOT = Path(__file__).parents[2]
EXAMPLES = sorted(
    path.stem
    for path in (ROOT / "examples").glob("*.yaml")
    if path.read_text("utf-8").startswith("gaugebook: project")
)


class Made(NamedTuple):
    """A result, the sheet of it, and the page."""

    result: dict[str, Any]
    sheet: dict[str, Any]
    page: str


def make(path: Path, **selectors: Any) -> Made:
    result = gaugebook.size(path, **selectors)
    sheet = gaugebook.build_sheet(result)
    return Made(result.data, sheet, sheet_html.render(result.data, sheet))


def layouts(name: str) -> list[str]:
    """The layouts that an example describes beside the plain one."""
    return list(read(ROOT / "examples" / f"{name}.yaml").data.get("layouts") or {})


SHEETS = [*EXAMPLES, *(f"{name}@{layout}" for name in EXAMPLES for layout in layouts(name))]
"""Every sheet of the examples: `project` and `project@layout`."""


@cache
def example(name: str) -> Made:
    project, _, layout = name.partition("@")
    return make(ROOT / "examples" / f"{project}.yaml", layout=layout or None)


def compared(**columns: Any) -> str:
    return answer_html.render(gaugebook.compare(ROOT / "examples" / "boathouse.yaml", **columns))


def limited(name: str) -> str:
    return answer_html.render(gaugebook.limits(ROOT / "examples" / f"{name}.yaml"))


ANSWERS: dict[str, Callable[[], str]] = {
    "books-compared": partial(compared, rulesets=["nec-2017", "nec-2020"]),
    "layouts-compared": partial(compared, layouts=layouts("boathouse")),
    **{f"limits-of-{name}": partial(limited, name) for name in EXAMPLES},
}
"""The other pages: comparisons and limits."""


@pytest.fixture(params=EXAMPLES)
def made(request: pytest.FixtureRequest) -> Made:
    return example(request.param)


HOSTILE = "</style></script><script>alert(1)</script>\"'&`|[x](http://example.com)"

BOOK = """\
gaugebook: ruleset/1
id: hoists
version: 1.0.0
title: '<b>Hoists</b> of Larkmere & sons'
document: '<Hoist> book'
not_encoded: [{clause: '<4>', what: 'hooks </li>'}]
kinds:
  site: {section: site, one: yes}
  rope: {section: ropes, title: '<i>Rope</i>'}
  stretch: {within: rope, section: stretches}
  pipe: {section: pipes, title: Pipe}
series:
  sizes: {members: [thin, middling, thick], properties: {strength: {unit: kg, values: [10, 20, 40]}}}
fields:
  site.permit_date: {title: Day, date: yes}
  rope.load: {title: 'Load <u>', unit: kg, ask: what it carries}
  rope.fed_by: {links: rope, inverse: feeds}
  rope.pipe: {link: pipe, inverse: ropes}
  stretch.length: {unit: m}
  pipe.inside: {unit: mm}
rules:
  rope.carried: {title: 'Carried <x>', unit: kg, cites: '2 <a>', is: load + sum of carried over fed_by}
  rope.thickness: {unit: mm, is: if size is thin then 4 mm else 8 mm}
choices:
  size: {of: rope, title: 'Size "q"', from: sizes, cites: '3'}
checks:
  strong_enough:
    title: 'Bears & holds <load>'
    of: rope
    constrains: size
    require: size.strength >= carried
    cites: '3 <b>'
cautions:
  aid: {of: site, say: 'Mind the <script>hook</script>'}
sheet:
  head: {form: facts, of: site, shows: [permit_date]}
  picture:
    title: Picture <p>
    form: diagram
    of: rope
    fed_by: fed_by
    text: ["{size} <s>", "{carried}"]
    segments: {over: stretches, text: "{length}"}
    starts: [{given: load, symbol: module_string, text: "{load}"}]
    ends: [{symbol: network, text: the end}]
  table:
    form: schedule
    of: rope
    columns: [{title: 'Size <c>', text: "{size}"}, {title: Fed by, text: "{fed_by}"}]
  derivation: {form: derivation, of: rope, shows: [size]}
  section:
    form: section
    of: pipe
    diameter: inside
    text: "{inside}"
    contents: [{over: ropes, diameter: thickness, text: "{size} <t>"}]
"""


@pytest.fixture
def hoists(tmp_path: Path) -> Path:
    """A folder with the invented book."""
    (tmp_path / "hoists.yaml").write_text(BOOK, "utf-8")
    return tmp_path


def project(folder: Path, ropes: dict[str, str], title: str = "Loft") -> Path:
    """A project of ropes, each written as the inside of a flow mapping."""
    import json

    lines = [
        f"gaugebook: project/1\ntitle: {json.dumps(title)}",
        "site: {rulesets: [hoists], permit_date: 2026-01-02}\nropes:",
    ]
    lines += [f"  {json.dumps(name)}: {{{body}}}" for name, body in ropes.items()]
    lines += ["pipes:\n  shaft: {inside: 30 mm}"]
    path = folder / "loft.yaml"
    path.write_text("\n".join(lines), "utf-8")
    return path
