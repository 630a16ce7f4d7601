"""Sheets in a browser: accessible, no wider than a phone, silent, and whole on paper.

Skipped where Chromium, axe-core or pdftotext is missing; README.md says how to have them.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
from collections import Counter
from functools import cache
from html import escape, unescape
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

import pytest

from gaugebook.plugins.printing import printed

from .conftest import ANSWERS, EXAMPLES, ROOT, SHEETS, example

CHROMIUM = next(
    (found for name in ("chromium", "chromium-browser", "google-chrome") if (found := shutil.which(name))),
    None,
)
AXE = Path(os.environ.get("GAUGEBOOK_AXE", ROOT / ".browser/node_modules/axe-core/axe.min.js"))
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
    "--enable-logging=stderr",
]
LIGHT, DARK = "1", "0"
WIDTHS = (390, 1280)
PAPERS = {"Letter": (612, 792), "A4": (595, 842)}
"""Width and height in points."""

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here")

PROBE = """
const details = document.querySelectorAll('details');
for (const one of details) one.open = true;
const found = {wide: document.documentElement.scrollWidth, details: details.length};
const wanted = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'];
axe.run(document, {runOnly: wanted}).then(axed => {
  found.violations = axed.violations.map(one => `${one.id}: ${one.nodes.slice(0, 3).map(n => n.html)}`);
  found.passes = axed.passes.length;
  const seen = axed.incomplete.filter(one => one.id === 'color-contrast').flatMap(one => one.nodes);
  found.undecided = seen.map(one => `${one.html}: ${one.any.map(check => check.message)}`);
  found.contrast = axed.passes.some(one => one.id === 'color-contrast');
  parent.document.getElementById('found' + window.name).textContent = JSON.stringify(found);
});
"""

LINES = r"""
for (const one of document.querySelectorAll('details')) one.open = true;
const blocks = new Map();
const walk = document.createTreeWalker(document.querySelector('main'), NodeFilter.SHOW_TEXT);
while (walk.nextNode()) {
  const block = walk.currentNode.parentElement.closest('td, th, li, p, summary, figcaption');
  if (block) blocks.set(block, [...(blocks.get(block) || []), walk.currentNode]);
}
const size = /\d[\d.,\/]*(?:-\d+\/\d+)?[ \u00a0](?:in trade|AWG|kcmil|°C|Ω\/kft|cmil|[AVWKm%]|ft|in)(?![\w\/])/g;
const found = {sizes: new Set(), broken: new Set(), wide: new Set()};
for (let width = 320; width < 1100; width += 40) {
  frameElement.style.width = width + 'px';
  if (document.documentElement.scrollWidth > width) found.wide.add(width);
  for (const nodes of blocks.values()) {
    const ends = [], text = nodes.map(node => node.data).join('');
    for (const node of nodes) ends.push((ends.at(-1) || 0) + node.length);
    const at = (range, end, place) => {
      const number = ends.findIndex(limit => place < limit + end);
      range[end ? 'setEnd' : 'setStart'](nodes[number], place - (ends[number - 1] || 0));
    };
    for (const one of text.matchAll(size)) {
      const range = new Range();
      at(range, 0, one.index);
      at(range, 1, one.index + one[0].length);
      found.sizes.add(one[0]);
      const lines = new Set([...range.getClientRects()].filter(box => box.width).map(box => Math.round(box.top)));
      if (lines.size > 1) found.broken.add(one[0]);
    }
  }
}
const plain = Object.entries(found).map(([name, all]) => [name, [...all]]);
parent.document.getElementById('found').textContent = JSON.stringify(Object.fromEntries(plain));
"""


def chromium(*arguments: str) -> subprocess.CompletedProcess[str]:
    with TemporaryDirectory() as home:
        assert CHROMIUM is not None
        return subprocess.run(
            [CHROMIUM, *FLAGS, f"--user-data-dir={home}", *arguments],
            capture_output=True,
            text=True,
            timeout=300,
            check=False,
        )


@cache
def page_of(name: str) -> str:
    return ANSWERS[name]() if name in ANSWERS else example(name).page


@pytest.mark.skipif(not AXE.is_file(), reason="no axe-core here")
@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("name", [*SHEETS, *ANSWERS])
def test_a_page_is_accessible_and_not_too_wide(name: str, scheme: str, tmp_path: Path) -> None:
    """On a phone and on a laptop, side by side."""
    probe = f"<script>{AXE.read_text('utf-8')}</script><script>{PROBE}</script></body>"
    page = page_of(name)
    probed = escape(page.replace("</body>", probe))
    frames = "".join(
        f'<pre id="found{width}"></pre><iframe title="page" name="{width}" '
        f'style="width:{width}px;height:900px;border:0" srcdoc="{probed}"></iframe>'
        for width in WIDTHS
    )
    frame = tmp_path / "frame.html"
    frame.write_text(
        f'<!doctype html><html lang="en"><meta charset="utf-8"><title>frame</title>{frames}</html>', "utf-8"
    )
    dumped = chromium(
        f"--blink-settings=preferredColorScheme={scheme}",
        "--window-size=1400,2000",
        "--virtual-time-budget=60000",
        "--dump-dom",
        frame.as_uri(),
    )
    for width in WIDTHS:
        answer = re.search(rf'<pre id="found{width}">(.*?)</pre>', dumped.stdout, re.DOTALL)
        assert answer and answer[1], dumped.stderr[-2000:]
        found = json.loads(unescape(answer[1]))
        assert found["violations"] == []
        assert all(one.startswith("<text") for one in found["undecided"])
        assert found["contrast"] and found["passes"] > 15
        assert found["details"] == page.count("<details")
        assert found["wide"] <= width
    assert "CONSOLE" not in dumped.stderr


def test_no_size_is_broken_and_no_table_cut_off_between_phone_and_laptop(tmp_path: Path) -> None:
    """A size is broken neither at its hyphen nor before its unit, and no page is wider than its window."""
    page = escape(page_of("carport").replace("</body>", f"<script>{LINES}</script></body>"))
    frame = tmp_path / "frame.html"
    frame.write_text(f'<!doctype html><pre id="found"></pre><iframe srcdoc="{page}"></iframe>', "utf-8")
    dumped = chromium("--window-size=1400,2000", "--virtual-time-budget=60000", "--dump-dom", frame.as_uri())
    answer = re.search(r'<pre id="found">(.+?)</pre>', dumped.stdout, re.DOTALL)
    assert answer, dumped.stderr[-2000:]
    found = json.loads(unescape(answer[1]))
    assert any("-" in one for one in found["sizes"]) and len(found["sizes"]) > 100
    assert found["broken"] == found["wide"] == []


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no pdftotext here")
@pytest.mark.parametrize("size", PAPERS)
@pytest.mark.parametrize("name", EXAMPLES)
def test_paper_holds_every_check_once(name: str, size: str) -> None:
    text = paper(name, size).text
    checks = example(name).sheet["checks"]
    labels = Counter(re.findall(r"\bC-\d+\b", text))
    width = max(2, len(str(len(checks))))
    assert labels == {f"C-{check['number']:0{width}d}": 1 for check in checks}
    lines = {found[0]: line for line in text.splitlines() if (found := re.findall(r"\bC-\d+\b", line))}
    for check in checks:
        line = " ".join(lines[f"C-{check['number']:0{width}d}"].split())
        for said in (check["actual"], check["limit"]):
            figures = re.sub("^[≥≤<>] ", "", printed(said).replace("\u00a0", " ")).split(" ")[0]
            assert figures in line, (said, line)


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no pdftotext here")
@pytest.mark.parametrize("size", PAPERS)
@pytest.mark.parametrize("name", EXAMPLES)
def test_paper_holds_what_the_screen_folds(name: str, size: str) -> None:
    """Derivations are open, every page is of the size asked for, numbered and headed by the title."""
    made, whole = example(name), paper(name, size)
    text = " ".join(whole.text.split())
    for one in made.sheet["derivations"]:
        for step in (one["steps"][0], one["steps"][-1]):
            assert " ".join(printed(step["text"]).split()[:3]) in text
    assert [size for page in whole.pages for size in [(round(page.width), round(page.height))]] == [
        PAPERS[size]
    ] * len(whole.pages)
    for number, page in enumerate(whole.pages, 1):
        words = " ".join(word.text for word in page.words)
        assert f"{number} / {len(whole.pages)}" in words
        assert words.count(f"{made.sheet['title']} · ") == 1


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no pdftotext here")
@pytest.mark.parametrize("size", PAPERS)
@pytest.mark.parametrize("name", EXAMPLES)
def test_no_row_is_cut_between_pages(name: str, size: str) -> None:
    """All that stands in the row of a check stands on its page, and nothing runs over the edge of the paper."""
    whole = paper(name, size)
    for page in whole.pages:
        assert all(word.left >= 0 and word.right <= page.width for word in page.words)
        assert all(word.top >= MARGIN and word.bottom <= page.height - MARGIN for word in page.words)
    homes = {
        word.text: page for page in whole.pages for word in page.words if re.fullmatch(r"C-\d+", word.text)
    }
    width = max(2, len(str(len(example(name).sheet["checks"]))))
    for check in example(name).sheet["checks"]:
        home = homes[f"C-{check['number']:0{width}d}"]
        label = next(word for word in home.words if word.text == f"C-{check['number']:0{width}d}")
        after = [word.text for word in home.words if word.top >= label.top - 2]
        title = printed(check["title"]).split()
        assert all(word in after for word in title), (title, check["number"])


MARGIN = 15
"""Points that no printer fills; the running head and the page number stand further in."""


class Word(NamedTuple):
    """A word on a page, in points from the upper left corner."""

    text: str
    left: float
    top: float
    right: float
    bottom: float


class Page(NamedTuple):
    """A printed page."""

    width: float
    height: float
    words: list[Word]


class Paper(NamedTuple):
    """A sheet as printed: its text as laid out, and its pages."""

    text: str
    pages: list[Page]


@cache
def paper(name: str, size: str) -> Paper:
    """The sheet printed on a size of paper."""
    with TemporaryDirectory() as folder:
        page, pdf = Path(folder, "sheet.html"), Path(folder, "sheet.pdf")
        style = f"<style>@page {{ size: {size}; }}</style></head>"
        page.write_text(example(name).page.replace("</head>", style, 1), "utf-8")
        done = chromium("--no-pdf-header-footer", f"--print-to-pdf={pdf}", page.as_uri())
        assert "CONSOLE" not in done.stderr
        text, boxes = (
            subprocess.run(
                ["pdftotext", how, str(pdf), "-"], capture_output=True, text=True, check=True
            ).stdout
            for how in ("-layout", "-bbox")
        )
    found = []
    for leaf in re.findall(r"<page .*?</page>", boxes, re.DOTALL):
        across, down = re.findall(r'<page width="([\d.]+)" height="([\d.]+)"', leaf)[0]
        words = [
            Word(unescape(word), *map(float, box))
            for *box, word in re.findall(
                r'<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">(.*?)</word>',
                leaf,
            )
        ]
        found.append(Page(float(across), float(down), words))
    return Paper(text, found)
