"""What a sheet says: every check once, nothing that acts, nothing fetched, the same parts in every form."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

import gaugebook
from gaugebook.plugins import reports, sheet_markdown
from gaugebook.plugins.page import quoted
from gaugebook.plugins.printing import literal, printed, text
from gaugebook.shown import relation

from .conftest import HOSTILE, Made, make, project

VOID = {"meta", "br", "path", "circle"}


class Reader(HTMLParser):
    """The tags, attributes and text of a page; complains where tags do not close."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: Counter[str] = Counter()
        self.links: list[str] = []
        self.ids: list[str] = []
        self.rows: list[list[str]] = []
        self.text: list[str] = []
        self.feed(page)
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags[tag] += 1
        self.ids += [value or "" for name, value in attrs if name == "id"]
        self.links += [
            value or ""
            for name, value in attrs
            if name in ("href", "src", "srcset", "data", "action", "style")
        ]
        assert not any(name.startswith("on") for name, _ in attrs)
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th") and self.rows:
            self.rows[-1].append("")
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags[tag] += 1

    def handle_endtag(self, tag: str) -> None:
        if tag not in VOID:
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.text.append(data)
        if {"td", "th"} & set(self.open) and self.rows and self.rows[-1]:
            self.rows[-1][-1] += data


def test_every_check_is_told_once(made: Made) -> None:
    rows = [row for row in Reader(made.page).rows if re.fullmatch(r"C-\d+", row[0])]
    assert len(rows) == len({row[0] for row in rows}) == len(made.result["checks"])
    told = Counter((row[2], row[3].strip(), row[4].strip()) for row in rows)
    words = {True: "passes", False: "fails", None: "open"}
    wanted = Counter(
        (words[check["passes"]], side(check["actual"]), relation(check["sign"], side(check["limit"])))
        for check in made.result["checks"]
    )
    assert told == wanted
    assert any(row[4].startswith(("≥", "≤")) for row in rows)


def side(value: dict[str, object] | None) -> str:
    return printed(gaugebook.rendering.shown(value["value"], value["unit"])) if value else ""  # type: ignore[attr-defined]


def test_nothing_is_fetched_and_nothing_runs(made: Made) -> None:
    reader = Reader(made.page)
    assert reader.tags["script"] == reader.tags["img"] == reader.tags["link"] == reader.tags["iframe"] == 0
    assert reader.links and all(link.startswith("#") for link in reader.links)
    assert {link[1:] for link in reader.links} <= set(reader.ids)
    assert len(reader.ids) == len(set(reader.ids))
    style = made.page.partition("<style>")[2].partition("</style>")[0]
    assert not re.search(r"url\(|@import|https?:", style)


def test_every_part_is_there(made: Made) -> None:
    text = "".join(Reader(made.page).text)
    for book in made.result["ruleset"]["stack"]:
        assert book["title"] in text and book["digest"][7:19] in text
    for caution in made.result["cautions"]:
        assert printed(caution) in text
    for entry in made.result["unchecked"]:
        assert entry["entry"] in text
    (assumed,) = (one["items"] for one in made.sheet["grounds"] if one["title"].startswith("Assumed"))
    for item in made.result["assumptions"]:
        name = called(item["thing"])
        assert any(name in told["text"] and printed(told["text"]) in text for told in assumed), name
    for source in made.sheet["sources"]:
        assert printed(source["text"]) in text
    for reading in made.result["readings"]:
        assert reading["question"] in text


def called(path: str) -> str:
    """What a thing is called beside others of its kind: `east, run 2`."""
    name = re.sub(r"\.(\w+?)s?\[(\d+)\]", lambda found: f", {found[1]} {int(found[2]) + 1}", path)
    return name.partition(".")[2] or name.capitalize()


def test_rejected_candidates_are_all_told(made: Made) -> None:
    told = sum(len(one["members"]) * len(one["things"]) for one in made.sheet["rejected"])
    assert told == sum(len(value.get("rejected") or []) for value in made.result["values"].values())


def test_markdown_has_the_parts_in_the_same_order(made: Made) -> None:
    page = sheet_markdown.render(made.sheet)
    headings = [re.sub(r"\\(.)", r"\1", line[3:]) for line in page.splitlines() if line.startswith("## ")]
    printed_headings = [
        re.sub(r"<[^>]*>|^\d+", "", found)
        for found in re.findall(r"<h2[^>]*><span[^>]*>\d+</span>(.*?)</h2>", made.page)
    ]
    assert headings == [heading.replace("&amp;", "&") for heading in printed_headings]
    assert len(re.findall(r"^\| C-\d+ \|", page, re.MULTILINE)) == len(made.result["checks"])


@pytest.mark.parametrize(
    ("value", "kept"),
    [
        ("≥ 2-1/2\u00a0in in the trench", "2-1/2"),
        ("2 × 10 AWG THWN-2, copper", "THWN-2"),
        ("'NFPA 70-2017'-9", "70-2017"),
        ("IEC 60364-5-52:2009", "60364-5-52"),
    ],
)
def test_a_figure_behind_a_hyphen_stays_on_its_line(value: str, kept: str) -> None:
    """The page says what it said, and an attribute has no markup in it."""
    page = gaugebook.as_html([gaugebook.Paragraph(value)])
    for made, said in ((text(value), printed(value)), (page, value)):
        assert re.findall(r"<span[^>]*>(.*?)</span>", made) == [kept]
        assert "".join(Reader(made).text) == said
    assert "<" not in literal(value)


@pytest.mark.parametrize(
    ("value", "tied"),
    [
        ("0.5 in of 2-1/2 in trade, 3.14 ohm/kft at 30 degC",
         "0.5_in of 2-1/2_in_trade, 3.14_Ω/kft at 30_°C"),
        ("11 × 48.6 V in row 3, 4) see", "11 × 48.6_V in row 3, 4) see"),
        ("1.5 percent, the 2017 edition", "1.5 percent, the 2017 edition"),
    ],
)  # fmt: skip
def test_a_figure_is_tied_to_its_unit(value: str, tied: str) -> None:
    assert printed(value) == tied.replace("_", "\u00a0")


# -- texts that would like to be more


def hostile(hoists: Path) -> Made:
    path = project(hoists, {HOSTILE: "load: 5 kg, pipe: shaft, stretches: [{length: 3 m}]"}, title=HOSTILE)
    return make(path, folders=[hoists])


def test_every_text_is_escaped(hoists: Path) -> None:
    made = hostile(hoists)
    reader = Reader(made.page)
    assert reader.tags["script"] == 0 and reader.tags["style"] == 1
    assert not reader.tags.keys() & {"b2", "i", "u", "x", "load", "s", "c", "t", "hook", "hoist"}
    text = "".join(reader.text)
    for said in (
        HOSTILE,
        "<b>Hoists</b> of Larkmere & sons",
        "Bears & holds <load>",
        "Mind the <script>hook</script>",
        "<Hoist> book",
    ):
        assert said in text
    assert all(link.startswith("#") for link in reader.links)


def test_the_style_sheet_holds_no_text_of_others(hoists: Path) -> None:
    page = hostile(hoists).page
    style = page.partition("<style>")[2].partition("</style>")[0]
    assert "alert" not in style.replace("alert\\28 1", "") and "</script>" not in style
    assert style.rstrip().endswith("}")


@pytest.mark.parametrize("value", ['"', "\\", "</style>", "a\nb", "é\u2028", "'"])
def test_strings_of_css_cannot_be_left(value: str) -> None:
    assert re.fullmatch(r'"(?:[A-Za-z0-9 ]|\\[0-9a-f]+ )*"', quoted(value))


def test_markdown_is_inert(hoists: Path) -> None:
    page = sheet_markdown.render(hostile(hoists).sheet)
    assert page.startswith("# \\<\\/style".replace("\\/", "/"))
    assert not re.search(r"(?<!\\)[<>`]", page)
    assert not re.search(r"(?<!\\)\[x", page)


def test_the_schedule_is_no_formula(hoists: Path) -> None:
    path = project(hoists, {"=1+1": "load: 5 kg"})
    result = gaugebook.size(path, folders=[hoists])
    rows = list(csv.reader(io.StringIO(reports.render_schedule(result))))
    assert rows == [["<i>Rope</i>", "Size <c>", "Fed by"], ["'=1+1", "thin", "none"]]


# -- what the parts say


def test_alike_things_are_drawn_once_and_derived_once(hoists: Path) -> None:
    ropes = {f"rope_{place}": "load: 5 kg, stretches: [{length: 3 m}]" for place in range(5)}
    ropes["odd"] = "load: 5 kg, stretches: [{length: 4 m}]"
    ropes["main"] = f"load: 1 kg, fed_by: [{', '.join(ropes)}]"
    made = make(project(hoists, ropes), folders=[hoists])
    (root,) = made.sheet["diagrams"][0]["roots"]
    (main,) = root["lines"]
    assert [line["things"] for line in main["from"]["lines"]] == [
        [f"rope_{place}" for place in range(5)],
        ["odd"],
    ]
    assert [one["also"] for one in made.sheet["derivations"]] == [
        [f"rope_{place}" for place in range(1, 5)],
        [],
        [],
    ]
    assert "5 × rope_0 …" in made.page


def test_few_alike_things_are_drawn_each(hoists: Path) -> None:
    ropes = {"one": "load: 5 kg", "two": "load: 5 kg", "main": "load: 1 kg, fed_by: [one, two]"}
    made = make(project(hoists, ropes), folders=[hoists])
    (main,) = made.sheet["diagrams"][0]["roots"][0]["lines"]
    assert [line["name"] for line in main["from"]["lines"]] == ["one", "two"]


def test_what_fails_comes_first_and_is_open_where_undetermined(hoists: Path) -> None:
    path = project(hoists, {"light": "load: 5 kg", "heavy": "load: 90 kg", "unknown": "pipe: shaft"})
    made = make(path, folders=[hoists])
    assert [check["passes"] for check in made.sheet["checks"]] == sorted(
        (check["passes"] for check in made.result["checks"]), key=[False, None, True].index
    )
    assert made.sheet["passes"] is False and "Fails" in made.page
    assert [
        made.sheet["schedules"][0]["rows"][2]["cells"][0],
        made.sheet["schedules"][0]["rows"][1]["cells"][0],
    ] == ["undetermined", "none"]


def test_a_book_without_a_sheet_still_gets_one(hoists: Path) -> None:
    book = hoists / "hoists.yaml"
    book.write_text(book.read_text("utf-8").partition("sheet:\n")[0], "utf-8")
    made = make(project(hoists, {"rope": "load: 5 kg"}), folders=[hoists])
    assert made.sheet["schedules"][0]["rows"][0]["cells"] == ["thin"]
    assert made.sheet["derivations"][0]["steps"] and made.sheet["diagrams"] == []


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ("{sise}", "a rope has no 'sise'; nearest: size"),
        ("{pipe.insides}", "a pipe has no 'insides'; nearest: inside"),
        ("{size.name.more}", "has no 'name'"),
    ],
)
def test_a_sheet_that_names_what_is_not_there_is_refused(hoists: Path, wrong: str, says: str) -> None:
    book = hoists / "hoists.yaml"
    book.write_text(book.read_text("utf-8").replace('text: "{size}"', f'text: "{wrong}"'), "utf-8")
    with pytest.raises(gaugebook.Refused, match=re.escape(says)):
        gaugebook.open_book("hoists", folders=[hoists])


@pytest.mark.parametrize(
    ("margin", "actual", "limit", "share"),
    [
        (0.25, 125.0, 100.0, 0.8),
        (0.2, 80.0, 100.0, 0.8),
        (-0.5, 50.0, 100.0, 2.0),
        (-0.1, 110.0, 100.0, 1.1),
        (0.0, 5.0, 5.0, 1.0),
    ],
)
def test_the_share_used_is_one_at_the_limit(margin: float, actual: float, limit: float, share: float) -> None:
    check = {"margin": margin, "actual": {"value": actual}, "limit": {"value": limit}}
    assert gaugebook.share_used(check) == pytest.approx(share)


# -- what a book draws itself


def with_mark(hoists: Path, mark: str, drawn: str = "") -> None:
    book = hoists / "hoists.yaml"
    text = book.read_text("utf-8").replace("symbol: network", f"symbol: {mark}")
    book.write_text(text.replace("    ends:", f"{drawn}    ends:"), "utf-8")


def test_a_book_may_draw_a_symbol_of_its_own(hoists: Path) -> None:
    with_mark(hoists, "hook", "    draws: {hook: {title: Hook, width: 20, height: 10, lines: [M0 5 H20]}}\n")
    made = make(project(hoists, {"rope": "load: 5 kg"}), folders=[hoists])
    assert made.sheet["symbols"]["hook"]["width"] == 20.0
    assert '<path d="M0 5 H20"/>' in made.page


def test_a_symbol_nobody_draws_is_refused(hoists: Path) -> None:
    with_mark(hoists, "netwerk")
    with pytest.raises(gaugebook.Refused, match="there is no symbol named 'netwerk'; nearest: network"):
        gaugebook.open_book("hoists", folders=[hoists])


def test_a_symbol_is_a_path_and_nothing_else(hoists: Path) -> None:
    with_mark(
        hoists,
        "hook",
        "    draws: {hook: {title: Hook, width: 20, height: 10, lines: ['M0 5\"/><script>']}}\n",
    )
    with pytest.raises(gaugebook.Refused):
        gaugebook.open_book("hoists", folders=[hoists])


# -- what a diagram says of every line


def drawn(node: dict[str, Any]) -> Iterator[dict[str, Any]]:
    for line in node["lines"]:
        yield line
        yield from drawn(line["from"])


def test_a_device_that_was_chosen_is_in_the_schedule(made: Made) -> None:
    """Also where the project does not say of what sort it is."""
    schedule, values = made.sheet["schedules"][0], made.result["values"]
    place = schedule["columns"].index("Device")
    for row in schedule["rows"]:
        rating = side(values[f"{row['thing']}.overcurrent_rating"])
        assert row["cells"][place].split(", ")[0] == rating


def test_every_segment_says_what_lies_in_it(made: Made) -> None:
    """How many conductors, their size and insulation, the grounding conductor, the raceway, the length."""
    seen: Counter[str] = Counter()
    for diagram in made.sheet["diagrams"]:
        for root in diagram["roots"]:
            for line in drawn(root):
                seen.update(line["things"])
                text = " ".join(line["text"]).replace("\u00a0", " ")
                assert re.search(r"\d × \S+ (AWG|kcmil|mm2) \S+", text), text
                for name, value in made.result["values"].items():
                    if name in (f"{line['thing']}.{of}_conductor_size" for of in ("grounding", "protective")):
                        assert value["value"] is None or str(value["value"]) in text, (name, text)
                assert line["segments"]
                for segment in line["segments"]:
                    said = ", ".join(segment).replace("\u00a0", " ")
                    assert re.search(r"\d (m|ft)\b", said), said
    circuits = {name.partition(".")[2] for name in made.result["values"] if name.endswith(".conductor_size")}
    assert set(seen) >= {name.rpartition(".")[0] for name in circuits} and set(seen.values()) == {1}
