"""An invented ranch as a finished run, to draw maps and sheets from without running the main job."""

import dataclasses
import datetime as dt
from pathlib import Path
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely.geometry import Point, box

from stressmap.core.notes import Note
from stressmap.core.settings import Ranch
from stressmap.output.paper.picture import picture_bytes
from stressmap.output.view.content import Content, Raster

CRS = "EPSG:32610"
EAST, NORTH = 600_000.0, 4_400_000.0
NASTY = "<script>window.hurt=1</script>\"'&\u2028\U0001f333 " + "x" * 20
LONG = "The sixty-character block whose name nobody ever shortened!!"
LABELS = {
    1: ("water first", "regar primero"), 2: ("water next", "regar enseguida"),
    3: ("watch", "vigilar"), 4: ("can wait", "puede esperar"),
}  # fmt: skip
ZONE = ZoneInfo("America/Los_Angeles")
START = pd.Timestamp("2026-07-14 13:20", tz=ZONE)
CELL = 10.0


def small() -> Content:
    """Three blocks, eight valves, names that bite."""
    return ranch([("B1", "prune", 3), (NASTY, "prune", 3), (LONG, "almond", 2)], across=3)


def large() -> Content:
    """250 blocks of six valves, six readings a block."""
    return ranch([(f"B{i + 1:03d}", "prune", 6) for i in range(250)], across=18, a_block=6)


def priority_of(stress: float) -> int:
    return 4 - int(np.searchsorted([0.0, 2.0, 4.0], stress, side="left"))


def ranch(plan: list[tuple[str, str, int]], *, across: int, a_block: int = 5, **more: object) -> Content:
    draw = np.random.default_rng(11)
    blocks, valves, zones, readings, cells = [], [], [], [], []
    for b, (name, crop, count) in enumerate(plan):
        west, south = EAST + (b % across) * 460.0, NORTH + (b // across) * 340.0
        outline = box(west, south, west + 420, south + 300)
        level = 2.0 + 2.4 * np.sin(1.7 * b) + (2.0 if b == 1 else 0.0)
        blocks.append({"block": name, "crop": crop, "readings": a_block, "geometry": outline})
        rows = valve_rows(name, crop, count, outline, level, a_block)
        valves += rows
        zones += zone_rows(name, outline, level)
        readings += reading_rows(name, rows, a_block, draw)
        cells.append(cell_rows(rows, draw))
    return assemble(blocks, valves, zones, readings, np.vstack(cells), **more)


def valve_rows(block, crop, count, outline, level, a_block):
    west, south, east, north = outline.bounds
    width = (east - west) / count
    rows = []
    for v in range(count):
        stress = level + 1.6 * (v - (count - 1) / 2)
        target = -14.0 if crop == "prune" else -12.0
        rows.append({
            "valve": f"{block[:12]}-{v + 1}", "block": block, "crop": crop, "area_ha": width * 300 / 1e4,
            "readings": a_block // count, "stress_bar": stress, "stress_se_bar": 0.7,
            "low_bar": stress - 1.15, "high_bar": stress + 1.15, "swp_bar": target - stress,
            "target_bar": target, "baseline_bar": -8.2, "priority": priority_of(stress),
            "p_first": 0.9 if stress > 4 else 0.03, "confidence": 0.82,
            "last_irrigated": dt.datetime(2026, 7, 6, 18, 30, tzinfo=ZONE) if v else None,
            "geometry": box(west + v * width, south, west + (v + 1) * width, north),
        })  # fmt: skip
    return rows


def zone_rows(block, outline, level):
    west, south, east, north = outline.bounds
    halves = [
        (box(west, south, east, south + 120), level - 1.5),
        (box(west, south + 120, east, north), level + 1),
    ]
    return [
        {"block": block, "priority": priority_of(s), "area_ha": shape.area / 1e4, "stress_bar": s,
         "stress_se_bar": 0.8, "confidence": 0.7, "geometry": shape}
        for shape, s in halves
    ]  # fmt: skip


def reading_rows(block, rows, count, draw):
    made = []
    for i in range(count):
        valve = rows[i % len(rows)]
        west, south, east, north = valve["geometry"].bounds
        spot = Point(draw.uniform(west + 10, east - 10), draw.uniform(south + 10, north - 10))
        stress = valve["stress_bar"] + draw.normal(0, 0.8)
        flags, used = ("", True)
        if i == 1:
            flags, used = "outside_window;short_bag", False
        if i == 2:
            flags, used = "near_boundary", True
        made.append({
            "tree_id": f"{block[:6]}/{i + 1}", "used": used, "flags": flags, "block": block,
            "valve": valve["valve"], "time": START + pd.Timedelta(minutes=4 * i),
            "pressure_bar": valve["stress_bar"] - valve["target_bar"],
            "swp_bar": valve["target_bar"] - stress, "target_bar": valve["target_bar"], "baseline_bar": -8.2,
            "stress_bar": stress, "vpd_kpa": 3.4, "predicted_bar": valve["stress_bar"], "z_score": 0.4,
            "geometry": spot,
        })  # fmt: skip
    return made


def cell_rows(rows, draw):
    made = []
    for valve in rows:
        west, south, east, north = valve["geometry"].bounds
        x, y = np.meshgrid(np.arange(west + CELL / 2, east, CELL), np.arange(south + CELL / 2, north, CELL))
        stress = valve["stress_bar"] + 1.2 * np.sin((x - EAST) / 60) * np.cos((y - NORTH) / 45)
        se = 0.5 + 0.4 * np.abs(np.sin((x + y) / 90)) + 0.05 * draw.random()
        made.append(np.column_stack([x.ravel(), y.ravel(), stress.ravel(), se.ravel()]))
    return np.vstack(made)


def assemble(blocks, valves, zones, readings, cells, **more):
    valves = sorted(valves, key=lambda row: -row["stress_bar"])
    for rank, row in enumerate(valves, start=1):
        row["rank"] = rank
    for row in [*valves, *zones]:
        row["measured"] = True
        row["label_en"], row["label_es"] = LABELS[row["priority"]]
    readings.append(readings[0] | {
        "tree_id": None, "used": False, "flags": "no_place", "block": None, "valve": None, "geometry": None,
    })  # fmt: skip
    readings.append(readings[1] | {
        "tree_id": "far/1", "used": False, "flags": "outside_blocks", "block": None, "valve": None,
        "stress_bar": np.nan, "geometry": Point(EAST - 60, NORTH + 150),
    })  # fmt: skip
    for row, reading in enumerate(readings, start=2):
        reading |= {"row": row, "file": "readings.csv"}
    col, row = (cells[:, 0] - EAST) // CELL, (cells[:, 1].max() + CELL / 2 - cells[:, 1]) // CELL
    raster = Raster(
        crs=CRS, west=EAST, north=float(cells[:, 1].max() + CELL / 2), cell_m=CELL,
        shape=(int(row.max()) + 1, int(col.max()) + 1), row=row.astype(np.int64), col=col.astype(np.int64),
        stress_bar=cells[:, 2], stress_se_bar=cells[:, 3],
    )  # fmt: skip
    frames = [
        gpd.GeoDataFrame(rows, geometry="geometry", crs=CRS) for rows in (blocks, zones, valves, readings)
    ]
    settings = Ranch(name="Willow <Flat> & Sons", timezone="America/Los_Angeles", **more)
    return Content(
        ranch=settings, visit=(dt.date(2026, 7, 14), dt.date(2026, 7, 15)), rank_by="below_target",
        edges_bar={"prune": (0.0, 2.0, 4.0), "almond": (0.0, 2.0, 4.0)}, method="structured",
        blocks=frames[0], zones=frames[1], valves=frames[2], readings=frames[3], raster=raster,
        notes=(
            Note.of("deficit_no_weather", "caution", none=True, count=9, total=9),
            Note.of("blocks_without_valve", blocks=[NASTY]),
        ),
    )  # fmt: skip


def full() -> Content:
    """The small ranch with everything that a later run may add: plan, timetable, look-again, change."""
    content = small()
    still = "no clear change"
    valves = content.valves.assign(
        tied_group=[1, 1, 0, 2, 2, 2, 0, 0],
        irrigated_between=True,
        change=["relieved", still, "drier", still, still, "drier", "relieved", still],
        change_bar=[-3.0, 0.2, 2.5, -0.4, 0.1, 1.9, -2.2, 0.6],
        change_se_bar=0.8,
    )
    hours = [10.5, 10.5, 8.25, 6.0, 6.0, 0.0, 0.0, 0.0]
    start = pd.Timestamp("2026-07-16 20:00", tz=ZONE)
    plan = pd.DataFrame(
        {
            "valve": valves["valve"],
            "hours": hours,
            "mm": [4.2 * h for h in hours],
            "m3": [180.0 * h for h in hours],
        }
    )
    watered = plan[plan["hours"] > 0]
    sets = [(v, start + pd.Timedelta(hours=12 * k), start + pd.Timedelta(hours=12 * k + h))
            for k, (v, h) in enumerate(zip(watered["valve"], watered["hours"], strict=True))]  # fmt: skip
    trees = content.readings[content.readings.geometry.notna() & content.readings["used"]].iloc[:3]
    return dataclasses.replace(
        content, valves=valves, previous_visit=dt.date(2026, 6, 30), water_plan=plan,
        timetable=pd.DataFrame(sets, columns=["valve", "start", "end"]),
        look_again=trees[["tree_id", "block", "valve", "geometry"]],
    )  # fmt: skip


def unmeasured(content: Content, block: str = "B1", *, ranked: bool = True) -> Content:
    """The same without a reading in one block, its valve zones ranked all the same or listed last."""
    bare = {name: getattr(content, name)["block"] == block for name in ("blocks", "valves", "zones")}
    blocks = content.blocks.assign(readings=content.blocks["readings"].where(~bare["blocks"], 0))
    valves = content.valves.assign(measured=~bare["valves"])
    if not ranked:
        valves = pd.concat([valves[valves["measured"]], valves[~valves["measured"]]], ignore_index=True)
        order = range(1, len(valves) + 1)
        ranks = [n if known else None for n, known in zip(order, valves["measured"], strict=True)]
        valves["rank"] = pd.array(ranks, dtype="Int64")
    zones = content.zones.assign(measured=~bare["zones"])
    mine = content.readings["block"] == block
    return dataclasses.replace(
        content, blocks=blocks, valves=valves, zones=zones, readings=content.readings[~mine]
    )


def write_picture(content: Content, path: Path) -> None:
    """Draw ``map.png``."""
    path.write_bytes(picture_bytes(content))
