"""What ranches of one crop in a district lend each other, and which are to be mapped again with it.

What a ranch tells stands in its own ``run.json``, so that it need not be mapped again for another's sake. No
ranch borrows from itself: what it is lent is pooled from the others of its crop.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from stressmap.core.errors import StressmapError
from stressmap.core.ranch_result import RanchResult
from stressmap.geostat.borrowed_priors import BorrowedPriors, OwnEvidence
from stressmap.geostat.pooled_priors import gains_from, pool
from stressmap.output.staging.result_files import record_in


@dataclass(frozen=True)
class ToldRanch:
    """What one ranch tells for others.

    Parameters
    ----------
    slug : str
        Its own in the district.
    crop : str
        Of most of its readings.
    evidence : OwnEvidence
        By its own readings.
    record : mapping
        Of the same, as it stands in ``run.json``.
    lent : mapping or None
        What it was lent when it was mapped.
    """

    slug: str
    crop: str
    evidence: OwnEvidence
    record: Mapping[str, Any]
    lent: Mapping[str, Any] | None


def loans(results: Sequence[RanchResult]) -> dict[str, BorrowedPriors]:
    """Find the ranches that are to be mapped again, and with what.

    Parameters
    ----------
    results : sequence of RanchResult
        Of all ranches, mapped with borrowing or asked only what they tell.

    Returns
    -------
    dict of str to BorrowedPriors
        By slug; empty for a ranch that was lent something and no longer gains. Ranches whose record says that
        they were lent the very same are not there.
    """
    ranches = [one for result in results if (one := _told(result)) is not None]
    wanted = {one.slug: _lent_to(one, ranches) for one in ranches}
    return {
        one.slug: replace(wanted[one.slug], own=one.record)
        for one in ranches
        if _as_record(wanted[one.slug]) != one.lent
    }


def _told(result: RanchResult) -> ToldRanch | None:
    """Read what a ranch tells; None where it failed, was not asked, has no one crop or was not kriged."""
    if result.folder is None:
        return None
    with suppress(StressmapError, OSError, KeyError, TypeError, ValueError):
        page = record_in(Path(result.folder))["borrowed"]
        if page["crop"] and page["told"]:
            evidence = OwnEvidence.from_plain(page["told"])
            return ToldRanch(result.slug, str(page["crop"]), evidence, page["told"], page["lent"])
    return None


def lent_to(result: RanchResult) -> BorrowedPriors | None:
    """Read what a ranch was lent when it was mapped, so that its water plan rests on the same fit.

    Parameters
    ----------
    result : RanchResult
        Mapped.

    Returns
    -------
    BorrowedPriors or None
        None where it was lent nothing.
    """
    with suppress(StressmapError, OSError, KeyError, TypeError, ValueError):
        lent = record_in(Path(result.folder or ""))["borrowed"]["lent"]
        return BorrowedPriors.from_plain(lent) if lent else None
    return None


def _lent_to(ranch: ToldRanch, ranches: Sequence[ToldRanch]) -> BorrowedPriors:
    """Pool what the others of its crop tell, if the ranch gains from it."""
    lent = pool([one.evidence for one in ranches if one.crop == ranch.crop and one.slug != ranch.slug])
    return lent if gains_from(ranch.evidence, lent) else BorrowedPriors()


def _as_record(lent: BorrowedPriors) -> Any:
    """Give what is lent as ``run.json`` has it."""
    return json.loads(json.dumps(lent.as_plain())) if lent else None
