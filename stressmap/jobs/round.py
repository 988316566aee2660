"""The next measuring round: from the files to the paper, the phone's list and the table."""

from __future__ import annotations

import datetime as dt
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from stressmap.core import settings
from stressmap.core.errors import DataError, Problem, SettingsError
from stressmap.core.notes import Note, Noted, NoteList
from stressmap.core.progress import Progress, Silent
from stressmap.core.settings import Settings
from stressmap.intake.inputs import Inputs
from stressmap.intake.planned_work import read_timetable
from stressmap.intake.polygon_repair import without_drawing
from stressmap.jobs.assess_visit import Assessed, NothingUsableError, Visit, assess_readings, load_inputs
from stressmap.jobs.before_work import handed_in
from stressmap.jobs.form import FILES as FORM_FILES
from stressmap.jobs.form import write_form
from stressmap.jobs.next_visit import next_visit_day, usual_interval_days
from stressmap.jobs.trees_read import KNOWN, named_readings, trees_of
from stressmap.output.round_outputs import FILES, FORM, write_round
from stressmap.output.staging import run_record
from stressmap.output.staging.output_folder import make_ready, round_folder, slug, staged
from stressmap.output.web.form_data import FormContent
from stressmap.quality.visit import visits_in

if TYPE_CHECKING:
    from stressmap.agronomy.orchard import Orchard
    from stressmap.jobs.round_task import AskedRound
    from stressmap.output.view.round_content import PlannedRound, RoundContent
    from stressmap.rounds.round import ReadingHours, Round, RoundTask


@dataclass(frozen=True)
class RoundWish:
    """What the command line asks for; None for the usual.

    Parameters
    ----------
    on : date, optional
        Day of the round.
    crews : int, optional
        How many go out.
    opens, closes : time, optional
        When readings begin and end.
    """

    on: dt.date | None = None
    crews: int | None = None
    opens: dt.time | None = None
    closes: dt.time | None = None


def plan_next_round(
    source: Path, wish: RoundWish, *, out: Path | None = None, progress: Progress | None = None
) -> PlannedRound:
    """Plan the next measuring round and write its files.

    Parameters
    ----------
    source : Path
        A ``ranch.toml``.
    wish : RoundWish
        Day, crews and hours, where they are not the usual ones.
    out : Path, optional
        Folder for the files; default ``outputs/<ranch>/rounds/<day>``.
    progress : Progress, optional
        Told of stages and steps.

    Returns
    -------
    PlannedRound

    Raises
    ------
    StressmapError
        With the problems and the exit code; an earlier round is untouched.
    """
    notes, tell = NoteList(), progress or Silent()
    chosen = settings.load(source)
    opens, closes = _window(wish, chosen)
    if out is not None:
        _ready(out, source, chosen)
    inputs, orchard = notes.keep(load_inputs(source, tell, unread=True))
    sha256 = run_record.fingerprints(source, chosen, inputs.record)
    interval, usual = usual_interval_days(inputs.readings)
    tell.stage("Checking readings")
    assessed = None if inputs.readings.empty else notes.keep(mapped_visit(inputs, orchard, wish.on))
    day = _day(wish, inputs, assessed)
    target = out or round_folder(chosen.ranch.name, day)
    if out is None:
        _ready(target, source, chosen, ranch=chosen.ranch.name)
    # What fits and plans takes seconds to load: files that cannot be used are refused before.
    from stressmap.jobs.round_task import AskedRound, hours_of
    from stressmap.output.view.round_content import PlannedRound, RoundContent
    from stressmap.rounds.plan_round import plan_round

    crews = wish.crews or chosen.round.crews
    asked = AskedRound(day, opens, closes, crews, late=opens > chosen.reading.window[0])
    hours = hours_of(asked, chosen)
    seen = notes.keep(_unread(inputs, asked) if assessed is None else _seen(inputs, assessed, asked, tell))
    tell.stage("Planning the round")
    planned = plan_round(seen.task)
    read_today = len(seen.task.wants.read_today)
    notes.add((*planned.notes, *_fewer(planned, seen.task, hours), *_outside(opens, closes, chosen)))
    if not planned.stops:
        what = f"no tree can be bagged and read between {opens:%H:%M} and {closes:%H:%M}"
        raise DataError(Problem(str(source), what, "Give more time with --from and --to"))
    content = RoundContent(
        chosen.ranch, chosen.reading, day, planned, (hours.opens, hours.closes), inputs.blocks, inputs.valves,
        inputs.roads,
    )  # fmt: skip
    told = without_drawing(notes)
    visit = None if assessed is None else assessed.visit
    record = run_record.Record(source, chosen, seen.fit, {}, {}, sha256, seen.memory, kept=inputs.record)
    page = run_record.round_page(_as_plain(content, visit, read_today), record, told)
    with staged(target, FILES) as folder:
        write_round(content, folder, tell)
        run_record.write_run(page, folder)
    write_form(_form(inputs, orchard, content, seen.trees), target / FORM)
    asked_for = None if wish.on is not None else interval
    return PlannedRound(content, visit, target, asked_for, usual, read_today, told)


@dataclass(frozen=True)
class _Seen:
    """What a round is planned from, with the fit and memory that its record tells, and the trees known."""

    task: RoundTask
    fit: dict[str, Any]
    memory: dict[str, Any] | None
    trees: pd.DataFrame


def _day(wish: RoundWish, inputs: Inputs, assessed: Assessed | None) -> dt.date:
    if wish.on is not None:
        return wish.on
    if assessed is None:
        what = "no reading tells when the next round is"
        raise SettingsError(Problem("command line", what, "Name the day of the first one with --on"))
    return next_visit_day(inputs.readings, assessed.visit[1])


def _seen(inputs: Inputs, assessed: Assessed, asked: AskedRound, tell: Progress) -> Noted[_Seen]:
    """Map the last visit with memory, and gather the trees known and what the season wants."""
    from stressmap.core.parallel import cores
    from stressmap.jobs.map_visit import fit
    from stressmap.jobs.recall_visits import recall
    from stressmap.jobs.round_task import carried, hours_of, standing_trees, task_of
    from stressmap.jobs.round_wants import RoundDay, season_said, wants_of

    notes, chosen = NoteList(), inputs.settings
    fitted = fit(inputs, assessed, cores(), tell)
    made = notes.keep(recall(inputs, fitted.assessed, fitted.surface, tell))
    named = named_readings(inputs.readings, chosen, inputs.blocks, inputs.valves)
    closes = pd.Timestamp(hours_of(asked, chosen).closes)
    when = RoundDay(asked.day, closes, usual_interval_days(inputs.readings)[0], assessed.visit[0])
    wants = wants_of(inputs, fitted.assessed.readings, named, when, carried(asked, chosen))
    known = (standing_trees(named, assessed.visit, inputs.blocks), wants)
    task = task_of(inputs, fitted.assessed, made.surface, asked, known)
    if inputs.irrigation is not None:
        notes.add(season_said(chosen, assessed.visit[0]))
    return notes.beside(_Seen(task, made.surface.summary(), made.as_plain(), trees_of(named)))


def _unread(inputs: Inputs, asked: AskedRound) -> Noted[_Seen]:
    """Plan from nothing but the ground: every zone alike, every block to be read."""
    from stressmap.jobs.round_task import first_task

    notes, trees = NoteList(), pd.DataFrame(columns=list(KNOWN))
    notes.say("round_first", "caution")
    return notes.beside(_Seen(first_task(inputs, asked), {}, None, trees))


def mapped_visit(inputs: Inputs, orchard: Orchard, on: dt.date | None) -> Noted[Assessed]:
    """Check the readings of the last visit, or of the last one begun by the day that was asked for.

    Parameters
    ----------
    inputs, orchard : Inputs, Orchard
        From :func:`stressmap.jobs.assess_visit.load_inputs`.
    on : date or None
        Day of the round; None for the usual.

    Returns
    -------
    Noted of Assessed
        A visit that has only begun is passed over where nothing of it can be used yet, and where without
        memory it would stand alone.

    Raises
    ------
    SettingsError
        If no reading lies before the day.
    DataError
        If no reading can be used.
    """
    if on is None:
        return assess_readings(inputs, orchard, None)
    found = [visit for visit in visits_in(inputs.readings) if visit[0] <= on]
    if not found:
        what = f"--on {on}: there is no reading before that day"
        raise SettingsError(Problem("command line", what, "Name a later day"))
    begun = len(found) > 1 and found[-1][1] >= on
    if begun and not inputs.settings.memory.visits:
        found, begun = found[:-1], False
    try:
        return assess_readings(inputs, orchard, found[-1][0])
    except NothingUsableError:
        if not begun:
            raise
        return assess_readings(inputs, orchard, found[-2][0])


def _window(wish: RoundWish, chosen: Settings) -> tuple[dt.time, dt.time]:
    opens, closes = wish.opens or chosen.reading.window[0], wish.closes or chosen.reading.window[1]
    if closes <= opens:
        what = f"the round would end ({closes:%H:%M}) before it begins ({opens:%H:%M})"
        raise SettingsError(Problem("command line", what, "Give --from and --to in order"))
    return opens, closes


def _outside(opens: dt.time, closes: dt.time, chosen: Settings) -> tuple[Note, ...]:
    """Say so where readings would be taken at hours that do not count."""
    first, last = chosen.reading.window
    if first <= opens and closes <= last:
        return ()
    said = {"opens": f"{first:%H:%M}", "closes": f"{last:%H:%M}"}
    return (Note.of("round_outside_window", "caution", **said),)


def _fewer(planned: Round, task: RoundTask, hours: ReadingHours) -> tuple[Note, ...]:
    """Say why there are fewer trees than were wanted, and what would allow more."""
    count, wanted = len(planned.stops), task.rules.trees
    if not 0 < count < wanted:
        return ()
    clocks = {"first": f"{hours.earliest:%H:%M}", "closes": f"{hours.closes:%H:%M}"}
    spent = planned.spent
    each = {
        "bagging": round(spent.bagging / 60),
        "reading": round(spent.reading / 60),
        "travel": round(spent.travel / 60),
        "idle": round(spent.idle / 60),
    }
    return (Note.of("round_fewer_trees", planned=count, wanted=wanted, **clocks, **each),)


def _ready(target: Path, source: Path, chosen: Settings, *, ranch: str | None = None) -> None:
    given = handed_in(source, chosen)
    make_ready(target, FILES, given, ranch=ranch)
    make_ready(target / FORM, FORM_FILES, given)


def _as_plain(content: RoundContent, visit: Visit | None, read_today: int) -> dict[str, Any]:
    planned = content.planned
    return {
        "on": content.on.isoformat(),
        "visit": None if visit is None else [day.isoformat() for day in visit],
        "window": [f"{moment:%H:%M}" for moment in content.hours],
        "crews": planned.crews,
        "stops": len(planned.stops),
        "minutes": {name: round(seconds / 60, 1) for name, seconds in asdict(planned.spent).items()},
        "read_today": read_today,
        "value": round(planned.value, 6),
        "bound": round(planned.bound, 6),
    }


def _form(inputs: Inputs, orchard: Orchard, content: RoundContent, trees: pd.DataFrame) -> FormContent:
    """Fill the field form with the round, and with the sets of the latest timetable."""
    from stressmap.jobs.round_wants import latest_timetable
    from stressmap.output.view.round_content import stops_of_form

    chosen, path = inputs.settings, latest_timetable(inputs.settings)
    try:
        sets = None if path is None else read_timetable(path, chosen.ranch.zone).value
    except DataError:
        sets = None
    key = slug(chosen.ranch.name)
    stops = stops_of_form(content)
    return FormContent(chosen, key, orchard.blocks, inputs.valves, orchard.profiles, trees, stops, sets)
