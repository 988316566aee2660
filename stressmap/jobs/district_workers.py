"""Where a district is worked on: workers of its own on this computer, or a Dask cluster by its address."""

from __future__ import annotations

import asyncio
import logging
import os
import signal
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from types import TracebackType
from typing import Any, TypeVar

from stressmap import __version__
from stressmap.core.district_settings import District
from stressmap.core.errors import Problem, SettingsError
from stressmap.core.parallel import cores
from stressmap.core.text import first_line, one_line
from stressmap.jobs.district_tasks import MEMORY, Warmed, warm

Task = TypeVar("Task")
Done = TypeVar("Done")

CONNECT_S = 10
"""How long a scheduler may take to answer."""
FIRST_WORKER_S = 60
"""How long a cluster may take to have a worker."""
LOOK_S = 5
"""How often it is looked whether there are workers."""
WORKERLESS_S = 180
"""How long there may be none before what is left is given up."""
NO_WORKER = f"the cluster has had no worker for {WORKERLESS_S} seconds"
OVER = ("closing", "closed")
STARTS = 3
"""How often workers of this computer's own may fail to start."""
LEFT_AT = 0.95
"""Share of its memory at which a worker is ended; nothing is ended or held back before."""
KILL = getattr(signal, "SIGKILL", signal.SIGTERM)
"""Windows has the second, and means the first by it."""
PRELOAD = "stressmap.jobs.district_preload"
INSTALL = 'Install it: python -m pip install "stressmap[district]"'
SAME_PATHS = "Workers need the same folders under the same paths, and this version of the program"


@dataclass(frozen=True)
class DistrictCluster:
    """A cluster that answers.

    Parameters
    ----------
    client : distributed.Client
        Connected to it.
    """

    client: Any

    def count(self) -> int:
        """Count the workers there are now."""
        try:
            return len(self.client.nthreads())
        except OSError:  # a scheduler that does not answer; the client tries again
            return 0

    def each(self, work: Callable[[Task], Done], tasks: Sequence[Task]) -> Iterator[tuple[Task, Done | str]]:
        """Do some work on every task, as many at a time as there are workers.

        Parameters
        ----------
        work : callable
            Done by a worker; an exception would be taken for the cluster's own.
        tasks : sequence
            Begun in this order.

        Yields
        ------
        tuple of (task, result)
            As they come; instead of a result what became of its worker, where it had none.
        """
        waiting, running = list(reversed(tasks)), dict[str, tuple[Any, Task]]()
        seen, bell = time.monotonic(), threading.Event()
        while (waiting or running) and self.client.status not in OVER:
            present = self.count()
            seen = time.monotonic() if present else seen
            if time.monotonic() - seen > WORKERLESS_S:
                break
            while waiting and len(running) < max(1, present):
                task = waiting.pop()
                future = self.client.submit(work, task, pure=False, retries=1)
                future.add_done_callback(lambda _: bell.set())
                running[future.key] = future, task
            bell.wait(LOOK_S)
            bell.clear()
            for future, task in [both for both in running.values() if both[0].status != "pending"]:
                del running[future.key]
                yield task, self._result(future)
                future.release()
        why = "the scheduler was lost" if self.client.status in OVER else NO_WORKER
        for task in (*(task for _, task in running.values()), *reversed(waiting)):
            yield task, why

    def _result(self, future: Any) -> Any:
        if future.status == "finished":
            return future.result()
        error = future.exception() if future.status == "error" else None
        return self._lost(error)

    def _lost(self, error: BaseException | None) -> str:
        from distributed import KilledWorker

        if error is None:
            return "the cluster gave it up"
        if not isinstance(error, KilledWorker):
            return f"the cluster failed ({type(error).__name__}: {one_line(str(error), most=200)})"
        count = error.allowed_failures + 1
        if error.last_worker.address in self._ended_for_memory():
            limit = f"{error.last_worker.memory_limit / 1e9:.3g} GB"
            return f"{MEMORY}: a worker took over {limit} for it and was ended, {count} times"
        return f"its worker was lost {count} times"

    def _ended_for_memory(self) -> set[str]:
        """Name the workers that were ended because their memory was over the limit."""
        events = self.client.get_events("worker-restart-memory") or ()
        return {event["worker"] for _, event in events if isinstance(event, dict) and "worker" in event}


class Workers:
    """The cluster of a district, begun when there is something to do; a context that ends it.

    Parameters
    ----------
    district : District
        Says how many workers, with how much memory.
    scheduler : str, optional
        Address of a Dask scheduler; without it workers are begun on this computer.
    """

    def __init__(self, district: District, scheduler: str | None = None) -> None:
        self._district, self._scheduler = district, scheduler
        self._left = ExitStack()
        self._cluster: DistrictCluster | None = None

    def __enter__(self) -> Workers:
        """Begin nothing yet."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """End the workers of this computer, at once where the work was stopped."""
        self._cluster = None
        self._left.__exit__(kind, error, trace)

    def cluster(self, pieces: int) -> DistrictCluster:
        """Give the cluster, begun and warmed if it is not yet.

        Parameters
        ----------
        pieces : int
            Of work: more workers of this computer's own are not begun.

        Returns
        -------
        DistrictCluster

        Raises
        ------
        SettingsError
            If the scheduler does not answer, has no workers, or they are not fit for this.
        """
        if self._cluster is None:
            district = self._district
            context = connected_cluster(district, pieces, self._scheduler)
            self._cluster = DistrictCluster(self._left.enter_context(context))
        return self._cluster


def refuse_without_extra() -> None:
    """Refuse where the libraries are not installed that only this command needs.

    Raises
    ------
    SettingsError
        If so.
    """
    missing = [name for name in ("dask", "distributed", "cryptography") if find_spec(name) is None]
    if missing:
        what = f"a district is worked on by Dask, and {' and '.join(missing)} is not installed"
        raise SettingsError(Problem("this computer", what, INSTALL))


@contextmanager
def connected_cluster(district: District, pieces: int, scheduler: str | None) -> Iterator[Any]:
    """Connect to workers, each of them ready; those of this computer end with the context.

    Parameters
    ----------
    district : District
        Says how many, with how much memory.
    pieces : int
        Of work.
    scheduler : str, optional
        Address of a Dask scheduler; without it workers are begun here.

    Yields
    ------
    distributed.Client

    Raises
    ------
    SettingsError
        If the scheduler does not answer, has no workers, or they are not fit for this.
    """
    import dask
    from distributed import Client

    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    with ExitStack() as left:
        left.enter_context(dask.config.set(_terms(district)))
        if scheduler is None:
            cluster = left.enter_context(own_cluster(_count(district, pieces), district.workers.memory_gb))
            client = left.enter_context(Client(cluster, set_as_default=False))
        else:
            client = left.enter_context(_connected(scheduler))
        _make_ready(client, Path(district.source).absolute())
        yield client


def _terms(district: District) -> dict[str, Any]:
    """Give Dask's own settings: a ranch is one task, whose memory Dask cannot move to the disk."""
    memory = dict.fromkeys(("target", "spill", "pause"), False) | {"terminate": LEFT_AT}
    return {
        "distributed.scheduler.allowed-failures": district.workers.failures,
        "distributed.scheduler.http.routes": [],  # no pages about the work: a port is opened all the same
        "distributed.worker.http.routes": [],
        **{f"distributed.worker.memory.{name}": value for name, value in memory.items()},
    }


def _count(district: District, pieces: int) -> int:
    """Say how many workers there should be here: as set, else as many as cores, memory and work allow."""
    if district.workers.count is not None:
        return district.workers.count
    from distributed.system import MEMORY_LIMIT

    room = int(MEMORY_LIMIT / (district.workers.memory_gb * 1e9))
    return max(1, min(cores(), room, pieces))


@contextmanager
def own_cluster(count: int, memory_gb: float) -> Iterator[Any]:
    """Begin workers here that no one else can reach: by this computer's address, with keys made for it.

    Parameters
    ----------
    count : int
        Workers, a process with one thread each.
    memory_gb : float
        That one of them may take.

    Yields
    ------
    distributed.LocalCluster
    """
    import dask
    from distributed.security import Security

    with _begun(
        n_workers=count,
        threads_per_worker=1,
        processes=True,
        memory_limit=int(memory_gb * 1e9),
        host="127.0.0.1",
        dashboard_address=None,
        scheduler_kwargs={"dashboard_address": "127.0.0.1:0"},
        security=Security.temporary(),
        preload=[*dask.config.get("distributed.worker.preload"), PRELOAD],
        silence_logs=logging.CRITICAL,
    ) as cluster:
        watch = asyncio.run_coroutine_threadsafe(_replace_lost(cluster, count), cluster.loop.asyncio_loop)
        try:
            yield cluster
        except BaseException:
            watch.cancel()
            _end_at_once(cluster)
            raise
        finally:
            watch.cancel()


def _begun(**terms: Any) -> Any:
    """Begin a cluster; anew where a worker dies as it starts, which Dask gives up at once."""
    from distributed import LocalCluster

    for _ in range(STARTS - 1):
        with suppress(RuntimeError):
            return LocalCluster(**terms)
    try:
        return LocalCluster(**terms)
    except RuntimeError as error:
        what = f"no workers can be started ({one_line(str(error), most=200)})"
        remedy = "Give [workers] count and memory_gb that this computer has room for"
        raise SettingsError(Problem("this computer", what, remedy)) from None


async def _replace_lost(cluster: Any, count: int) -> None:
    """Begin workers anew that their nanny does not: one that dies as it starts is given up by it."""
    from distributed.core import Status

    while True:
        await asyncio.sleep(LOOK_S)
        for name, nanny in list(cluster.workers.items()):
            if nanny.status in {Status.closed, Status.failed}:
                del cluster.workers[name]
        cluster.scale(count)


def _end_at_once(cluster: Any) -> None:
    """End workers in the middle of their work; what that leaves in hidden folders the next call clears."""
    for nanny in cluster.workers.values():
        nanny.auto_restart = False
        if nanny.pid is not None:
            with suppress(OSError):
                os.kill(nanny.pid, KILL)


def _connected(address: str) -> Any:
    from distributed import Client

    try:
        asyncio.run(_answered(address))
        return Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError, TypeError) as error:
        what = f"no Dask scheduler answers there ({first_line(error) or type(error).__name__})"
        remedy = "Start one with dask scheduler, or give its address, as tcp://10.0.0.5:8786"
        raise SettingsError(Problem(f"--scheduler {address}", what, remedy)) from None


async def _answered(address: str) -> None:
    """Find out in time that something else listens there, such as a page: a client would wait for good."""
    from distributed.comm import connect
    from distributed.security import Security

    asked = connect(address, timeout=CONNECT_S, **Security().get_connection_args("client"))
    await (await asyncio.wait_for(asked, CONNECT_S)).close()


def _make_ready(client: Any, source: Path) -> None:
    """Warm every worker, and refuse those that are not fit."""
    from distributed import TimeoutError as Late

    with suppress(Late):
        client.wait_for_workers(1, timeout=FIRST_WORKER_S)
    addresses = list(client.nthreads())
    if not addresses:
        what = f"the cluster had no worker for {FIRST_WORKER_S} seconds"
        raise SettingsError(Problem("--scheduler", what, "Start workers with dask worker ADDRESS"))
    futures = [client.submit(warm, source, workers=[one], pure=False) for one in addresses]
    told = [_warmed(client, *both) for both in zip(addresses, futures, strict=True)]
    for address, warmed in zip(addresses, told, strict=True):
        if warmed is not None:
            _refuse_unlike(address, warmed, source)
    if not any(told):
        what = "every worker was lost while it was made ready, before the first ranch"
        raise SettingsError(Problem(str(source), what, "Raise [workers] memory_gb"))


def _warmed(client: Any, address: str, future: Any) -> Warmed | None:
    """Give what a worker tells of itself; None of one that was lost: it comes back under another."""
    while future.status == "pending":
        with suppress(OSError):
            if address not in client.nthreads():
                return None
        time.sleep(0.1)
    try:
        warmed: Warmed = future.result()
    except (ImportError, AttributeError) as error:
        what = f"the worker at {address} cannot load this program ({first_line(error)})"
        raise SettingsError(Problem("--scheduler", what, SAME_PATHS)) from None
    return warmed


def _refuse_unlike(address: str, warmed: Warmed, source: Path) -> None:
    what = ""
    if warmed.version != __version__:
        what = f"the worker at {address} has stressmap {warmed.version}, here is {__version__}"
    elif not warmed.sees:
        what = f"the worker at {address} does not find {source}"
    if what:
        raise SettingsError(Problem("--scheduler", what, SAME_PATHS))
