"""Settings that would give wrong areas or no map at all are refused before the work."""

import pytest
from helpers import small_ranch


def changed(tmp_path, old, new):
    return small_ranch.write(tmp_path / "ranch", small_ranch.SETTINGS.replace(old, new))


@pytest.mark.parametrize(
    ("crs", "least", "most"),
    [
        # Web Mercator stretches by the secant of the latitude, here of 37.04 degrees: 1.2528 on the sphere
        ("EPSG:3857", 1.24, 1.26),
        ("EPSG:32633", 1.02, float("inf")),
    ],
)
def test_a_projection_that_does_not_measure_here_is_refused(stressmap, tmp_path, crs, least, most):
    ranch = changed(tmp_path, "timezone =", f'crs = "{crs}"\ntimezone =')
    answer = stressmap("check", ranch)
    assert answer.code == 2
    (line,) = answer.errors
    before, _, after = line.partition(" lengths are ")
    assert before == f"error: {ranch}, column ranch.crs: a metre in {crs!r} is not one on this ranch:"
    scale, _, rest = after.partition(" ")
    assert least < float(scale) <= most
    assert rest == "times as long. Leave it out, or name the UTM zone of the ranch."


@pytest.mark.parametrize("crs", ["EPSG:32610", "EPSG:32611", "EPSG:3310", "EPSG:6414"])
def test_a_projection_of_the_region_is_taken(stressmap, tmp_path, crs):
    ranch = changed(tmp_path, "timezone =", f'crs = "{crs}"\ntimezone =')
    answer = stressmap("check", ranch)
    assert (answer.code, answer.errors) == (0, [])
    assert f"4 valve zones, {crs}" in answer.out


@pytest.mark.parametrize("cell", ["1e-300", "1e308", "0.0", "0.05", "2000"])
def test_cells_of_no_size_and_of_any_size_are_refused(stressmap, tmp_path, cell):
    ranch = changed(tmp_path, "cell_m = 10", f"cell_m = {cell}")
    answer = stressmap("check", ranch)
    assert answer.code == 2
    assert answer.errors[0].startswith(f"error: {ranch}, column map.cell_m: ")
    assert len(answer.errors) == 1
