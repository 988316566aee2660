"""Network namespaces joined by a bridge, so that workers reach a scheduler and nothing else; needs root."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager

BRIDGE, HERE, NET = "smbridge", "10.77.0.1", "10.77.0"


def ip(*words: str, quiet: bool = False) -> None:
    done = subprocess.run(["ip", *words], capture_output=True, text=True, check=False)
    if done.returncode and not quiet:
        sys.exit(f"ip {' '.join(words)}: {done.stderr.strip()}; network namespaces need root and iproute2")


def inside(number: int) -> list[str]:
    """Give the words that run a command in a namespace."""
    return ["ip", "netns", "exec", f"smspace{number}"]


def cut(number: int) -> None:
    """Pull the cable of a namespace."""
    ip("link", "set", f"smout{number}", "down")


@contextmanager
def namespaces(count: int) -> Iterator[list[str]]:
    """Make so many namespaces and give their addresses; this machine's own is :data:`HERE`."""
    _take_down(count)
    try:
        ip("link", "add", BRIDGE, "type", "bridge")
        ip("addr", "add", f"{HERE}/24", "dev", BRIDGE)
        ip("link", "set", BRIDGE, "up")
        for k in range(1, count + 1):
            space, outer, inner = f"smspace{k}", f"smout{k}", f"smin{k}"
            ip("netns", "add", space)
            ip("link", "add", outer, "type", "veth", "peer", "name", inner)
            ip("link", "set", inner, "netns", space)
            ip("link", "set", outer, "master", BRIDGE)
            ip("link", "set", outer, "up")
            ip("-n", space, "addr", "add", f"{NET}.{10 + k}/24", "dev", inner)
            ip("-n", space, "link", "set", inner, "up")
            ip("-n", space, "link", "set", "lo", "up")
        yield [f"{NET}.{10 + k}" for k in range(1, count + 1)]
    finally:
        _take_down(count)


def _take_down(count: int) -> None:
    for k in range(1, count + 1):
        ip("link", "del", f"smout{k}", quiet=True)
        ip("netns", "del", f"smspace{k}", quiet=True)
    ip("link", "del", BRIDGE, quiet=True)
