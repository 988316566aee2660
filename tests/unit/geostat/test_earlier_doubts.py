"""Gross errors of earlier visits count less; sound visits, and the last one, stay as they are."""

from dataclasses import replace

import numpy as np
from helpers.drawn_seasons import Season, draw_season

from stressmap.geostat.earlier_doubts import with_earlier_doubts
from stressmap.geostat.mixed_model_kriging import StructuredSurface
from stressmap.geostat.options import SurfaceOptions
from stressmap.geostat.visit_series import VisitSeries


def test_an_error_of_many_bars_at_an_earlier_visit_is_doubted_and_nothing_of_the_last() -> None:
    drawn = draw_season(11, Season(earlier=1))
    series = drawn.series
    today = StructuredSurface(drawn.today, SurfaceOptions(average=False))

    def doubt_of(wrong: int) -> np.ndarray:
        value = series.samples.value + 12.0 * (np.arange(len(series.samples)) == wrong)
        given = replace(series, samples=replace(series.samples, value=value))
        found: VisitSeries = with_earlier_doubts(given, today)
        return np.zeros(len(value)) if found.samples.doubt is None else found.samples.doubt

    sound = doubt_of(-1)
    wrong = doubt_of(3)
    assert wrong[3] > 10.0
    assert wrong[3] > sound[3]
    assert not wrong[series.visit == 1].any()
    last = int(series.today[0])
    assert np.array_equal(doubt_of(last), sound)
