"""A large ranch mapped in parts: groups of its blocks all over the cluster, the fitted surface sent once."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from stressmap.jobs.district_tasks import map_part
from stressmap.zoning.mapping import threads

if TYPE_CHECKING:
    from stressmap.zoning.mapping import BlockMap, BlockMapping

BEFORE_RANCHES = 10
"""Parts go before ranches that wait: what is begun is finished first, and its memory free."""
PATIENCE = 2.0
"""Parts of one's own that the last ones elsewhere may take before they are done here as well."""


@dataclass(frozen=True)
class OverCluster:
    """Maps blocks on the worker that asks, and of a large ranch on the other workers as well.

    The worker that asks does parts from the last to the first itself, the others from the first to the last.
    So nothing waits for a worker that is busy or gone, and none is idle. The blocks are the same wherever
    they are mapped.

    Parameters
    ----------
    divide_over : int
        A ranch of more blocks is divided.
    part_blocks : int
        Blocks of a part.
    """

    divide_over: int
    part_blocks: int

    def __call__(self, work: BlockMapping, count: int, step: Callable[[], None]) -> list[BlockMap]:
        """Map so many blocks."""
        if count > self.divide_over:
            from distributed import get_client, get_worker

            client, me = get_client(), get_worker().address
            others = [one for one in client.nthreads() if one != me]
            if others:
                return self._divided(client, others, work, count, step)
        return threads(1)(work, count, step)

    def _divided(
        self, client: Any, others: list[str], work: BlockMapping, count: int, step: Callable[[], None]
    ) -> list[BlockMap]:
        parts = [range(first, min(first + self.part_blocks, count)) for first in self._firsts(count)]
        sent = client.scatter(work, hash=False)
        terms = {"workers": others, "pure": False}
        futures = [
            client.submit(map_part, sent, part, priority=BEFORE_RANCHES + len(parts) - at, **terms)
            for at, part in enumerate(parts)  # in this order: without it Dask takes the last ones first
        ]
        found: dict[int, list[BlockMap]] = {}
        took = 0.0
        while waiting := [at for at in range(len(parts)) if at not in found]:
            step()  # of whatever size: it also asks whether the work is still wanted
            if came := dict(_arrived(futures, waiting)):
                found |= came
                continue
            if took and len(waiting) <= len(others) and _waited([futures[at] for at in waiting], took):
                continue
            last = waiting[-1]
            futures[last].cancel()
            began = time.perf_counter()
            found[last] = map_part(work, parts[last])
            took = time.perf_counter() - began
        return [block for at in range(len(parts)) for block in found[at]]

    def _firsts(self, count: int) -> range:
        return range(0, count, self.part_blocks)


def _arrived(futures: list[Any], waiting: list[int]) -> Iterator[tuple[int, list[BlockMap]]]:
    """Fetch what is done elsewhere; what went wrong there is left to be done here."""
    for at in waiting:
        if futures[at].status == "finished":
            try:
                yield at, futures[at].result()
            except Exception:  # the worker that held it is gone
                futures[at].cancel()


def _waited(futures: list[Any], seconds: float) -> bool:
    """Wait for any of the last parts; tell whether one came."""
    from distributed import TimeoutError as Late
    from distributed import wait

    try:
        wait(futures, timeout=PATIENCE * seconds, return_when="FIRST_COMPLETED")
    except Late:
        return False
    return any(one.status == "finished" for one in futures)
