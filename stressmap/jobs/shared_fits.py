"""Work on a ranch that its map, its curve and its plan share within one call of ``district``: done once.

What was worked out is pickled into a folder that only this call knows, outside of every result, and gone with
it. A pickle can do anything when it is read, so each is signed with a key that the call drew for itself: what
anybody else put there, or changed, is not read but worked out anew. Workers on other computers, which do not
see the folder, work it out themselves.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import pickle
import secrets
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from stressmap.intake.inputs import Inputs
from stressmap.jobs.assess_visit import Assessed
from stressmap.output.staging import run_record

if TYPE_CHECKING:
    from stressmap.core.notes import Noted
    from stressmap.core.progress import Progress
    from stressmap.geostat.borrowed_priors import BorrowedPriors
    from stressmap.jobs.doubted_readings import Fitted
    from stressmap.jobs.recall_visits import Remembered

Made = TypeVar("Made")
SIGNED = hashlib.sha256().digest_size
"""Bytes of a signature."""


@dataclass(frozen=True)
class SharedFits:
    """Where one call of ``district`` keeps what it works out of its ranches.

    Parameters
    ----------
    folder : Path
        Of that call alone, absolute.
    key : bytes
        Drawn by that call.
    """

    folder: Path
    key: bytes = field(repr=False)

    def once(self, stamp: str, make: Callable[[], Made]) -> Made:
        """Give what was worked out for a stamp, or work it out and keep it.

        Parameters
        ----------
        stamp : str
            Says what it is and what it was made from.
        make : callable
            Works it out.

        Returns
        -------
        object
            As it was made.
        """
        name = hashlib.sha256(stamp.encode()).hexdigest()
        place = self.folder / name
        with suppress(OSError):
            held = place.read_bytes()
            signature, told = held[:SIGNED], held[SIGNED:]
            if hmac.compare_digest(signature, self._sign(name, told)):
                kept: Made = pickle.loads(told)
                return kept
        made = make()
        with suppress(OSError):
            self._keep(name, pickle.dumps(made, protocol=pickle.HIGHEST_PROTOCOL))
        return made

    def _sign(self, name: str, told: bytes) -> bytes:
        return hmac.digest(self.key, name.encode() + told, "sha256")

    def _keep(self, name: str, told: bytes) -> None:
        """Write to a name of its own first: a worker that is killed leaves nothing half written."""
        if not self.folder.is_dir():
            return
        handle, beside = tempfile.mkstemp(dir=self.folder)
        with os.fdopen(handle, "wb") as file:
            file.write(self._sign(name, told) + told)
        Path(beside).replace(self.folder / name)


@contextmanager
def shared_fits() -> Iterator[SharedFits]:
    """Open a folder that only this user can read, for one call.

    Yields
    ------
    SharedFits
    """
    with tempfile.TemporaryDirectory(prefix="stressmap-", ignore_cleanup_errors=True) as folder:
        yield SharedFits(Path(folder).absolute(), secrets.token_bytes(SIGNED))


@dataclass(frozen=True)
class RanchWork:
    """What is worked out of one ranch, once where a district keeps it.

    Parameters
    ----------
    fits : SharedFits or None
        None for a ranch by itself: nothing is kept.
    stamp : str
        Of its files, settings and visit, and of what it is lent.
    """

    fits: SharedFits | None
    stamp: str

    @classmethod
    def of(
        cls,
        fits: SharedFits | None,
        inputs: Inputs,
        assessed: Assessed,
        sha256: Mapping[str, str],
        lent: BorrowedPriors | None,
    ) -> RanchWork:
        """Stamp the work on a ranch.

        Parameters
        ----------
        fits : SharedFits or None
            Where it is kept.
        inputs, assessed
            What its files hold, and its visit.
        sha256 : mapping of str to str
            Fingerprints of the files.
        lent : BorrowedPriors or None
            By other ranches; none and an empty loan give the same fit.
        """
        if fits is None:
            return cls(None, "")
        loan = replace(lent, own=None).as_plain() if lent else None
        visit = [day.isoformat() for day in assessed.visit]
        settings = run_record.settings_shown(inputs.settings)
        told = [str(inputs.source), dict(sha256), settings, visit, loan]
        return cls(fits, json.dumps(told, sort_keys=True, default=str))

    def once(self, what: str, make: Callable[[], Made]) -> Made:
        """Work something out, unless this call of the district has.

        Parameters
        ----------
        what : str
            Its name.
        make : callable
            Works it out.

        Returns
        -------
        object
            As it was made.
        """
        return make() if self.fits is None else self.fits.once(f"{what} {self.stamp}", make)

    def fitted(
        self,
        inputs: Inputs,
        assessed: Assessed,
        jobs: int,
        progress: Progress,
        lent: BorrowedPriors | None,
    ) -> tuple[Fitted, Noted[Remembered]]:
        """Fit the visit, then the earlier ones with it.

        Parameters
        ----------
        inputs, assessed, jobs, progress, lent
            As for :func:`stressmap.jobs.map_visit.fit`.

        Returns
        -------
        fitted : Fitted
            To the visit alone.
        recalled : Noted of Remembered
            From :func:`stressmap.jobs.recall_visits.recall`.
        """
        from stressmap.jobs.map_visit import fit
        from stressmap.jobs.recall_visits import recall

        def both() -> tuple[Fitted, Noted[Remembered]]:
            today = fit(inputs, assessed, jobs, progress, lent=lent)
            return today, recall(inputs, today.assessed, today.surface, progress)

        return self.once("fit", both)
