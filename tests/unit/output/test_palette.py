"""The colours must differ for every eye, in CIELAB, and the words on them must stand out.

Simulated colour blindness: A Physiologically-based Model for Simulation of Color Vision Deficiency, IEEE
Transactions on Visualization and Computer Graphics 15(6):1291-1298, 2009, matrices for severity 1.0 (from
memory, cross-checked: each row must sum to 1, so that grey stays grey). CIELAB: CIE 15, with the D65 white
and the sRGB primaries of IEC 61966-2-1 (from memory, cross-checked on white, black and pure red).
"""

from itertools import combinations

import numpy as np
import pytest

from stressmap.output.view.palette import (
    HATCH,
    NOT_MEASURED,
    PAST_LIMIT,
    PATTERN,
    PRIORITY,
    RANK_RAMP,
    contrast,
    ink_on,
    ramp,
    rgb,
)

BLINDNESS = {
    "none": np.eye(3),
    "protan": np.array([
        [0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998],
    ]),
    "deutan": np.array([
        [0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881],
    ]),
    "tritan": np.array([
        [1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900],
    ]),
}  # fmt: skip
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
LEAST_APART = 25.0
"""CIE 1976 distance between any two priorities; about ten times what the eye can just tell apart."""


def linear(colour: str) -> np.ndarray:
    c = np.array(rgb(colour)) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def lab(light: np.ndarray) -> np.ndarray:
    xyz = TO_XYZ @ np.clip(light, 0, 1) / (TO_XYZ @ np.ones(3))
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def seen(colour: str, kind: str) -> np.ndarray:
    return lab(BLINDNESS[kind] @ linear(colour))


def test_the_yardstick_itself() -> None:
    for matrix in BLINDNESS.values():
        np.testing.assert_allclose(matrix.sum(axis=1), 1, atol=2e-6)
    np.testing.assert_allclose(lab(linear("#ffffff")), [100, 0, 0], atol=0.02)
    np.testing.assert_allclose(lab(linear("#ff0000")), [53.24, 80.09, 67.20], atol=0.05)


@pytest.mark.parametrize("kind", BLINDNESS)
def test_priorities_differ_for_every_eye(kind: str) -> None:
    for one, other in combinations(PRIORITY.values(), 2):
        assert np.linalg.norm(seen(one, kind) - seen(other, kind)) > LEAST_APART


@pytest.mark.parametrize("kind", BLINDNESS)
def test_a_more_urgent_priority_is_darker_for_every_eye(kind: str) -> None:
    lightness = [seen(colour, kind)[0] for _, colour in sorted(PRIORITY.items())]
    assert np.all(np.diff(lightness) > 10)


def test_words_on_priorities_can_be_read() -> None:
    for colour in PRIORITY.values():
        assert contrast(colour, ink_on(colour)) > 4.5


def test_every_priority_has_a_pattern_of_its_own() -> None:
    assert len(set(PATTERN.values())) == len(PRIORITY) == 4


def test_ramps_get_darker_step_by_step() -> None:
    from stressmap.output.view.palette import DRY_RAMP, UNSURE_RAMP

    for colours in (DRY_RAMP, UNSURE_RAMP, RANK_RAMP):
        steps = ["#{:02x}{:02x}{:02x}".format(*row) for row in ramp(colours, 30)]
        assert np.all(np.diff([lab(linear(c))[0] for c in steps]) < 0)


BAND_SHARE = 1 / 3
"""Part of a zone past the limit that its bright bands cover."""


@pytest.mark.parametrize("kind", BLINDNESS)
def test_bands_of_what_is_past_the_limit_stand_out_for_every_eye(kind: str) -> None:
    """In sun and on paper as well: by lightness alone, more than the darkest and palest priority differ."""
    band, fill = (seen(PAST_LIMIT[part], kind)[0] for part in ("band", "fill"))
    span = seen(PRIORITY[4], kind)[0] - seen(PRIORITY[1], kind)[0]
    assert band - fill > span > 50


@pytest.mark.parametrize("kind", BLINDNESS)
def test_what_is_past_the_limit_differs_from_all_else_even_where_bands_run_together(kind: str) -> None:
    """Seen from afar bands and fill mix as light does, in proportion to what each covers."""
    mixed = BAND_SHARE * linear(PAST_LIMIT["band"]) + (1 - BAND_SHARE) * linear(PAST_LIMIT["fill"])
    afar = lab(BLINDNESS[kind] @ mixed)
    for colour in (*PRIORITY.values(), NOT_MEASURED):
        assert np.linalg.norm(afar - seen(colour, kind)) > LEAST_APART


def test_what_is_past_the_limit_has_a_pattern_of_its_own() -> None:
    assert PAST_LIMIT["pattern"] not in {*PATTERN.values(), "open"}
    assert PAST_LIMIT["hatch"] not in HATCH.values()


@pytest.mark.parametrize("kind", BLINDNESS)
def test_ranks_get_darker_for_every_eye_and_end_far_apart(kind: str) -> None:
    steps = ["#{:02x}{:02x}{:02x}".format(*row) for row in ramp(RANK_RAMP, 30)]
    lightness = [seen(colour, kind)[0] for colour in steps]
    assert np.all(np.diff(lightness) < 0)
    assert lightness[0] - lightness[-1] > 70
