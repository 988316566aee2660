"""What a run says on the terminal."""

import dataclasses
import io
from pathlib import Path

import pytest
from helpers.drawn_content import full, ranch, small
from rich.console import Console

from stressmap.output.outputs import first_files
from stressmap.output.terminal.run_summary import print_summary


def printed(content, folder: Path) -> list[str]:
    out = io.StringIO()
    (folder / "map.html").touch()
    print_summary(content, folder, Console(file=out, width=100, highlight=False), first_files(folder))
    return [line.rstrip() for line in out.getvalue().splitlines()]


def test_it_says_what_is_first_what_is_uncertain_and_what_is_next(tmp_path: Path) -> None:
    lines = printed(full(), tmp_path)
    assert (
        lines[0] == "Willow <Flat> & Sons, visit Jul 14, 2026 to Jul 15, 2026: 12 readings used, 5 left out"
    )
    assert lines[1].split() == [
        "rank",
        "valve",
        "block",
        "priority",
        "stress,",
        "bar",
        "90",
        "%",
        "interval",
        "trees",
        "hours",
    ]
    assert (
        "Stress: drier than the target for this date. Method: kriging with block, valve and pattern." in lines
    )
    assert "Uncertain: the order within ranks 1 to 2, 4 to 6 is too close to call." in lines
    assert any(line.startswith("Next: give the crew map.html and crew_sheet.pdf") for line in lines)
    assert any(line.startswith("Next: 3 more readings would settle most: ") for line in lines)
    assert lines[-1] == f"Results: {tmp_path} (map.html)"


def test_only_ten_valves_are_shown(tmp_path: Path) -> None:
    lines = printed(ranch([(f"Q{i:02d}", "prune", 5) for i in range(4)], across=2), tmp_path)
    assert [line.split()[0] for line in lines if line.strip()[:1].isdigit()] == [str(i) for i in range(1, 11)]
    assert "... and 10 more in valves.csv" in lines


def test_blocks_without_readings_are_called_guesses(tmp_path: Path) -> None:
    content = small()
    blocks = content.blocks.assign(readings=[0, 5, 5])
    lines = printed(dataclasses.replace(content, blocks=blocks), tmp_path)
    expected = "Uncertain: blocks without a reading: 1; its figures are guesses from the rest of the ranch."
    assert expected in lines


@pytest.mark.parametrize("name", ["[bold]A[/bold]", "[link=file:///x]y"])
def test_a_name_with_brackets_is_printed_as_it_is(name: str, tmp_path: Path) -> None:
    assert any(f"{name[:12]}-1" in line for line in printed(ranch([(name, "prune", 2)], across=1), tmp_path))


def test_it_speaks_the_first_language(tmp_path: Path) -> None:
    lines = printed(ranch([("Q", "prune", 2)], across=1, languages=("es", "en")), tmp_path)
    assert lines[1].split()[:4] == ["puesto", "válvula", "bloque", "prioridad"]
    assert any(line.startswith("Ahora: dé a la cuadrilla") for line in lines)
