"""The record of a ranch, opened where there is one: nobody else waits for the library that reads it."""

from __future__ import annotations

from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from stressmap.core.settings import Settings
from stressmap.core.sources import InputSource
from stressmap.intake.record_inputs import RecordRows, record_logs

if TYPE_CHECKING:
    from stressmap.store.ranch_record import RanchRecord


def record_of(chosen: Settings) -> RanchRecord:
    """Give the record of a ranch, whether it is there or not.

    Parameters
    ----------
    chosen : Settings
        Of the ranch.

    Returns
    -------
    RanchRecord
    """
    from stressmap.store.ranch_record import RanchRecord

    return RanchRecord(chosen.record, chosen.ranch.name)


def record_rows(chosen: Settings) -> RecordRows | None:
    """Read what the record of a ranch holds.

    Parameters
    ----------
    chosen : Settings
        Of the ranch.

    Returns
    -------
    RecordRows or None
        None where there is no record.

    Raises
    ------
    DataError
        If it cannot be read.
    """
    if not chosen.record.may_exist():
        return None
    from stressmap.store.ranch_record import fingerprint

    record = record_of(chosen)
    readings, times = record.rows("readings"), record.rows("valve_times")
    sha256 = fingerprint({"readings": readings, "valve_times": times})
    return RecordRows(str(chosen.record), readings, times, sha256, record.other_ranches())


def logged(record: RecordRows | None, zone: ZoneInfo) -> tuple[InputSource, ...]:
    """Give the record's logs, if it holds any, as files of it.

    Parameters
    ----------
    record : RecordRows or None
        Of the ranch.
    zone : ZoneInfo
        The ranch's.

    Returns
    -------
    tuple of InputSource
        None where no water ran.
    """
    return () if record is None else record_logs(record, zone)
