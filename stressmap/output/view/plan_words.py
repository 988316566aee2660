"""The water plan as the manager reads it: who gets what, what stays dry, what binds, what was assumed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

import numpy as np
import pandas as pd

from stressmap.output.view.crop_words import begun
from stressmap.output.view.manner_words import dear_lines, head_lines, pulse_lines
from stressmap.output.view.plan_days import days
from stressmap.output.view.plan_dry import FROM_MEMORY, dry_at_risk, left_dry
from stressmap.output.view.plan_limits import short_of, what_binds
from stressmap.output.view.plan_proof import comparison
from stressmap.output.view.water_words import Section, WaterWords
from stressmap.water.ranch_inputs import assumptions, without_system
from stressmap.water.requirement import Requirement
from stressmap.water.water_plan import STATUS_IN_PART, Advice, plan_table

SHOWN_NAMES = 12
"""Names listed on a terminal; files list more."""
LISTED_NAMES = 120
MAST_M = 2.0
"""Height that wind is taken to be measured at where the settings do not say [m]."""
MUCH_MORE = 1.3
"""Where more than so many times the need reaches the roots, the plan says so."""
TREES_TO_TRUST = 2
"""A valve that rests on fewer trees is counted where it gets water."""


def tell(
    advice: Advice,
    words: WaterWords,
    trees: Mapping[str, int] | None = None,
    *,
    most: int = LISTED_NAMES,
    remembered: bool = False,
) -> tuple[Section, ...]:
    """Tell a plan: who gets what by day, what stays dry, what binds, what was assumed, other ways, cautions.

    Parameters
    ----------
    advice : Advice
        A finished plan.
    words : WaterWords
        Language and units.
    trees : mapping of str to int, optional
        How many read trees stand behind each valve, where there are any; not spoken of by default.
    most : int
        Names to list in a sentence.
    remembered : bool
        Whether what a potential means is told where that is only remembered; for the report, not for papers
        that people work by.

    Returns
    -------
    tuple of Section
    """
    warned = cautions(words, dry=bool(dry_at_risk(advice)))
    return (
        Section("outline", outline_title(advice, words), tuple(outline(advice, words, most))),
        *days(advice, words),
        Section("dry", words("dry.title"), tuple(left_dry(advice, words, most, remembered=remembered))),
        Section("binds", words("limit.title"), tuple(what_binds(advice, words))),
        Section("assumed", words("assumed.title"), tuple(_assumptions(advice, words, trees))),
        comparison(advice, words),
        Section("caution", words("caution.title"), (*warned, *_crop_cautions(advice, words))),
    )


def cautions(words: WaterWords, *, dry: bool = True) -> tuple[str, ...]:
    """Give the cautions that go with every plan.

    Parameters
    ----------
    words : WaterWords
        Language.
    dry : bool
        Whether valves that need water stay without.

    Returns
    -------
    tuple of str
    """
    named = ("advice", "law", "adviser", "harm", *(("dry",) if dry else ()))
    return tuple(words(f"caution.{name}") for name in named)


def headlines(advice: Advice, words: WaterWords) -> tuple[str, ...]:
    """Say the plan in short: the amount and who is served, what binds, what is overdue.

    Parameters
    ----------
    advice : Advice
        A finished plan.
    words : WaterWords
        Language and units.

    Returns
    -------
    tuple of str
    """
    return (planned_amount(advice, words), short_of(advice, words), overdue(advice, words))


def overdue(advice: Advice, words: WaterWords) -> str:
    """Name the valves that are past their crop's limit on the first day of a plan, those without water apart.

    Parameters
    ----------
    advice : Advice
        A finished plan.
    words : WaterWords
        The language.

    Returns
    -------
    str
    """
    needs, steps = advice.case.requirements, advice.solution.steps
    names = np.array([need.valve for need in needs], dtype=object)
    late = np.array([need.start_bar > need.limit_bar for need in needs], dtype=bool)
    if not late.any():
        return words("plan.overdue_none")
    said = words("plan.overdue", count=int(late.sum()), valves=words.some(names[late], SHOWN_NAMES))
    dry = late & (steps == 0)
    return (
        f"{said} {words('plan.overdue_dry', valves=words.some(names[dry], SHOWN_NAMES))}"
        if dry.any()
        else said
    )


def outline_title(advice: Advice, words: WaterWords) -> str:
    """Say from when to when a plan goes, and until when its water must last.

    Parameters
    ----------
    advice : Advice
        A finished plan.
    words : WaterWords
        Language and units.

    Returns
    -------
    str
    """
    calendar = advice.case.calendar
    last = calendar.clock(len(calendar.water_allowed) - 1).date()
    first, until = (words.weekday(day) for day in (advice.terms.start, advice.terms.next_turn))
    return words("plan.title", first=first, last=words.weekday(last), next_turn=until)


def outline(advice: Advice, words: WaterWords, most: int) -> list[str]:
    """Say what comes before the days: the amount, valves to look at, where the water per bar decides.

    Parameters
    ----------
    advice : Advice
        A finished plan.
    words : WaterWords
        Language and units.
    most : int
        Names to list in a sentence.

    Returns
    -------
    list of str
    """
    ours = advice.alternatives[0]
    lines = [
        *_no_system(advice, words, most),
        planned_amount(advice, words),
        *_look_first(advice, words, most),
    ]
    if not ours.served:
        needed = any(not why for why in advice.case.barred)
        ripe = "before_harvest" in advice.case.barred
        why = words(f"plan.empty_{'small' if needed else 'harvest' if ripe else 'need'}")
        return [*lines, words("plan.empty", why=why)]
    if not advice.by_factor.agree:
        lines += _by_factor(advice, words, most)
    amounts = plan_table(advice)
    lines += _much_less(amounts, words, most) + _more_than_need(amounts, words, most)
    lines += [*pulse_lines(advice, words), *head_lines(advice, words), *dear_lines(advice, words)]
    lines.append(overdue(advice, words))
    if advice.solution.stopped:
        seconds = f"{advice.terms.water.time_limit_s:g}"
        lines.append(words(f"plan.stopped_{advice.solution.stopped}", seconds=seconds))
    table = advice.timetable
    sets = Counter(one.valve for one in table.sets)
    split = sum(count > 1 for count in sets.values())
    return [*lines, words("plan.turns", sets=len(table.sets), moments=table.moments, split=split)]


def planned_amount(advice: Advice, words: WaterWords) -> str:
    """Say how much of the water is used, and how many valves get some.

    Parameters
    ----------
    advice : Advice
        A finished plan.
    words : WaterWords
        Language and units.

    Returns
    -------
    str
    """
    volume, ours = advice.case.problem.volume_m3, advice.alternatives[0]
    open_ended = volume == float("inf")
    return words(
        "plan.amount_open" if open_ended else "plan.amount",
        used=words.quantity(ours.water_m3, "volume"),
        available="" if open_ended else words.quantity(volume, "volume"),
        served=ours.served,
        count=len(advice.case.problem),
        need=sum(need.need_mm > 0 for need in advice.case.requirements),
    )


def _no_system(advice: Advice, words: WaterWords, most: int) -> list[str]:
    names = without_system(advice.case.requirements)
    return [words("plan.no_system", count=len(names), blocks=words.some(names, most))] if names else []


def _look_first(advice: Advice, words: WaterWords, most: int) -> list[str]:
    looked = [need for need in advice.case.requirements if need.inspect]
    if not looked:
        return []
    said = [words("plan.look_first", valves=words.some([need.valve for need in looked], most))]
    apart = [_witnesses(need, words) for need in looked if "witnesses_apart" in need.inspect]
    return [*said, words("plan.apart_all", valves=words.some(apart, most))] if apart else said


def _witnesses(need: Requirement, words: WaterWords) -> str:
    trees, book = (words.quantity(mm, "depth") for mm in (need.need_by_trees_mm, need.need_by_book_mm))
    return words("plan.apart", valve=need.valve, trees=trees, book=book)


def _much_less(table: pd.DataFrame, words: WaterWords, most: int) -> list[str]:
    """Name the valves that get water, and far less than they need, those that get least of it first."""
    part = table[table["status"] == STATUS_IN_PART].sort_values("need_covered", kind="stable")
    each = zip(part["valve"], part["need_covered"], strict=True)
    named = [f"{valve} ({words.share(covered)})" for valve, covered in each]
    return [words("plan.much_less", valves=words.some(named, most))] if named else []


def _more_than_need(table: pd.DataFrame, words: WaterWords, most: int) -> list[str]:
    """Name the valves whose smallest useful set brings far more than they need: whole floods, mostly."""
    over = table[(table["hours"] > 0) & (table["net_mm"] > MUCH_MORE * table["need_mm"])]
    named = [
        words("plan.over", valve=valve, need=words.quantity(need, "depth"), net=words.quantity(net, "depth"))
        for valve, need, net in zip(over["valve"], over["need_mm"], over["net_mm"], strict=True)
    ]
    return [words("plan.over_all", valves=words.some(named, most))] if named else []


def _by_factor(advice: Advice, words: WaterWords, most: int) -> list[str]:
    """Say whether who gets water hangs on the water per bar, and name the valves for which it does."""
    found = advice.by_factor
    if found.agree:
        return [words("plan.sure_all")]
    lost = found.planned & ~found.sure
    key = "plan.sure_some" if lost.any() else "plan.sure_more"
    lines = [words(key, sure=int(found.sure.sum()), served=int(found.planned.sum()))]
    for name, which in (("unsure", lost), ("instead", found.instead)):
        named = [valve for valve, holds in zip(advice.case.problem.names, which, strict=True) if holds]
        if named:
            lines.append(words(f"plan.{name}", valves=words.some(named, most)))
    return [" ".join(lines)]


def _assumptions(advice: Advice, words: WaterWords, trees: Mapping[str, int] | None) -> list[str]:
    eto, climate = words.quantity(advice.terms.eto.other_mm, "depth"), advice.terms.eto.climate
    plain = words.plain.number
    air = (
        {"wind": words.quantity(climate.wind_m_s, "speed"), "humid": plain(climate.rh_min_pct, 0)}
        if climate
        else {}
    )
    measured, season, borrowed = (
        [n.valve for n in advice.case.requirements if code in n.assumed]
        for code in ("mm_per_bar_measured", "mm_per_bar_season", "mm_per_bar_borrowed")
    )
    told = {
        "eto": eto,
        "mast": words.quantity(MAST_M, "length"),
        "valves": words.some(measured, SHOWN_NAMES),
        "season": words.some(season, SHOWN_NAMES),
        "borrowed": words.some(borrowed, SHOWN_NAMES),
        **air,
    }
    lines = [
        words("assumed.line", text=words(f"assumed.{code}", **told), count=count)
        for code, count in assumptions(advice.case, advice.terms.eto).items()
    ]
    what = words(f"assumed.divided_{advice.terms.water.divide_by}")
    sure = [words("plan.sure_all")] if advice.by_factor.agree else []
    return [*sure, *_few_trees(advice, words, trees), *lines, words("assumed.divided", what=what)]


def _few_trees(advice: Advice, words: WaterWords, trees: Mapping[str, int] | None) -> list[str]:
    """Count the valves that get water on the word of one tree or none, and their share of it."""
    if trees is None:
        return []
    table = plan_table(advice)
    thin = table[(table["hours"] > 0) & (table["valve"].map(trees).fillna(0) < TREES_TO_TRUST)]
    if thin.empty:
        return []
    names = thin.sort_values("m3", ascending=False, kind="stable")["valve"].tolist()
    share = words.share(thin["m3"].sum() / table["m3"].sum())
    valves = words.some(names, SHOWN_NAMES)
    return [words("plan.few_trees", share=share, count=len(names), valves=valves)]


def _crop_cautions(advice: Advice, words: WaterWords) -> list[str]:
    """Give what must be known of the crops that are grown, what is only remembered left out."""
    return [
        words(
            "caution.crop", crop=begun(profile.title.said(words.language)), text=caution.said(words.language)
        )
        for _, profile in sorted(advice.terms.profiles.items())
        for caution in profile.cautions
        if caution.standing != FROM_MEMORY
    ]
