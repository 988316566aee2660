"""Processor time and peak memory of a process and all that it starts, read from /proc while they live."""

from __future__ import annotations

import os
import subprocess
import threading
import time
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

TICKS = os.sysconf("SC_CLK_TCK")
EVERY_S = 0.5


@dataclass
class Process:
    """One process: what it is (``worker``, ``driver``, ``other``), processor seconds, peak MB."""

    kind: str
    cpu_s: float = 0.0
    peak_mb: float = 0.0


@dataclass
class Watch:
    """Watches process trees from their roots, in a thread, until it is told to stop."""

    roots: list[int] = field(default_factory=list)
    found: dict[int, Process] = field(default_factory=dict)
    began: float = field(default_factory=time.perf_counter)
    _over: threading.Event = field(default_factory=threading.Event)

    def __enter__(self) -> Watch:
        self._thread = threading.Thread(target=self._follow, daemon=True)
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()
        self._thread.join()
        self.seconds = time.perf_counter() - self.began

    def start(self, command: Iterable[object], **options: object) -> subprocess.Popen[str]:
        running = subprocess.Popen([str(word) for word in command], text=True, **options)  # type: ignore[call-overload]
        self.roots.append(running.pid)
        return running

    def cpu_s(self, kind: str) -> float:
        return sum(p.cpu_s for p in self.found.values() if p.kind == kind)

    def peak_mb(self, kind: str) -> float:
        return max((p.peak_mb for p in self.found.values() if p.kind == kind), default=0.0)

    def count(self, kind: str) -> int:
        return sum(p.kind == kind for p in self.found.values())

    def _follow(self) -> None:
        while not self._over.wait(EVERY_S):
            for pid in [*self.roots, *descendants(self.roots)]:
                self._look(pid)

    def _look(self, pid: int) -> None:
        own = Path(f"/proc/{pid}")
        try:
            numbers = (own / "stat").read_text().rpartition(")")[2].split()
            peak = next(
                line for line in (own / "status").read_text().splitlines() if line.startswith("VmHWM")
            )
            seen = self.found.get(pid)
            if seen is None or seen.kind == "other":  # a forked process has its parent's words for a moment
                cpu, top = (seen.cpu_s, seen.peak_mb) if seen else (0.0, 0.0)
                seen = self.found[pid] = Process(kind_of((own / "cmdline").read_bytes()), cpu, top)
        except (OSError, StopIteration):
            return
        seen.cpu_s = (int(numbers[11]) + int(numbers[12])) / TICKS
        # a worker counts anew at each ranch
        seen.peak_mb = max(seen.peak_mb, int(peak.split()[1]) * 1024 / 1e6)


def kind_of(command: bytes) -> str:
    """Tell workers, which a nanny starts anew, from the command that was called and from helpers."""
    if b"multiprocessing.spawn" in command:
        return "worker"
    if b"resource_tracker" in command or b"ip\0netns" in command:
        return "other"
    for name in ("dask_scheduler", "dask_worker"):
        if name.encode() in command:
            return name
    return "driver"


def descendants(roots: Iterable[int]) -> list[int]:
    """Give every process below some others, links to whose parents still stand."""
    parents: dict[int, list[int]] = {}
    for entry in os.scandir("/proc"):
        if entry.name.isdigit():
            try:
                numbers = Path(entry.path, "stat").read_text().rpartition(")")[2].split()
            except OSError:
                continue
            parents.setdefault(int(numbers[1]), []).append(int(entry.name))
    found, todo = [], list(roots)
    while todo:
        below = parents.get(todo.pop(), [])
        found += below
        todo += below
    return found
