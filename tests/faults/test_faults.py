"""What happens to a disk, a home, a clock, a locale or a name is no reason for a wrong answer or a traceback."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

import pytest

from gaugebook import cache, size

HERE = Path(__file__).parent
BOOK = """\
gaugebook: ruleset/1
id: hoists
version: 1.0.0
title: Hoists of Lárkmere
document: Book 1
kinds: {yard: {section: yard, one: yes}, hoist: {section: hoists}}
fields: {hoist.load: {unit: kg, least: 0 kg}}
rules:
  burden: {of: hoist, unit: kg, cites: "1", transcription: checked, is: 1.25 * load}
checks: {bears: {of: hoist, cites: "2", require: burden <= 90 kg}}
"""
PROJECT = """\
gaugebook: project/1
title: Двор № 3, 船
yard: {rulesets: [hoists]}
hoists: {east: {load: 20 kg}}
"""
CASES = "name,hoists.east.load [kg]\n船,8\ntwo,16\n" + "more,24\n" * 300
OUTCOMES = 303


class Place:
    """A folder with a book, a project and a table of designs, and calls of the program there."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (folder / "books").mkdir(parents=True)
        self.book, self.project, self.cases = (
            folder / name for name in ("books/hoists.yaml", "project.yaml", "cases.csv")
        )
        self.book.write_text(BOOK, "utf-8")
        self.project.write_text(PROJECT, "utf-8")
        self.cases.write_text(CASES, "utf-8")

    def started(
        self,
        *arguments: str | Path,
        first: str = "",
        given: Mapping[str, str | None] | None = None,
        **options: object,
    ) -> subprocess.Popen[bytes]:
        """A call at work; `first` is Python that runs before it, `given` changes the environment."""
        code = f"{first}\nimport sys; from gaugebook.cli import main; sys.exit(main(sys.argv[1:]))"
        changed = {"GAUGEBOOK_CACHE": "off", **(given or {})}
        environment = {**os.environ, **{key: value for key, value in changed.items() if value is not None}}
        for key in [key for key, value in changed.items() if value is None]:
            environment.pop(key, None)
        call = [sys.executable, "-c", code, *map(str, arguments), "--rulesets", str(self.folder / "books")]
        pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "cwd": self.folder, **options}
        return subprocess.Popen(call, env=environment, **pipes)  # type: ignore[call-overload,no-any-return]

    def call(
        self,
        *arguments: str | Path,
        first: str = "",
        given: Mapping[str, str | None] | None = None,
        **options: object,
    ) -> tuple[int, bytes, str]:
        """A call that has ended: status, standard output, standard error."""
        process = self.started(*arguments, first=first, given=given, **options)
        out, err = process.communicate(timeout=120)
        said = (err or b"").decode("utf-8", "replace")
        assert "Traceback" not in said and "internal error" not in said, said
        return process.returncode, out, said

    def sheet(self, name: str = "sheet.html") -> list[str | Path]:
        """Arguments for a sheet in a file."""
        return ["size", self.project, "--format", "html", "--output", self.folder / name]

    def batch(self, name: str = "out.csv") -> list[str | Path]:
        """Arguments for a batch."""
        return ["batch", self.project, self.cases, "--output", self.folder / name]

    def names(self) -> set[str]:
        """The files there are."""
        return {path.name for path in self.folder.iterdir()}


@pytest.fixture
def place(tmp_path: Path) -> Place:
    return Place(tmp_path / "yard")


ANSWER = b'"value": 25.0'


def test_killed_a_dozen_times(tmp_path: Path) -> None:
    call = [sys.executable, str(HERE), "--kills", "12"]
    done = subprocess.run(
        call, capture_output=True, text=True, timeout=600, env={**os.environ, "TMPDIR": str(tmp_path)}
    )
    assert done.returncode == 0, done.stdout + done.stderr
    kills = [line.split("|")[2].strip() for line in done.stdout.splitlines()[2:-1]]
    assert kills == ["3", "3", "3", "3"]


# --- a full disk ------------------------------------------------------------------------------------

FULL = "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, ({0}, {0}))"
"""No file may grow beyond so many bytes: the system refuses the rest, as it does on a full disk."""


def test_a_sheet_that_does_not_fit_leaves_the_old_one(place: Place) -> None:
    assert place.call(*place.sheet())[0] == 0
    whole, names = (place.folder / "sheet.html").read_bytes(), place.names()
    place.project.write_text(PROJECT.replace("20 kg", "30 kg"), "utf-8")
    status, _, err = place.call(*place.sheet(), first=FULL.format(1000))
    assert status == 2 and "[cannot-write]" in err
    assert (place.folder / "sheet.html").read_bytes() == whole
    assert place.names() == names, "nothing is left beside it"


def test_a_batch_that_does_not_fit_goes_on_when_there_is_room(place: Place) -> None:
    assert place.call(*place.batch("whole.csv"))[0] == 0
    whole = (place.folder / "whole.csv").read_bytes()
    status, _, err = place.call(*place.batch(), first=FULL.format(len(whole) // 2))
    assert status == 2 and "[cannot-write]" in err
    assert not (place.folder / "out.csv").exists()
    status, _, err = place.call(*place.batch())
    assert status == 0 and "[batch-goes-on]" in err
    assert (place.folder / "out.csv").read_bytes() == whole


def test_a_cache_that_does_not_fit_is_done_without(place: Place) -> None:
    kept = place.folder / "kept"
    call = ["size", place.project, "--format", "json"]
    for _ in range(2):
        status, out, err = place.call(*call, first=FULL.format(50), given={cache.VARIABLE: str(kept)})
        assert (status, err) == (0, "") and ANSWER in out
    assert list(kept.iterdir()) == [], "nothing is left there"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device of Linux")
@pytest.mark.parametrize("arguments", [["size"], ["size", "--format", "json"], ["limits"]])
def test_standard_output_that_is_full(place: Place, arguments: list[str]) -> None:
    with open("/dev/full", "wb") as full:
        command, *rest = arguments
        status, _, err = place.call(command, place.project, *rest, stdout=full)
    assert status == 2 and "[cannot-write]" in err


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device of Linux")
def test_an_output_that_is_no_file_is_written_to(place: Place) -> None:
    status, _, err = place.call("size", place.project, "--format", "json", "--output", "/dev/full")
    assert status == 2 and "[cannot-write]" in err
    status, out, _ = place.call("size", place.project, "--format", "json", "--output", "/dev/stdout")
    assert status == 0 and ANSWER in out


# --- folders ----------------------------------------------------------------------------------------


@pytest.fixture
def closed(tmp_path: Path) -> Path:
    """A folder that nothing can be written to, not even by a superuser."""
    if os.geteuid() == 0:
        if not Path("/proc/self").is_dir():
            pytest.skip("no folder is closed to a superuser here")
        return Path("/proc")
    folder = tmp_path / "closed"
    folder.mkdir(mode=0o500)
    return folder


@pytest.mark.parametrize("command", ["sheet", "batch"])
def test_a_folder_that_cannot_be_written_to(place: Place, closed: Path, command: str) -> None:
    arguments = place.sheet() if command == "sheet" else place.batch()
    status, _, err = place.call(*arguments[:-1], closed / "out.csv")
    assert status == 2 and "[cannot-write]" in err and str(closed) in err


def test_a_cache_that_cannot_be_written_to(place: Place, closed: Path) -> None:
    given = {cache.VARIABLE: str(closed / "kept")}
    status, out, err = place.call("size", place.project, "--format", "json", given=given)
    assert (status, err) == (0, "") and ANSWER in out


@pytest.mark.parametrize("home", [None, "", "/nonexistent", "relative"])
def test_without_a_home(place: Place, home: str | None) -> None:
    given = {cache.VARIABLE: None, "XDG_CACHE_HOME": None, "HOME": home}
    first = "import pwd; pwd.getpwuid = lambda number: (_ for _ in ()).throw(KeyError(number))"
    status, out, err = place.call("size", place.project, "--format", "json", first=first, given=given)
    assert (status, err) == (0, "") and ANSWER in out
    assert place.names() == {"books", "project.yaml", "cases.csv"}, "nothing is made where one stands"


# --- several at once, and the clock -------------------------------------------------------------------


def test_several_processes_that_fill_one_cache(place: Place) -> None:
    given = {cache.VARIABLE: str(place.folder / "kept")}
    at_work = [place.started("size", place.project, "--format", "json", given=given) for _ in range(4)]
    said = [process.communicate(timeout=120) for process in at_work]
    assert {out for out, _ in said} == {said[0][0]} and ANSWER in said[0][0]
    assert not any(err for _, err in said)


def test_two_batches_with_one_output(place: Place) -> None:
    place.cases.write_text(CASES + "more,24\n" * 1000, "utf-8")
    at_work = [place.started(*place.batch()) for _ in range(2)]
    said = [process.communicate(timeout=120)[1].decode() for process in at_work]
    ends = sorted(process.returncode for process in at_work)
    assert ends in ([0, 2], [0, 0]), said
    assert ends == [0, 0] or any("[batch-running]" in err for err in said)
    assert (place.folder / "out.csv").read_text("utf-8").count("\n") == OUTCOMES + 1000


JUMPING = """
import itertools, time
jumps = itertools.cycle([0, 4e9, -2e9, 1e6, -3e9])
time.time = lambda: 1.7e9 + next(jumps)
"""


@pytest.mark.parametrize("day", [0, 4_000_000_000])
def test_a_clock_that_jumps(place: Place, day: int) -> None:
    given = {cache.VARIABLE: str(place.folder / "kept")}
    call = ["size", place.project, "--format", "json"]
    _, before, _ = place.call(*call, given=given)
    for path in [place.book, place.project, *(place.folder / "kept").iterdir()]:
        os.utime(path, (day, day))
    assert place.call(*call, first=JUMPING, given=given) == (0, before, "")
    place.project.write_text(PROJECT.replace("20 kg", "40 kg"), "utf-8")
    os.utime(place.project, (day, day))
    _, after, _ = place.call(*call, first=JUMPING, given=given)
    assert b'"value": 50.0' in after, "what counts is the content, not the time"
    assert place.call(*place.batch(), first=JUMPING, given=given)[0] == 0


# --- languages, letters and line ends -----------------------------------------------------------------

PLAIN = {
    "PYTHONUTF8": "0",
    "PYTHONCOERCECLOCALE": "0",
    "LANG": None,
    "LC_CTYPE": None,
    "PYTHONIOENCODING": None,
}


@pytest.mark.parametrize(
    ("locale", "format"),
    [("C", "table"), ("POSIX", "json"), ("en_US.ISO-8859-1", "html"), ("no_such", "markdown")],
)
def test_a_locale_without_the_letters(place: Place, locale: str, format: str) -> None:
    given = {**PLAIN, "LC_ALL": locale}
    status, out, err = place.call("size", place.project, "--format", format, given=given)
    assert (status, err) == (0, "")
    assert b"25" in out
    output = place.folder / "out"
    assert place.call("size", place.project, "--format", format, "--output", output, given=given)[0] == 0
    assert "船" in output.read_text("utf-8"), "a file is UTF-8 whatever the terminal shows"


def test_a_fault_in_a_locale_without_the_letters(place: Place) -> None:
    place.project.write_text(PROJECT.replace("hoists:", "hoists: # 船\n  é: {laod: 3 kg}\nx:"), "utf-8")
    status, _, err = place.call("size", place.project, given={**PLAIN, "LC_ALL": "C"})
    assert status == 2 and "[unknown-key]" in err


def test_a_batch_in_a_locale_without_the_letters(place: Place) -> None:
    assert place.call(*place.batch(), given={**PLAIN, "LC_ALL": "C"})[0] == 0
    assert "船,8" in (place.folder / "out.csv").read_text("utf-8")


@pytest.mark.parametrize("end", ["\r\n", "\r"])
def test_line_ends_of_other_systems(place: Place, end: str) -> None:
    expected = size(place.project, folders=[place.folder / "books"]).data
    _, before, _ = place.call(*place.batch())
    whole = (place.folder / "out.csv").read_bytes()
    for path in (place.book, place.project, place.cases):
        if end == "\r\n" or path.suffix == ".yaml":
            path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", end.encode()))
    found = size(place.project, folders=[place.folder / "books"]).data
    assert found["values"] == expected["values"] and found["checks"] == expected["checks"]
    assert place.call(*place.batch())[1] == before
    assert (place.folder / "out.csv").read_bytes() == whole


@pytest.mark.parametrize(
    "name", ["a folder with spaces", "Двор 船 é", 'it\'s "quoted" & $HOME; {0} %s', "-rf", "\udcff\udcfe"]
)
def test_names_of_folders_and_files(tmp_path: Path, name: str) -> None:
    place = Place(tmp_path / name)
    place.project = place.project.rename(place.folder / f"{name}.yaml")
    status, out, err = place.call("size", place.project, "--format", "json")
    assert (status, err) == (0, "") and ANSWER in out
    assert place.call(*place.sheet(f"{name}.html"))[0] == 0
    assert (place.folder / f"{name}.html").read_bytes().endswith(b"</html>\n")
    assert place.call(*place.batch(f"{name}.csv"))[0] == 0
    place.project.write_text(PROJECT.replace("load", "laod"), "utf-8")
    status, _, err = place.call("size", place.project)
    assert status == 2 and "4:17: 'laod'" in err
