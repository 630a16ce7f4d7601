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

import pytest

from gaugebook.plugins.printing import printed

from .conftest import EXAMPLES, ROOT, example

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

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here")

PROBE = """
const details = document.querySelectorAll('details');
for (const one of details) one.open = %s;
const found = {wide: document.documentElement.scrollWidth, details: details.length};
const wanted = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'];
axe.run(document, {runOnly: wanted}).then(axed => {
  found.violations = axed.violations.map(one => `${one.id}: ${one.nodes.slice(0, 3).map(n => n.html)}`);
  found.passes = axed.passes.length;
  const seen = axed.incomplete.filter(one => one.id === 'color-contrast').flatMap(one => one.nodes);
  found.undecided = seen.map(one => `${one.html}: ${one.any.map(check => check.message)}`);
  found.contrast = axed.passes.some(one => one.id === 'color-contrast');
  parent.document.getElementById('found').textContent = JSON.stringify(found);
});
"""


def chromium(*arguments: str) -> subprocess.CompletedProcess[str]:
    with TemporaryDirectory() as home:
        assert CHROMIUM is not None
        return subprocess.run(
            [CHROMIUM, *FLAGS, f"--user-data-dir={home}", *arguments],
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )


@pytest.mark.skipif(not AXE.is_file(), reason="no axe-core here")
@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize("name", EXAMPLES)
def test_a_sheet_is_accessible_and_not_too_wide(name: str, width: int, scheme: str, tmp_path: Path) -> None:
    probe = f"<script>{AXE.read_text('utf-8')}</script><script>{PROBE % 'true'}</script></body>"
    page = example(name).page.replace("</body>", probe)
    frame = tmp_path / "frame.html"
    frame.write_text(
        '<!doctype html><html lang="en"><meta charset="utf-8"><title>frame</title><pre id="found"></pre>'
        f'<iframe title="sheet" style="width:{width}px;height:900px;border:0" srcdoc="{escape(page)}">'
        "</iframe></html>",
        "utf-8",
    )
    dumped = chromium(
        f"--blink-settings=preferredColorScheme={scheme}",
        "--window-size=1400,1000",
        "--virtual-time-budget=60000",
        "--dump-dom",
        frame.as_uri(),
    )
    answer = re.search(r'<pre id="found">(.*?)</pre>', dumped.stdout, re.DOTALL)
    assert answer and answer[1], dumped.stderr[-2000:]
    found = json.loads(unescape(answer[1]))
    assert found["violations"] == []
    assert all(one.startswith("<text") for one in found["undecided"])
    assert found["contrast"] and found["passes"] > 15 and found["details"]
    assert found["wide"] <= width
    assert "CONSOLE" not in dumped.stderr


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no pdftotext here")
@pytest.mark.parametrize("name", EXAMPLES)
def test_paper_holds_every_check_once(name: str) -> None:
    text = paper(name)
    checks = example(name).sheet["checks"]
    labels = Counter(re.findall(r"\bC-\d+\b", text))
    width = max(2, len(str(len(checks))))
    assert labels == {f"C-{check['number']:0{width}d}": 1 for check in checks}
    lines = {found[0]: line for line in text.splitlines() if (found := re.findall(r"\bC-\d+\b", line))}
    for check in checks:
        line = " ".join(lines[f"C-{check['number']:0{width}d}"].split())
        for said in (check["actual"], check["limit"]):
            first = printed(said).replace("\u00a0", " ").split(" ")[0]
            assert first in line, (said, line)


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no pdftotext here")
@pytest.mark.parametrize("name", EXAMPLES)
def test_paper_holds_what_the_screen_folds(name: str) -> None:
    """Derivations are open, pages are numbered, the title runs along."""
    text = " ".join(paper(name).split())
    made = example(name)
    for one in made.sheet["derivations"]:
        for step in (one["steps"][0], one["steps"][-1]):
            assert " ".join(printed(step["text"]).split()[:3]) in text
    pages = re.findall(r"\b(\d+) / (\d+)\b", text)
    assert [int(page) for page, _ in pages][:3] == [1, 2, 3] and {total for _, total in pages} == {
        pages[-1][0]
    }
    assert text.count(f"{made.sheet['title']} · ") == len(pages)


@cache
def paper(name: str) -> str:
    """The text of the sheet as printed."""
    with TemporaryDirectory() as folder:
        page, pdf = Path(folder, "sheet.html"), Path(folder, "sheet.pdf")
        page.write_text(example(name).page, "utf-8")
        done = chromium("--no-pdf-header-footer", f"--print-to-pdf={pdf}", page.as_uri())
        assert "CONSOLE" not in done.stderr
        return subprocess.run(
            ["pdftotext", "-layout", str(pdf), "-"], capture_output=True, text=True, check=True
        ).stdout
