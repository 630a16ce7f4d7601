"""One HTML file that fetches nothing, in the style of the sheet."""

from __future__ import annotations

from pathlib import Path

from .printing import literal, text

STYLE = "sheet.css"


def page(title: str, running: str, body: str, further: str = "") -> str:
    """The file: its title, the line that runs along the top of every printed page, and a finished body.

    `further` is a style sheet that adds to that of all pages.
    """
    sheets = [Path(__file__).with_name(name).read_text("utf-8") for name in (STYLE, further) if name]
    style = "".join(sheets).replace("RUNNING", quoted(running))
    return f"""<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<title>{literal(title)}</title>
<style>
{style}</style>
</head>
<body>
{body}
</body>
</html>
"""


def section(number: int, heading: str, body: str) -> str:
    """A part with its number as a thumb index."""
    id = f"part-{number}"
    head = f'<h2 id="{id}"><span class="tab">{number}</span>{text(heading)}</h2>'
    return f'<section aria-labelledby="{id}">\n{head}\n{body}\n</section>'


def quoted(value: str) -> str:
    """A text as a string of CSS, in which nothing can end the string or the style sheet."""
    safe = (c if c == " " or (c.isascii() and c.isalnum()) else f"\\{ord(c):x} " for c in value)
    return f'"{"".join(safe)}"'
