"""What a ranch that is one of many gets from outside its own files; one alone gets none of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from stressmap.core.settings import Shared

if TYPE_CHECKING:
    from stressmap.geostat.borrowed_priors import BorrowedPriors
    from stressmap.jobs.district_turn import CallLetters
    from stressmap.jobs.shared_fits import SharedFits
    from stressmap.zoning.mapping import Spread


@dataclass(frozen=True)
class HandedDown:
    """From a district to one of its ranches.

    Parameters
    ----------
    shared : mapping of str to mapping
        Tables whose keys count where ``ranch.toml`` does not have them; see
        :func:`stressmap.core.settings.load`.
    spread : callable, optional
        Where blocks are mapped, by default in the process that runs. The result does not depend on it.
    borrowed : BorrowedPriors, optional
        Priors that other ranches lend; an empty one only has ``run.json`` say what this ranch tells for
        others. None where ranches do not borrow.
    call : CallLetters, optional
        The call of ``district`` that wants the work: its results are written only as long as it does.
    fits : SharedFits, optional
        Where what map, curve and plan of a ranch share is kept during one call. None: each works it out.
    """

    shared: Shared = field(default_factory=dict)
    spread: Spread | None = None
    borrowed: BorrowedPriors | None = None
    call: CallLetters | None = None
    fits: SharedFits | None = None


NOTHING = HandedDown()
"""To a ranch that is run by itself."""
