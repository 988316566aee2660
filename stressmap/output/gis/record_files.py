"""Everything that a record holds, as CSV and GeoPackage: every version, and where each row came from."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path
from zoneinfo import ZoneInfo

import geopandas as gpd
import pandas as pd

from stressmap.output.gis.csv_tables import write_csv
from stressmap.output.gis.geopackage import write_tables
from stressmap.store.ranch_record import HeldRecord
from stressmap.store.record_tables import BESIDE, KINDS, TABLES, Kind, content_of

TABLE_OF = {"readings": "record_readings.csv", "valve_times": "record_valve_times.csv"}
NAMES = ("record_files.csv", *TABLE_OF.values(), "record.gpkg")
"""Of the files, in the order in which they are told."""
ID_OF = {"readings": "reading_id", "valve_times": "entry_id"}
"""What a phone calls its own name of a row."""
FILE_COLUMNS = {"id": "file_id", "name": "file", "kind": "kind", "sha256": "sha256", "added_at": "added_at",
                "added_by": "added_by"}  # fmt: skip
"""Of the record's table of imports, and as they are called here."""


def write_record(held: HeldRecord, folder: Path, zone: ZoneInfo) -> None:
    """Write the tables of a record.

    Parameters
    ----------
    held : HeldRecord
        What it holds.
    folder : Path
        Where.
    zone : ZoneInfo
        The ranch's, in which times are written, with their offset; figures are written as they are kept.
    """
    files = _files(held, zone)
    write_csv(files, folder / NAMES[0])
    layers: dict[str, pd.DataFrame] = {"files": files}
    for kind in KINDS:
        table = _rows(kind, held, zone)
        write_csv(table, folder / TABLE_OF[kind])
        layers[kind] = table.astype(dict.fromkeys(_columns_of(kind, float), float))
    layers["readings"] = _placed(layers["readings"])
    write_tables(layers, folder / NAMES[-1])


def _files(held: HeldRecord, zone: ZoneInfo) -> pd.DataFrame:
    table = pd.DataFrame(list(held.imports), columns=list(FILE_COLUMNS), dtype=object)
    table["added_at"] = [_local(moment, zone) for moment in table["added_at"]]
    return table.rename(columns=FILE_COLUMNS).astype({"file_id": int})


def _rows(kind: Kind, held: HeldRecord, zone: ZoneInfo) -> pd.DataFrame:
    """Give every version of every row, the one in use marked, with the file and the row it stood in."""
    rows = held.rows.get(kind, ())
    table = pd.DataFrame(list(rows), columns=[*BESIDE, *content_of(kind)], dtype=object)
    last = table.groupby("key")["version"].transform("max")
    withdrawn = table["withdrawn"].astype(bool)
    phone = table["key"].astype("str").str.extract(r"^id:(.*)$", flags=re.DOTALL)[0]
    files = {row["id"]: row for row in held.imports}
    came = [files[number] for number in table["import_id"]]
    for name in _columns_of(kind, dt.datetime):
        table[name] = [_local(moment, zone) for moment in table[name]]
    beside = {
        "id": table["id"].astype(int),
        ID_OF[kind]: phone.astype(object).where(phone.notna(), None),
        "version": table["version"].astype(int),
        "in_use": (table["version"] == last) & ~withdrawn,
        "withdrawn": withdrawn,
        "file": [row["name"] for row in came],
        "file_row": table["source_row"].astype(int),
        "file_id": table["import_id"].astype(int),
        "added_at": [_local(row["added_at"], zone) for row in came],
        "key": table["key"],
    }
    return pd.DataFrame(beside | {name: table[name] for name in content_of(kind)})


def _columns_of(kind: Kind, python_type: type) -> list[str]:
    columns = (TABLES[kind].columns[name] for name in content_of(kind))
    return [column.name for column in columns if column.type.python_type is python_type]


def _local(moment: dt.datetime | None, zone: ZoneInfo) -> str | None:
    return None if moment is None else moment.replace(tzinfo=dt.UTC).astimezone(zone).isoformat()


def _placed(readings: pd.DataFrame) -> gpd.GeoDataFrame:
    points = gpd.GeoSeries(gpd.points_from_xy(readings["lon"], readings["lat"]), crs="EPSG:4326")
    return gpd.GeoDataFrame(readings, geometry=points.where(readings[["lon", "lat"]].notna().all(axis=1)))
