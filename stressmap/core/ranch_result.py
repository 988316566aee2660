"""What came of one ranch of a district: an error of its own is a result like any other."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from stressmap.core.errors import Problem

State = Literal["mapped", "unchanged", "failed"]


@dataclass(frozen=True)
class RanchResult:
    """One ranch of a district, done or not.

    Parameters
    ----------
    slug : str
        Its own in the district; the name of its folder there.
    source : Path
        Its ``ranch.toml``.
    name : str
        As the settings have it; where they cannot be read that of the folder they lie in.
    folder : Path or None
        Holds exactly the files of ``run``; None where it failed, whatever an earlier call left there.
    state : {"mapped", "unchanged", "failed"}
        Mapped now; by an earlier call from the same inputs, settings and version; or not.
    visit : tuple of date or None
        First and last day mapped; None where it failed.
    problems : tuple of Problem
        Why it failed.
    seconds : float
        Of the work on it, by the clock [s]; 0 where nothing was done.
    peak_mb : float
        The most memory that the process working on it held meanwhile [MB]; 0 where nothing was done.
    """

    slug: str
    source: Path
    name: str
    folder: Path | None
    state: State
    visit: tuple[dt.date, dt.date] | None
    problems: tuple[Problem, ...] = ()
    seconds: float = 0.0
    peak_mb: float = 0.0

    @property
    def failed(self) -> bool:
        """Whether there is nothing to show of it."""
        return self.state == "failed"
