"""How the program is started does not decide what it gives: variables, terminal, pipe, libraries."""

import os
import subprocess
import sys
import warnings

import pytest
from helpers import small_ranch
from helpers.paths import REPOSITORY

from stressmap.core import surroundings
from stressmap.core.errors import OutputError
from stressmap.output.terminal.plain_console import PlainConsole

NAME = "Peña — 果園 \\u001b[2J\\u202e"
linux = pytest.mark.skipif(sys.platform != "linux", reason="pipes and devices as Linux has them")


@pytest.fixture
def ranch(tmp_path):
    return small_ranch.write(tmp_path / "ranch", small_ranch.SETTINGS.replace("Two Sheds", NAME))


def started(ranch, tail="", **variables):
    words = f'"{sys.executable}" -m stressmap.cli check "{ranch}" {tail}'
    environment = os.environ | {"PYTHONPATH": str(REPOSITORY)} | variables
    command = ["bash", "-o", "pipefail", "-c", words]
    return subprocess.run(command, env=environment, capture_output=True, check=False)


@linux
@pytest.mark.parametrize(
    ("encoding", "shown"), [("ascii", b"Pe?a ? ??"), ("cp1252", "Peña — ??".encode("cp1252"))]
)
def test_a_terminal_of_few_letters_gets_question_marks(ranch, encoding, shown):
    done = started(ranch, PYTHONIOENCODING=encoding)
    assert (done.stderr, done.returncode) == (b"", 0)
    assert done.stdout.startswith(shown)


@linux
def test_who_reads_no_more_does_not_make_it_fail(ranch):
    done = started(ranch, "| true")
    assert (done.stderr, done.returncode) == (b"", 0)


@linux
def test_a_full_standard_output_is_said(ranch):
    done = started(ranch, "> /dev/full")
    assert done.returncode == 4
    assert done.stderr == (
        b"error: standard output: it cannot be written (No space left on device). "
        b"All files are in place; print again where there is room.\n"
    )


@linux
def test_a_python_without_documentation_is_refused(ranch):
    done = started(ranch, PYTHONOPTIMIZE="2")
    assert done.returncode == 2
    assert done.stderr == (
        b"error: PYTHONOPTIMIZE: Python leaves out documentation (-OO), without which libraries do not load. "
        b"Unset it, or set it to 1.\n"
    )


def test_no_name_steers_the_terminal(stressmap, ranch):
    out = stressmap("check", ranch).out
    assert out.startswith("Peña — 果園 [2J: 2 blocks")
    assert "\x1b" not in out


def test_tables_and_markup_are_harmless_too(capsys):
    from rich.table import Table

    table = Table()
    table.add_column("a\x1b]0;title\x07")
    table.add_row("b\u202ec\x9b2J")
    PlainConsole(width=60).print(table)
    said = capsys.readouterr().out
    assert "a]0;title" in said
    assert "bc2J" in said
    assert not set(said) & set("\x1b\x07\u202e\x9b")


@pytest.mark.parametrize("threads", ["0", "-1", "many", "", "²"])
def test_a_number_of_threads_that_is_none_is_as_if_not_set(monkeypatch, threads):
    monkeypatch.setenv("NUMBA_NUM_THREADS", threads)
    surroundings.settle()
    assert "NUMBA_NUM_THREADS" not in os.environ


def test_what_is_set_well_stays(monkeypatch, tmp_path):
    (tmp_path / "proj.db").write_bytes(b"")
    for name, value in (("NUMBA_NUM_THREADS", "2"), ("PROJ_DATA", str(tmp_path))):
        monkeypatch.setenv(name, value)
    monkeypatch.setenv("PROJ_LIB", str(tmp_path / "none"))
    surroundings.settle()
    assert os.environ["NUMBA_NUM_THREADS"] == "2"
    assert os.environ["PROJ_DATA"] == str(tmp_path)
    assert "PROJ_LIB" not in os.environ


def test_warnings_asked_to_be_errors_are_none(monkeypatch):
    monkeypatch.setattr(sys, "warnoptions", ["error"])
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        surroundings.settle()
        warnings.warn("old", DeprecationWarning, stacklevel=1)


def test_a_missing_system_library_is_named_with_its_package(stressmap, ranch, monkeypatch):
    from stressmap.jobs import check

    def load(*_):
        what = "libexpat.so.1: cannot open shared object file: No such file or directory"
        raise ImportError(what, name="rasterio._base")

    monkeypatch.setattr(check, "load_inputs", load)
    answer = stressmap("check", ranch)
    assert answer.code == 2
    assert answer.errors == [
        "error: this computer: the system library libexpat.so.1 is missing, which rasterio needs. "
        "Install its package libexpat1 (Debian, Ubuntu) or expat (Fedora, Alpine)."
    ]


@pytest.mark.parametrize(
    ("name", "path", "library"),
    [
        (
            "_base",
            "/v/lib/python3.13/site-packages/rasterio/_base.cpython-313-x86_64-linux-gnu.so",
            "rasterio",
        ),
        ("rasterio._base", None, "rasterio"),
        (None, None, "a library"),
    ],
)
def test_a_missing_system_library_is_said_to_be_needed_by_a_library(name, path, library):
    what = "libexpat.so.1: cannot open shared object file: No such file or directory"
    refusal = surroundings.missing_library(ImportError(what, name=name, path=path))
    assert f"is missing, which {library} needs" in str(refusal)


def test_only_what_fails_in_printing_is_told_of_the_standard_output(monkeypatch):
    monkeypatch.setattr(surroundings, "_to_nowhere", lambda: None)
    with pytest.raises(OutputError, match="standard output"), surroundings.printing():
        raise OSError(28, "No space left on device")
    assert surroundings.missing_library(ImportError("no module")) is None


def files_of(folder):
    return {p.name: p.read_bytes() for p in folder.iterdir() if p.suffix in {".png", ".html", ".pdf", ".csv"}}


def test_settings_of_other_libraries_that_lie_about_change_no_byte(ranch, tmp_path):
    """Plot settings in the working folder, and the PROJ of another program."""
    odd = tmp_path / "odd"
    odd.mkdir()
    (odd / "matplotlibrc").write_text("font.size: 31\naxes.facecolor: red\nsavefig.dpi: 20\n")
    made = []
    for where, variables in ((tmp_path, {}), (odd, {"PROJ_LIB": str(odd), "PROJ_DATA": str(odd)})):
        out = tmp_path / f"out{len(made)}"
        words = [sys.executable, "-m", "stressmap.cli", "run", str(ranch), "--out", str(out), "--quiet"]
        environment = os.environ | {"PYTHONPATH": str(REPOSITORY)} | variables
        done = subprocess.run(words, env=environment, cwd=where, capture_output=True, check=False)
        assert (done.returncode, done.stderr) == (0, b"")
        made.append(files_of(out))
    assert {"map.png", "map.html", "crew_sheet.pdf", "valves.csv"} <= set(made[0])
    assert made[0] == made[1]
