"""Headings of a second reading as crews write them: read as such, or told as what they may be."""

from pathlib import Path

import pytest

from stressmap.core.settings import Settings
from stressmap.intake.readings import read_readings

BAR_PER_PSI = 0.068947572931683
"""1 psi = 6894.757 Pa (Guide for the Use of the International System of Units, NIST Special Publication 811,
2008, Appendix B.8; from memory)."""
READ = {
    "bar": [
        "2a lectura", "2ª lectura", "2da lectura", "2da. lectura (bar)", "Segunda lectura",
        "2a Lect.", "Lectura 2", "Lectura #2", "lectura_2_bar", "Presión 2", "Presion 2 [bar]",
        "Segunda presión", "2da presión", "Relectura", "Re-lectura", "Lectura repetida",
        "Comprobación", "Presión de comprobación (bar)", "2º punto final", "Segundo punto final",
        "Segunda", "Lect. 2", "2nd reading", "Second reading (bar)", "Second Reading", "Reading 2",
        "READING_2", "Reading2", "Re-read", "Re-check", "Recheck", "recheck_bar", "Second pressure",
        "Pressure2", "Second end point", "2nd end point (bar)", "2nd endpoint",
        "Repeat reading (bar)", "Check reading", "second read", "2nd Rdg", "Second", "2nd", "bar 2",
    ],
    "psi": [
        "Segunda lectura (psi)", "Verificación (psi)", "2nd reading (psi)", "Reading #2 (psi)",
        "Reread (psi)", "Pressure 2 (psi)", "2nd press. (psi)", "2nd psi", "PSI (2nd)", "psi 2",
    ],
    "MPa": [
        "2a presión (MPa)", "RECHECK (MPa)", "SecondReadingMPa",
    ],
}  # fmt: skip
TOLD = [
    "Repeat",
    "Dup.",
    "Double check",
    "Control",
    "Repetición (bar)",
    "otra vez",
    "psi again",
    "chk",
    "verif.",
]
"""Too short or too general to be taken without asking; whoever meant a second reading is warned."""
FIRST = {"bar": "pressure_bar", "psi": "Pressure (psi)", "MPa": "Presión (MPa)"}
PER_BAR = {"bar": 1.0, "psi": 1.0 / BAR_PER_PSI, "MPa": 0.1}
SETTINGS = Settings.model_validate(
    {
        "ranch": {"name": "Invented", "timezone": "America/Los_Angeles"},
        "files": {"readings": Path("readings.csv"), "blocks": Path("blocks.geojson")},
    }
)


def written(folder: Path, heading: str, unit: str) -> Path:
    path = folder / "readings.csv"
    pairs = [(12.5, 12.6), (9.8, 10.0), (15.2, 15.4)]
    rows = [
        f"T{at};2026-07-14 13:0{at};-121.84;38.84;{one * PER_BAR[unit]:.4f};{two * PER_BAR[unit]:.4f}"
        for at, (one, two) in enumerate(pairs)
    ]
    path.write_text(
        "\n".join([f"tree_id;time;lon;lat;{FIRST[unit]};{heading}", *rows]) + "\n", encoding="utf-8"
    )
    return path


@pytest.mark.parametrize(("unit", "heading"), [(unit, heading) for unit in READ for heading in READ[unit]])
def test_a_second_reading_is_read_under_whatever_heading(tmp_path: Path, unit: str, heading: str) -> None:
    found = read_readings(written(tmp_path, heading, unit), SETTINGS)
    assert found.value["recheck_bar"].tolist() == pytest.approx([12.6, 10.0, 15.4], abs=1e-3)
    assert found.value["pressure_bar"].tolist() == pytest.approx([12.5, 9.8, 15.2], abs=1e-3)
    assert found.counts[0].columns.unread == ()


@pytest.mark.parametrize("heading", TOLD)
def test_what_may_be_a_second_reading_and_is_not_read_is_a_warning(tmp_path: Path, heading: str) -> None:
    found = read_readings(written(tmp_path, heading, "bar"), SETTINGS)
    assert found.value["recheck_bar"].isna().all()
    assert found.counts[0].columns.unread == ((heading, "recheck_bar"),)
    (note,) = (note for note in found.notes if note.code == "column_likely_unread")
    assert note.severity == "warning"
    assert dict(note.values)["column"] == heading
