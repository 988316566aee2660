"""The pictures of the report, as SVG that goes into the page itself."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import cycle
from typing import Any

import numpy as np
import pandas as pd
from markupsafe import Markup
from matplotlib.figure import Figure

from stressmap.agronomy.vapour_pressure import deficit_kpa
from stressmap.core.arrays import Floats
from stressmap.output.report.empirical_variogram import PairCurve, sample_pairs
from stressmap.output.text.words import Words
from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import of_visit, priority_words
from stressmap.output.view.crop_words import crop_title
from stressmap.output.view.fonts import drawable
from stressmap.output.view.palette import HATCH, NOT_MEASURED, PRIORITY, ink_on
from stressmap.output.view.quantities import Scale, scale_of
from stressmap.output.view.vector_picture import INK, LINE, SOFT, svg

USED: dict[str, Any] = {"marker": "o", "color": INK, "s": 22, "linewidths": 0}
OUT: dict[str, Any] = {"marker": "x", "color": PRIORITY[2], "s": 28, "linewidths": 1.4}
SHOWN_BLOCKS = 40
BARE = 0
"""Stands for the priority of a zone in a block without readings."""

Courses = Callable[[Any], Mapping[tuple[str, str, str | None], Floats]]
"""Targets on days in usual weather, by crop, variety and harvest (``MM-DD``)."""
DASHES = ("-", "--", ":", "-.")


@dataclass(frozen=True)
class Plotter:
    """Draws one kind of picture after the other for one run.

    Parameters
    ----------
    content : Content
        The finished run.
    words : Words
        The report's language.
    """

    content: Content
    words: Words

    def times(self, weather: pd.DataFrame | None) -> Markup | None:
        """Draw readings against clock time, with the air's dryness below."""
        table = of_visit(self.content)
        table = table[table["time"].notna() & table["swp_bar"].notna()]
        if table.empty:
            return None
        hours = table["time"].map(lambda t: t.hour + t.minute / 60).to_numpy(float)
        used = table["used"].to_numpy(bool)

        def paint(figure: Figure) -> None:
            upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=(2, 1))
            swp = table["swp_bar"].to_numpy(float)
            upper.scatter(hours[~used], swp[~used], label=self.words("report.left_out"), **OUT)
            upper.scatter(hours[used], swp[used], label=self.words("report.used"), **USED)
            self._baseline(upper, table, hours)
            upper.set_ylabel(self.words("report.swp_axis"))
            vpd = table["vpd_kpa"].to_numpy(float)
            lower.scatter(hours, vpd, s=10, color=SOFT, label=self.words("report.vpd_readings"))
            self._weather(lower, weather, (hours.min() - 0.5, hours.max() + 0.5))
            lower.set(xlabel=self.words("report.time_axis"), ylabel=self.words("report.vpd_axis"))
            lower.xaxis.set_major_formatter(lambda hour, _: f"{int(hour):02d}:{round(hour % 1 * 60):02d}")
            for axes in (upper, lower):
                axes.legend(fontsize=9, loc="best")

        return svg("times", (9.0, 5.4), paint)

    def _baseline(self, axes: Any, table: pd.DataFrame, hours: Any) -> None:
        known = table["baseline_bar"].notna().to_numpy()
        if known.any():
            line = table.loc[known, "baseline_bar"].to_numpy(float)
            look: dict[str, Any] = {
                "color": LINE,
                "marker": "_",
                "s": 30,
                "label": self.words("report.baseline"),
            }
            axes.scatter(hours[known], line, **look)

    def _weather(self, axes: Any, weather: pd.DataFrame | None, span: tuple[float, float]) -> None:
        if weather is None:
            return
        weather = weather.assign(vpd_kpa=_deficits(weather))
        first, last = self.content.visit
        for day, rows in weather.groupby(weather["time"].map(lambda t: t.date())):
            if first <= day <= last:
                hours = rows["time"].map(lambda t: t.hour + t.minute / 60).to_numpy(float)
                near = (hours >= span[0] - 1) & (hours <= span[1] + 1)
                label = self.words("report.vpd_weather") if day == first else None
                axes.plot(hours[near], rows["vpd_kpa"].to_numpy(float)[near], color=LINE, lw=1.2, label=label)
        axes.set_xlim(*span)

    def pairs(self, fit: dict[str, Any]) -> Markup | None:
        """Draw half the mean square difference of pairs against distance, and what the model says."""
        curves = sample_pairs(self.content.readings, fit)
        if not any(len(curve.distance_m) for curve in curves):
            return None

        def paint(figure: Figure) -> None:
            axes = figure.subplots()
            for curve, colour in zip(curves, (PRIORITY[1], PRIORITY[2]), strict=True):
                self._pair_curve(axes, curve, colour)
            unit = self.words(f"unit.{self._length.unit}")
            axes.set(
                xlabel=self.words("report.distance_axis", unit=unit),
                ylabel=self.words("report.semivariance_axis"),
            )
            axes.set_ylim(bottom=0)
            axes.set_xlim(left=0)
            axes.legend(fontsize=9)

        return svg("pairs", (9.0, 4.2), paint)

    @property
    def _length(self) -> Scale:
        return scale_of(1.0, "length", self.words.units)

    def _pair_curve(self, axes: Any, curve: PairCurve, colour: str) -> None:
        size = 14 + 10 * np.sqrt(curve.pairs)
        label = self.words(f"report.pairs_{curve.kind}")
        axes.scatter(
            curve.distance_m / self._length.factor,
            curve.semivariance_bar2,
            s=size,
            color=colour,
            alpha=0.75,
            label=label,
        )
        if len(curve.model_bar2):
            style = "-" if curve.kind == "same_valve" else "--"
            label = self.words(f"report.model_{curve.kind}")
            axes.plot(
                curve.model_m / self._length.factor, curve.model_bar2, style, color=colour, lw=2, label=label
            )

    def left_out_one(self) -> Markup | None:
        """Draw each used reading against what the others foretell."""
        table = self.content.readings
        table = table[table["used"].astype(bool) & table["predicted_bar"].notna()]
        if len(table) < 3:
            return None
        measured, foretold = (table[c].to_numpy(float) for c in ("stress_bar", "predicted_bar"))

        def paint(figure: Figure) -> None:
            axes = figure.subplots()
            ends = [min(measured.min(), foretold.min()) - 0.5, max(measured.max(), foretold.max()) + 0.5]
            axes.plot(ends, ends, color=LINE, lw=1.5)
            axes.scatter(foretold, measured, **USED)
            axes.set(xlim=ends, ylim=ends, aspect="equal")
            axes.set(xlabel=self.words("report.predicted_axis"), ylabel=self.words("report.measured_axis"))

        return svg("left-out", (5.4, 5.0), paint)

    def blocks(self) -> Markup | None:
        """Draw the area of each priority by block, the most urgent block first."""
        zones = self.content.zones
        if zones.empty:
            return None
        factor = scale_of(1.0, "area", self.words.units).factor
        known = zones["priority"].where(zones["measured"], BARE)
        areas = zones.assign(shown=zones["area_ha"] / factor, priority=known).pivot_table(
            index="block", columns="priority", values="shown", aggfunc="sum", fill_value=0.0
        )
        areas = areas.reindex(columns=[*PRIORITY, BARE], fill_value=0.0)
        areas = areas.sort_values([1, 2, 3], ascending=False).head(SHOWN_BLOCKS)[::-1]

        def paint(figure: Figure) -> None:
            axes = figure.subplots()
            rows, left = np.arange(len(areas)), np.zeros(len(areas))
            for priority, hatch in HATCH.items():
                width = areas[priority or BARE].to_numpy(float)
                if priority is None and not width.any():
                    continue
                fill = NOT_MEASURED if priority is None else PRIORITY[priority]
                faint = "#ffffff80" if ink_on(fill) == "#ffffff" else "#14181c66"
                look: dict[str, Any] = {"color": fill, "hatch": hatch, "edgecolor": faint, "lw": 0}
                axes.barh(rows, width, left=left, label=priority_words(priority, self.words), **look)
                left += width
            axes.set_yticks(rows, [drawable(name, most=30) for name in areas.index])
            axes.set_xlabel(self.words(f"report.area_axis_{self.words.units}"))
            figure.legend(fontsize=9, ncols=5, loc="outside upper center")

        return svg("blocks", (9.0, 1.4 + 0.3 * len(areas)), paint)

    def season(self, courses: Courses) -> Markup | None:
        """Draw each crop's target in usual weather with the readings of all visits on it."""
        crops = dict(zip(self.content.blocks["block"], self.content.blocks["crop"], strict=True))
        table = self.content.readings.assign(crop=[crops.get(b) for b in self.content.readings["block"]])
        table = table[table["time"].notna() & table["swp_bar"].notna()]
        dates = [t.date() for t in table["time"]] + list(self.content.visit)
        month = pd.Timedelta(days=30)
        days = pd.date_range(pd.Timestamp(min(dates)) - month, pd.Timestamp(max(dates)) + month)
        targets = {kind: line for kind, line in courses(days).items() if np.isfinite(line).any()}
        shown = [
            crop for crop in dict.fromkeys(crop for crop, *_ in targets) if (table["crop"] == crop).any()
        ]
        if not shown:
            return None

        def paint(figure: Figure) -> None:
            panels = figure.subplots(len(shown), 1, squeeze=False, sharex=True)[:, 0]
            for axes, crop in zip(panels, shown, strict=True):
                lines = {kind[1:]: line for kind, line in targets.items() if kind[0] == crop}
                for (kind, line), dash in zip(lines.items(), cycle(DASHES)):
                    label = self._target_label(*kind)
                    axes.plot(days, line, color=LINE, lw=2, ls=dash, label=label)
                self._readings_on(axes, table[table["crop"] == crop])
                axes.set_title(drawable(crop_title(crop, self.content.profiles, self.words)), loc="left")
                axes.legend(fontsize=9)

        return svg("season", (9.0, 0.8 + 2.3 * len(shown)), paint)

    def _readings_on(self, axes: Any, table: pd.DataFrame) -> None:
        first, last = self.content.visit
        dates = pd.Series([t.date() for t in table["time"]], index=table.index)
        here = ((dates >= first) & (dates <= last)).to_numpy()
        when, swp = pd.to_datetime(dates), table["swp_bar"].to_numpy(float)
        axes.scatter(when[~here], swp[~here], color=SOFT, s=12, label=self.words("report.other_visits"))
        used = here & table["used"].to_numpy(bool)
        axes.scatter(when[used], swp[used], color=PRIORITY[1], s=20, label=self.words("report.this_visit"))
        axes.set_ylabel("bar")
        axes.xaxis.set_major_formatter(lambda x, _: self._day(x))

    def _target_label(self, variety: str, harvest: str | None) -> str:
        label = self.words("report.target")
        if harvest is not None:
            month, day = (int(part) for part in harvest.split("-"))
            label = self.words("report.target_harvest", day=self.words.day(dt.date(2000, month, day)))
        return drawable(f"{variety}: {label}") if variety else label

    def _day(self, number: float) -> str:
        stamp = pd.Timestamp(np.datetime64("1970-01-01") + np.timedelta64(int(number), "D"))
        month = self.words("locale.months").split()[stamp.month - 1]
        return self.words("locale.day_month", day=stamp.day, month=month)


def _deficits(weather: pd.DataFrame) -> Any:
    """Give the dryness of the air, NaN where the station says nothing or nonsense."""
    temp, humidity = (weather[c].to_numpy(float) for c in ("temp_c", "rh_pct"))
    known = np.isfinite(temp) & (humidity >= 0) & (humidity <= 100) & (np.abs(temp) < 60)
    result = np.full(len(weather), np.nan)
    result[known] = deficit_kpa(temp[known], humidity[known])
    return result
