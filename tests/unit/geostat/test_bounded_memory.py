"""However many readings there are, what is held of solved systems stays within a bound of bytes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stressmap.core.errors import SettingsError
from stressmap.geostat import cross_validation, kriging_systems
from stressmap.geostat.cross_validation import cross_validate
from stressmap.geostat.kriging_systems import KrigingSystems
from stressmap.geostat.mixed_model_kriging import StructuredSurface
from stressmap.geostat.options import SurfaceOptions
from stressmap.geostat.ordinary_kriging import OrdinarySurface
from stressmap.geostat.samples import Places, Samples
from stressmap.geostat.surface import Surface
from stressmap.jobs.map_visit import MOST_MAPPED, refuse_too_many


@pytest.fixture(scope="module")
def dense() -> Samples:
    """300 readings in two blocks: more than one neighbourhood holds, so blocks are worked on in squares."""
    rng = np.random.default_rng(15)
    block = np.repeat([0, 1], 150)
    xy = rng.uniform(0, 400, (300, 2)) + np.column_stack([block * 420.0, np.zeros(300)])
    none = np.zeros(300, dtype=np.int64)
    value = 12 + block + np.sin(xy[:, 0] / 90) + rng.normal(0, 0.8, 300)
    return Samples(Places(xy, block, none - 1, none), value, np.arange(300))


@pytest.fixture(scope="module")
def surface(dense: Samples) -> StructuredSurface:
    return StructuredSurface(dense, SurfaceOptions(average=False))


def cells_of_ranch() -> Places:
    x, y = (c.ravel() for c in np.meshgrid(np.arange(10.0, 820, 20), np.arange(10.0, 400, 20)))
    none = np.zeros(len(x), dtype=np.int64)
    return Places(np.column_stack([x, y]), (x > 410).astype(np.int64), none - 1, none)


def answers(surface: Surface, cells: Places) -> list[np.ndarray]:
    zone = (cells.xy[:, 1] > 200).astype(np.int64) + 2 * cells.block
    found = [surface.predict(cells), surface.predict_zones(cells, zone, 4)]
    return [a for e in found for a in (e.mean, e.variance)] + [
        *surface.leave_one_out(),
        *surface.leave_block_out(),
    ]


def test_systems_held_stay_within_the_bound_and_change_no_answer(
    dense: Samples, surface: StructuredSurface, monkeypatch: pytest.MonkeyPatch
) -> None:
    cells = cells_of_ranch()
    expected = answers(surface, cells)
    held: list[tuple[int, int, int]] = []
    windows = KrigingSystems.windows

    def watched(self: KrigingSystems, keys):  # type: ignore[no-untyped-def]
        for part in windows(self, keys):
            solved = self._solved
            kept = sum(system.nbytes for system in solved._kept.values())
            held.append((len(part), kept, solved.nbytes_passing))
            yield part

    monkeypatch.setattr(KrigingSystems, "windows", watched)
    monkeypatch.setattr(kriging_systems, "WINDOW_BYTES", 1)
    monkeypatch.setattr(kriging_systems.SolvedSystems.__init__, "__defaults__", (2_000_000, 1_000_000))
    small = StructuredSurface(dense, SurfaceOptions(average=False))
    for was, now in zip(expected, answers(small, cells), strict=True):
        np.testing.assert_array_equal(now, was)
    assert len(held) > 10, "the ranch has more systems than a window"
    assert max(size for size, _, _ in held) == 1
    assert max(kept for _, kept, _ in held) <= 2_000_000
    assert max(passing for _, _, passing in held) <= 1_000_000


def test_projections_for_leaving_out_are_not_kept(surface: StructuredSurface) -> None:
    surface.leave_one_out()
    for system in surface._systems._solved._kept.values():
        assert not system.leave_out_terms.blocks


def test_ordinary_kriging_of_very_many_readings_is_compared_in_parts_of_neighbours(
    dense: Samples, monkeypatch: pytest.MonkeyPatch
) -> None:
    blocks = (dense.places.xy[:, 0] // 40).astype(np.int64)
    dense = replace(dense, places=replace(dense.places, block=blocks))
    surface = StructuredSurface(dense, SurfaceOptions(average=False))
    whole = cross_validate(surface, dense)
    monkeypatch.setattr(cross_validation, "MOST_TOGETHER", 299)
    monkeypatch.setattr(cross_validation, "IN_PARTS_OF", 100)
    sizes: list[int] = []

    def watched(samples: Samples, *, jobs: int) -> OrdinarySurface:
        sizes.append(len(samples))
        return OrdinarySurface(samples, jobs=jobs)

    monkeypatch.setattr(cross_validation, "OrdinarySurface", watched)
    found = cross_validate(surface, dense)
    assert len(sizes) >= 3
    assert max(sizes) <= 100
    for one, other in ((found.one_out, whole.one_out), (found.block_out, whole.block_out)):
        assert one.keys() == other.keys()
        assert one["ordinary"].readings == other["ordinary"].readings == 300
        assert one["ordinary"].rmse_bar < 1.5 * other["ordinary"].rmse_bar
        assert one["structured"] == other["structured"]


def test_ordinary_kriging_of_too_many_readings_is_refused_with_their_number() -> None:
    refuse_too_many(MOST_MAPPED, "ranch.toml")
    with pytest.raises(SettingsError, match=r"3001 readings .*Use method = .structured"):
        refuse_too_many(MOST_MAPPED + 1, "ranch.toml")
