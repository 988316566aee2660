"""Many ranches at once; the only file that knows the order: map, borrow, share water, tell of all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from stressmap.core import district_settings, settings
from stressmap.core.district_settings import District
from stressmap.core.errors import DataError, Problem, StressmapError
from stressmap.core.progress import Progress, Silent
from stressmap.core.ranch_result import RanchResult
from stressmap.jobs.before_work import handed_in, refuse_early
from stressmap.jobs.district_ranches import ListedRanch, bytes_to_read, listed_ranches, standing
from stressmap.jobs.district_spread import OverCluster
from stressmap.jobs.district_tasks import LOST, RanchTask, failed, map_ranch
from stressmap.jobs.district_turn import CallTurn
from stressmap.jobs.district_workers import Workers, refuse_without_extra
from stressmap.jobs.handed_down import HandedDown
from stressmap.jobs.shared_fits import SharedFits, shared_fits
from stressmap.output.staging.output_folder import make_ready, slug

if TYPE_CHECKING:
    from stressmap.geostat.borrowed_priors import BorrowedPriors
    from stressmap.output.view.district_content import DistrictContent
    from stressmap.water.shared_volume import SharedVolume


LEAST_OUTLINE = 100
"""An outline in a file takes no less [bytes]."""
MOST_PARTS = 1000


@dataclass(frozen=True)
class DistrictMade:
    """What came of a district.

    Parameters
    ----------
    district : District
        Its settings.
    results : tuple of RanchResult
        One a ranch, in the order of the list.
    folder : Path
        Holds a folder a ranch and the overview.
    content : DistrictContent
        What the overview was made from.
    """

    district: District
    results: tuple[RanchResult, ...]
    folder: Path
    content: DistrictContent

    @property
    def stop(self) -> DataError | None:
        """What to stop with: where every ranch failed, all that is wrong with them."""
        if not all(one.failed for one in self.results):
            return None
        return DataError(problem for one in self.results for problem in one.problems)


@dataclass(frozen=True)
class AtWork:
    """Where a call of ``district`` works, and with whom.

    Parameters
    ----------
    folder : Path
        Holds a folder a ranch.
    workers : Workers
        Begun when there is something to do.
    turn : CallTurn
        Of this call in the folder.
    fits : SharedFits or None
        Kept during this call; None where no plan would read them.
    """

    folder: Path
    workers: Workers
    turn: CallTurn
    fits: SharedFits | None = None


def run_district(
    source: Path, *, scheduler: str | None = None, out: Path | None = None, progress: Progress | None = None
) -> DistrictMade:
    """Map every ranch of a district that has changed, and write the overview of all.

    Parameters
    ----------
    source : Path
        A ``DISTRICT.toml``.
    scheduler : str, optional
        Address of a Dask scheduler; by default workers are begun here.
    out : Path, optional
        Folder for the results; default ``outputs/<district>/district``.
    progress : Progress, optional
        Told of stages, and of each ranch done.

    Returns
    -------
    DistrictMade

    Raises
    ------
    SettingsError
        If the file or the scheduler is wrong, or Dask is not installed.
    OutputError
        If the folder cannot be written, another call has begun in it since, or the results cannot be sent.
    """
    district, tell = district_settings.load(source), progress or Silent()
    refuse_without_extra()
    folder = out or Path("outputs") / slug(district.name) / "district"
    ranches = listed_ranches(district)
    from stressmap.output import outputs
    from stressmap.output.district_outputs import FILES, write_overview
    from stressmap.output.staging.object_store import refuse_address, send

    make_ready(folder, FILES, _handed_in(district))
    if district.results.url is not None:
        refuse_address(district.results.url, district.source)
    with CallTurn(folder) as turn:
        with shared_fits() as fits, Workers(district, scheduler) as workers:
            at_work = AtWork(folder, workers, turn, fits if district.water is not None else None)
            results = map_changed(district, ranches, at_work, tell)
            shared = shared_water(district, results, at_work, tell)
        turn.take()
        turn.of.refuse_gone()
        content = write_overview(district, results, shared, folder, tell)
    if district.results.url is not None:
        tell.stage("Sending results")
        whole = [one.slug for one in results if not one.failed]
        send(folder, district.results.url, FILES.known | outputs.names(), within=whole, step=tell.step)
    return DistrictMade(district, results, folder, content)


def map_changed(
    district: District, ranches: Sequence[ListedRanch], at_work: AtWork, tell: Progress
) -> tuple[RanchResult, ...]:
    """Map the ranches whose results do not stand; the workers are begun only for those.

    Parameters
    ----------
    district : District
        Its settings.
    ranches : sequence of ListedRanch
        From :func:`stressmap.jobs.district_ranches.listed_ranches`.
    at_work : AtWork
        The folder, and workers not yet begun.
    tell : Progress
        Told of each ranch.

    Returns
    -------
    tuple of RanchResult
        In the order of the ranches.
    """
    tell.stage("Looking at what has changed", len(ranches))
    found: dict[str, RanchResult] = {}
    for ranch in ranches:
        if (result := _before(ranch, district, at_work.folder / ranch.slug)) is not None:
            found[ranch.slug] = result
        tell.step()
    asked = _asked(district)
    changed = {ranch.slug: asked for ranch in ranches if ranch.slug not in found}
    found |= _mapped(district, ranches, changed, at_work, tell)
    if district.borrow:
        from stressmap.jobs.district_borrowing import loans

        tell.stage("Pooling what ranches tell")
        lent = loans([found[ranch.slug] for ranch in ranches])
        found |= _mapped(district, ranches, lent, at_work, tell)
    return tuple(found[ranch.slug] for ranch in ranches)


def _asked(district: District) -> BorrowedPriors | None:
    """Give what a ranch gets at first: where ranches borrow, nothing lent, but what it tells is wanted."""
    if not district.borrow:
        return None
    from stressmap.geostat.borrowed_priors import BorrowedPriors

    return BorrowedPriors()


def _mapped(
    district: District,
    ranches: Sequence[ListedRanch],
    lent: Mapping[str, BorrowedPriors | None],
    at_work: AtWork,
    tell: Progress,
) -> dict[str, RanchResult]:
    """Map some of the ranches, each with what it is lent."""
    shared, folder = district.handed_down(), at_work.folder
    wanted, found = [ranch for ranch in ranches if ranch.slug in lent], {}
    if wanted:
        tell.stage("Starting workers")
        again = district.borrow or district.water is not None  # all ranches have something to do later
        cluster = at_work.workers.cluster(pieces_of(district, ranches if again else wanted))
        at_work.turn.take()
        tell.stage("Mapping ranches", len(wanted))
        spread = OverCluster(district.workers.divide_over, district.workers.part_blocks)
        largest = sorted(wanted, key=lambda ranch: -bytes_to_read(ranch.source, shared))
        common = HandedDown(shared, spread, call=at_work.turn.of, fits=at_work.fits)
        tasks = [
            RanchTask(one, folder.absolute() / one.slug, Path.cwd(), replace(common, borrowed=lent[one.slug]))
            for one in largest
        ]
        for task, done in cluster.each(map_ranch, tasks):
            found[task.ranch.slug] = _named(task.ranch, done, folder)
            tell.step()
    return found


def _before(ranch: ListedRanch, district: District, folder: Path) -> RanchResult | None:
    """Clear what a killed call left; give the result that stands, or why there can be none."""
    shared = district.handed_down()
    try:
        refuse_early(ranch.source, folder, "run", shared)
    except StressmapError as error:
        return failed(ranch, error.problems)
    return standing(ranch, shared, folder, borrow=district.borrow)


def _named(ranch: ListedRanch, done: RanchResult | str, folder: Path) -> RanchResult:
    """Give a result with the folder as the user named it; for a ranch that came to none say why."""
    if isinstance(done, str):
        return failed(ranch, [Problem(str(ranch.source), done, LOST)])
    return done if done.folder is None else replace(done, folder=folder / ranch.slug)


def shared_water(
    district: District, results: Sequence[RanchResult], at_work: AtWork, tell: Progress
) -> SharedVolume | None:
    """Share the district's water, where it has some to share, and plan each ranch with its part.

    Parameters
    ----------
    district : District
        Its settings.
    results : sequence of RanchResult
        What came of each ranch.
    at_work : AtWork
        The folder, and workers, begun if they are not yet.
    tell : Progress
        Told of each ranch.

    Returns
    -------
    SharedVolume or None

    Raises
    ------
    OutputError
        If another call has begun in the folder since: the plans there are that one's.
    """
    from stressmap.jobs.district_kept import KeepingWorkers, kept_before
    from stressmap.jobs.district_plans import PLAN, withdraw_plans

    folder, call = at_work.folder, at_work.turn.of
    at_work.turn.take()
    call.refuse_gone()
    kept, mapped = kept_before(folder), [one for one in results if not one.failed]
    if kept or district.water is not None:
        withdraw_plans(folder, [one.slug for one in results if one.failed or district.water is None])
    if district.water is None or not mapped:
        return None
    from stressmap.jobs.district_borrowing import lent_to
    from stressmap.jobs.district_water import WaterTask, share_water

    keeping = KeepingWorkers(at_work.workers, kept)
    here, below = Path.cwd(), district.handed_down()

    def task_of(ranch: RanchResult) -> WaterTask:
        handed = HandedDown(below, borrowed=lent_to(ranch), call=call, fits=at_work.fits)
        return WaterTask(ranch, here, handed=handed, folder=folder.absolute() / ranch.slug / PLAN)

    shared = share_water(district.water, results, task_of, keeping, tell)
    return replace(shared, kept=dict(sorted(keeping.now.items())))


def pieces_of(district: District, ranches: Sequence[ListedRanch]) -> int:
    """Tell how many workers could have something to do at a time.

    Parameters
    ----------
    district : District
        Its settings.
    ranches : sequence of ListedRanch
        That are to be mapped.

    Returns
    -------
    int
    """
    shared, wide = district.handed_down(), LEAST_OUTLINE * district.workers.divide_over
    large = [ranch for ranch in ranches if bytes_to_read(ranch.source, shared, "blocks") > wide]
    return MOST_PARTS if large else len(ranches)


def _handed_in(district: District) -> tuple[Path, ...]:
    """Name every file that was handed in: none is written over, whosever it is."""
    files = [Path(district.source)]
    for source in district.ranches:
        with suppress(StressmapError, OSError, ValueError):
            files += handed_in(source, settings.load(source, district.handed_down()))
    return tuple(files)
