"""What a pressure means for that crop, date and weather.

Plain functions on numbers and arrays, for scripts as much as for the package itself:

>>> from stressmap import agronomy
>>> vpd = agronomy.deficit_kpa(38.0, 22.0)
>>> prune = agronomy.load_profiles({}, "ranch.toml")["prune"]
>>> line = prune.baseline
>>> baseline = agronomy.baseline_bar(
...     vpd, intercept_bar=line.intercept_bar, slope_bar_per_kpa=line.slope_bar_per_kpa
... )
>>> target = agronomy.target_bar("2026-07-14", prune.season_target)
>>> float(baseline.round(1)), target.round(1).tolist()
(-10.3, [-12.4])
>>> agronomy.level_of(prune, "absolute", -17.0).level.en
'moderate to high'
"""

from stressmap.agronomy.allowance import allowances, least_allowances, limits
from stressmap.agronomy.baseline import air_at, air_at_trees, baseline_bar, interpolate
from stressmap.agronomy.crop_names import settle_crops
from stressmap.agronomy.crops import CropProfile, edges_for, for_variety, level_of, load_profiles
from stressmap.agronomy.daily_et import Site, crop_et, reference_et
from stressmap.agronomy.evapotranspiration import (
    Air,
    air_pressure_kpa,
    climate_adjusted_kc,
    crop_coefficient,
    penman_monteith_mm_day,
    penman_monteith_mm_hour,
    psychrometric_kpa_per_c,
    stage_on,
    temperature_only_mm_day,
    wind_at_2m_m_s,
)
from stressmap.agronomy.harvest import at_harvest, cut_off_days
from stressmap.agronomy.hemisphere import at_latitude, latitude_of
from stressmap.agronomy.indices import add_figures, block_figures, watered_bar
from stressmap.agronomy.orchard import Orchard, middle_day, settle
from stressmap.agronomy.radiation import (
    clear_sky_mj,
    daylight_hours,
    extraterrestrial_hourly_mj,
    extraterrestrial_mj,
    kelvin4_of_day,
    net_longwave_mj,
    net_shortwave_mj,
    sunshine_radiation_mj,
)
from stressmap.agronomy.target import (
    moved_to_harvest,
    six_months_on,
    target_bar,
    through_season,
    with_harvest,
    young_tree_target_bar,
)
from stressmap.agronomy.vapour_pressure import (
    actual_kpa,
    daily_actual_kpa,
    deficit_kpa,
    humidity_pct,
    mean_saturation_kpa,
    saturation_kpa,
    saturation_slope_kpa_per_c,
)
from stressmap.agronomy.visit_weather import (
    middle_deficit_kpa,
    shift_error_bar,
    usual_weather,
    weather_shift_bar,
)
from stressmap.agronomy.water_use import stress_coefficient, young_shares

__all__ = [
    "Air",
    "CropProfile",
    "Orchard",
    "Site",
    "actual_kpa",
    "add_figures",
    "air_at",
    "air_at_trees",
    "air_pressure_kpa",
    "allowances",
    "at_harvest",
    "at_latitude",
    "baseline_bar",
    "block_figures",
    "clear_sky_mj",
    "climate_adjusted_kc",
    "crop_coefficient",
    "crop_et",
    "cut_off_days",
    "daily_actual_kpa",
    "daylight_hours",
    "deficit_kpa",
    "edges_for",
    "extraterrestrial_hourly_mj",
    "extraterrestrial_mj",
    "for_variety",
    "humidity_pct",
    "interpolate",
    "kelvin4_of_day",
    "latitude_of",
    "least_allowances",
    "level_of",
    "limits",
    "load_profiles",
    "mean_saturation_kpa",
    "middle_day",
    "middle_deficit_kpa",
    "moved_to_harvest",
    "net_longwave_mj",
    "net_shortwave_mj",
    "penman_monteith_mm_day",
    "penman_monteith_mm_hour",
    "psychrometric_kpa_per_c",
    "reference_et",
    "saturation_kpa",
    "saturation_slope_kpa_per_c",
    "settle",
    "settle_crops",
    "shift_error_bar",
    "six_months_on",
    "stage_on",
    "stress_coefficient",
    "sunshine_radiation_mj",
    "target_bar",
    "temperature_only_mm_day",
    "through_season",
    "usual_weather",
    "watered_bar",
    "weather_shift_bar",
    "wind_at_2m_m_s",
    "with_harvest",
    "young_shares",
    "young_tree_target_bar",
]
