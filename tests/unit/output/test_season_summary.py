"""The season on the terminal: what matters first, alike said once, the rest counted."""

from dataclasses import replace
from pathlib import Path

import pytest
from helpers.page_season import TODAY, season

from stressmap.core.notes import Note
from stressmap.core.settings import Ranch
from stressmap.output.terminal.season_summary import print_season

ALARM = {"since": TODAY, "count": 3, "low": 1.4, "high": 3.8, "look": ["pressure", "filter"]}
NOTES = (
    Note.of("season_due", day=TODAY, past=1, now=0, soon=1, before=3, next_visit=TODAY, later=2, total=6),
    *(
        Note.of("season_dries_on", "warning", **ALARM, valves=[f"V{k}"], block=f"Block {k}")
        for k in range(11)
    ),
    Note.of("usual_wind", "caution", wind_m_s=2.0),
    Note.of("season_readings", used=356, total=373, left=17, visits=8),
    *(Note.of("season_left_out", flag=flag, count=3) for flag in ("off_block", "duplicate")),
    Note.of("season_behind", "caution", blocks=["Old"]),
)


def printed(capsys, language: str, notes=NOTES) -> list[str]:
    ranch = Ranch(name="R", timezone="America/Los_Angeles", languages=(language,))
    print_season(season(), ranch, Path("out"), notes)
    return capsys.readouterr().out.splitlines()


def test_what_matters_stands_first_and_the_rest_is_counted(capsys) -> None:
    lines = printed(capsys, "en")
    assert lines[0] == (
        "WARNING: Watered, not relieved: V0 (Block 0), V1 (Block 1), V2 (Block 2), V3 (Block 3), "
        "V4 (Block 4), V5 (Block 5), V6 (Block 6), V7 (Block 7) and 3 more. "
        "Look at these valves before you water more; "
        "where to look first stands in season.html."
    )
    assert lines[2].startswith("Overdue: 1 (S2); due now, though not surely: 0; due in 3 days: 1; ")
    assert lines[4].split()[:6] == ["S2", "Sand", "3.6", "to", "5.6", "overdue;"]
    assert [line for line in lines if line.startswith("note: ")] == [
        "note: Dry more slowly than their target: Old.",
        "note: Of 373 readings at 8 visits 356 were used and 17 left out.",
    ]
    assert lines[-2:] == [
        "3 more notes on readings, files and how it was worked out: see the end of season.html.",
        "Results: out",
    ]


def test_one_alarm_says_all_of_what_to_look_at_in_spanish_too(capsys) -> None:
    lines = printed(capsys, "es", (NOTES[1], *NOTES[12:13]))
    assert "V0 (Block 0)" in lines[0]
    assert "revisar, en este orden: la presión en la válvula, el filtro" in lines[0].lower()
    assert lines[2].startswith("Atrasadas: 1 (S2); ")
    assert "1 nota más sobre lecturas, archivos y cálculo: vea el final de season.html." in lines


@pytest.mark.parametrize("alarmed", [False, True])
def test_a_valve_to_be_looked_at_first_says_so(capsys, alarmed) -> None:
    made = season() if alarmed else replace(season(), alarms=())
    print_season(made, Ranch(name="R", timezone="America/Los_Angeles"), Path("out"), ())
    shown = " ".join(capsys.readouterr().out.split())
    assert ("look at the valve first: watered, not relieved" in shown) is alarmed
