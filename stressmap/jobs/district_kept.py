"""What a call of ``district`` keeps of the shared water for the next: curves and plans that still stand."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from stressmap.jobs.district_water import WaterTask, curve_of
from stressmap.output import outputs
from stressmap.output.staging.result_files import MARK, is_file, record_in
from stressmap.water.shared_volume import PlannedShare, RanchCurve

if TYPE_CHECKING:
    from stressmap.jobs.district_workers import Workers

KEPT = "water_kept"
"""Its key in the record of a district."""
ARRAYS = ("amounts_m3", "benefit", "past_limit")


@dataclass
class KeepingWorkers:
    """Does for each task what no earlier call has done alike; the workers are begun only for that.

    Parameters
    ----------
    workers : Workers
        Of the district.
    before : mapping of str to dict
        What the last call kept, by fingerprint of the task.
    now : dict
        What this call keeps: filled in as tasks are done.
    """

    workers: Workers
    before: Mapping[str, Any]
    now: dict[str, Any] = field(default_factory=dict)

    def __call__(
        self, work: Callable[[WaterTask], Any], tasks: Sequence[WaterTask]
    ) -> Iterable[tuple[WaterTask, Any]]:
        """Give every task with its result, those that stand first."""
        read = _curve if work is curve_of else _share
        keys = {task.ranch.slug: _fingerprint(work.__name__, task) for task in tasks}
        rest = []
        for task in tasks:
            key = keys[task.ranch.slug]
            known = self.before.get(key)
            with suppress(LookupError, TypeError, ValueError):
                if known is not None and (work is curve_of or _lies_there(known["record"], task.folder)):
                    stands = read(known)
                    self.now[key] = known
                    yield task, stands
                    continue
            rest.append(task)
        if rest:
            for task, result in self.workers.cluster(len(rest)).each(work, rest):
                if not isinstance(result, str) and not result.problems:
                    self.now[keys[task.ranch.slug]] = _plain(result, task.folder)
                yield task, result


def kept_before(folder: Path) -> Mapping[str, Any]:
    """Read what the last call kept.

    Parameters
    ----------
    folder : Path
        Of the district.

    Returns
    -------
    mapping of str to dict
        Empty where nothing was kept.
    """
    kept = _record(folder).get(KEPT, {})
    return kept if isinstance(kept, dict) else {}


def _record(folder: Path | None) -> dict[str, Any]:
    """Give the record in a folder; empty where there is none or it cannot be read."""
    try:
        return {} if folder is None else record_in(folder)
    except OSError:
        return {}


def _fingerprint(work: str, task: WaterTask) -> str:
    """Tell one task from another: what is asked, of a map made from what, by which versions."""
    page = _record(task.ranch.folder)
    page.pop("timings", None)
    asked = {key: str(value) for key, value in task.asked.items()}
    told = json.dumps([work, task.ranch.slug, asked, page], sort_keys=True)
    return hashlib.sha256(told.encode()).hexdigest()


def _plan_record(folder: Path | None) -> str | None:
    """Give the fingerprint of the record of a plan that lies in a folder with all its files; else None."""
    page, known = _record(folder), outputs.files_of("water").known
    files = page.get("files", ()) if page.get("job") == "water" else ()
    if folder is None or not files or not all(name in known and is_file(folder / name) for name in files):
        return None
    return hashlib.sha256((folder / MARK).read_bytes()).hexdigest()


def _lies_there(record: object, folder: Path | None) -> bool:
    """Tell whether the plan that was kept lies in a folder as it was written; what is not there does not."""
    return record is not None and record == _plan_record(folder)


def _plain(result: RanchCurve | PlannedShare, folder: Path | None) -> dict[str, Any]:
    if isinstance(result, PlannedShare):
        told = {"slug": result.slug, "water_m3": _number(result.water_m3)}
        return told | {"record": _plan_record(folder)}
    arrays = {name: [float(value) for value in getattr(result, name)] for name in ARRAYS}
    numbers = {"area_ha": _number(result.area_ha), "need_m3": _number(result.need_m3)}
    names = {"slug": result.slug, "name": result.name, "why": result.why}
    return names | numbers | arrays | {"gaps": [list(gap) for gap in result.gaps]}


def _number(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _read_number(value: Any) -> float:
    return float("nan") if value is None else float(value)


def _share(kept: dict[str, Any]) -> PlannedShare:
    return PlannedShare(str(kept["slug"]), _read_number(kept["water_m3"]))


def _curve(kept: dict[str, Any]) -> RanchCurve:
    amounts, benefit, past_limit = (np.array(kept[name], dtype=np.float64) for name in ARRAYS)
    return RanchCurve(
        str(kept["slug"]),
        str(kept["name"]),
        _read_number(kept["area_ha"]),
        _read_number(kept["need_m3"]),
        amounts,
        benefit,
        past_limit,
        why=str(kept["why"]),
        gaps=tuple((float(low), float(high)) for low, high in kept["gaps"]),
    )
