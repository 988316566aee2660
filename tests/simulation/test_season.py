"""Days left and alarms against the truth of a few simulated seasons; the tables are in docs/benchmarks.md."""

import numpy as np
from helpers.drawn_seasons import Season
from helpers.season_shown import DueShown, faults_shown, show_due


def test_days_left_hold_their_intervals_and_the_next_peak_is_told() -> None:
    shown = DueShown.joined([show_due(seed, Season(earlier=4)) for seed in (71, 72)])
    # nine in ten of some fifty zones, four standard errors of 4 %
    assert shown.covered() >= 0.75
    assert shown.peak_rmse() < 2.0
    assert (shown.low <= shown.told).all()
    assert (shown.told <= shown.high).all()


def test_sets_that_do_not_arrive_are_found_and_few_sound_zones_are_alarmed() -> None:
    shown = [faults_shown(seed, "missed", 70) for seed in (81, 82, 83)]
    found = np.concatenate([one.found for one in shown])
    # eight in ten of twelve zones, two standard errors of 12 %
    assert found.mean() >= 0.55
    # one in twenty of some 160 zones, three standard errors of 1.7 %
    assert sum(one.false for one in shown) / sum(one.sound for one in shown) <= 0.10
