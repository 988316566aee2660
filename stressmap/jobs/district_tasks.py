"""What runs on a worker: one ranch from its files to its folder, and a part of a large one.

A ranch's own errors come back as results: an exception would be taken for the worker's fault and tried again.
"""

from __future__ import annotations

import gc
import sys
import threading
import time
from collections.abc import Iterable, Iterator
from contextlib import chdir, contextmanager, nullcontext, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from stressmap import __version__
from stressmap.core.errors import Problem, StressmapError
from stressmap.core.ranch_result import RanchResult
from stressmap.core.text import one_line
from stressmap.jobs.district_plans import PLAN, take_plan_away
from stressmap.jobs.district_ranches import ListedRanch
from stressmap.jobs.district_turn import WhileWanted
from stressmap.jobs.handed_down import HandedDown

if TYPE_CHECKING:
    from stressmap.zoning.mapping import BlockMap, BlockMapping

_TURN = threading.Lock()
"""One ranch at a time in a process, however many threads a worker has: drawing libraries want that."""
SMALLER = "Raise [workers] memory_gb, with fewer workers, or raise cell_m of the ranch"
MEMORY = "memory over the limit"
LOST = "Run the district again: what is done stays; if memory is short, raise [workers] memory_gb"


@dataclass(frozen=True)
class RanchTask:
    """A ranch that is to be mapped.

    Parameters
    ----------
    ranch : ListedRanch
        Which.
    folder : Path
        Where its result goes, absolute.
    here : Path
        The folder that one is in: paths are seen from there.
    handed : HandedDown
        What it gets from the district.
    """

    ranch: ListedRanch
    folder: Path
    here: Path
    handed: HandedDown


@dataclass(frozen=True)
class Warmed:
    """A worker that is ready, as it tells itself.

    Parameters
    ----------
    version : str
        Of this program there.
    sees : bool
        Whether it finds the district's file.
    """

    version: str
    sees: bool


@contextmanager
def alone_at(here: Path) -> Iterator[None]:
    """Do one piece of work at a time in this process, in a folder that paths are seen from.

    Parameters
    ----------
    here : Path
        The folder, where this computer has it.

    Yields
    ------
    None
    """
    with _TURN, chdir(here) if here.is_dir() else nullcontext():
        yield


def map_ranch(task: RanchTask) -> RanchResult:
    """Map a ranch, as ``run`` does.

    Parameters
    ----------
    task : RanchTask
        The ranch.

    Returns
    -------
    RanchResult
        Whatever is wrong with the ranch stands in it.
    """
    from stressmap.jobs.run import run

    ranch = task.ranch
    with alone_at(task.here):
        began = time.perf_counter()
        _forget_peak()
        try:
            tell = WhileWanted(task.handed.call)
            content = run(ranch.source, out=task.folder, jobs=1, progress=tell, handed=task.handed).content
            take_plan_away(task.folder / PLAN)  # it is of the map before
            done = RanchResult(
                ranch.slug, ranch.source, content.ranch.name, task.folder, "mapped", content.visit
            )
        except StressmapError as error:
            done = failed(ranch, error.problems)
        except MemoryError:
            done = failed(ranch, [Problem(str(ranch.source), MEMORY, SMALLER)])
        except Exception as error:  # a defect that one ranch meets stops no other
            done = failed(ranch, [defect(ranch.source, error)])
        gc.collect()
        return replace(done, seconds=round(time.perf_counter() - began, 3), peak_mb=_peak_mb())


def failed(ranch: ListedRanch, problems: Iterable[Problem]) -> RanchResult:
    """Give the result of a ranch that came to nothing.

    Parameters
    ----------
    ranch : ListedRanch
        The ranch.
    problems : iterable of Problem
        Why.

    Returns
    -------
    RanchResult
    """
    return RanchResult(ranch.slug, ranch.source, ranch.name, None, "failed", None, tuple(problems))


def defect(source: Path, error: Exception, command: str = "run") -> Problem:
    """Tell of a defect that one ranch met.

    Parameters
    ----------
    source : Path
        Its ``ranch.toml``.
    error : Exception
        What was raised.
    command : str, optional
        That would show the same for this ranch alone.

    Returns
    -------
    Problem
    """
    what = f"a defect of the program ({type(error).__name__}: {one_line(str(error), most=300)})"
    remedy = f"Run this ranch alone with stressmap {command} --debug and report what it prints"
    return Problem(str(source), what, remedy)


def map_part(work: BlockMapping, blocks: range) -> list[BlockMap]:
    """Map some blocks of a ranch that is worked on elsewhere.

    Parameters
    ----------
    work : BlockMapping
        With the fitted surface.
    blocks : range
        Which.

    Returns
    -------
    list of BlockMap
        In their order.
    """
    from stressmap.core.parallel import each

    return each(work, blocks, jobs=1)


def warm(source: Path) -> Warmed:
    """Load what a ranch needs and compile what is compiled, before the first one is begun.

    Parameters
    ----------
    source : Path
        The district's file, absolute.

    Returns
    -------
    Warmed
    """
    from threadpoolctl import threadpool_limits

    gc.set_threshold(50_000, 20, 20)  # as the command line does
    threadpool_limits(limits=1)  # for good: many processes share the cores, and sums keep their order
    import stressmap.jobs.map_visit
    import stressmap.jobs.run
    import stressmap.jobs.season_so_far  # noqa: F401
    from stressmap.geostat.warm_kernels import compile_kernels

    compile_kernels()
    return Warmed(__version__, source.is_file())


def _forget_peak() -> None:
    """Begin to count the most memory anew, where the system can."""
    with suppress(OSError):
        Path("/proc/self/clear_refs").write_bytes(b"5")


def _peak_mb() -> float:
    """Give the most memory held since, or since the process began [MB]."""
    with suppress(OSError, StopIteration, ValueError):
        lines = Path("/proc/self/status").read_text(encoding="ascii", errors="replace").splitlines()
        return round(int(next(line for line in lines if line.startswith("VmHWM")).split()[1]) / 1024, 1)
    try:
        import resource
    except ImportError:  # Windows
        return 0.0
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return round(most / (1024**2 if sys.platform == "darwin" else 1024), 1)
