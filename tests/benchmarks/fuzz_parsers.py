"""Feed damaged files to the parsers, guided by the code that they reach: by hand, never by CI.

    python -m pip install atheris
    nice python tests/benchmarks/fuzz_parsers.py TARGET [SECONDS] [FOLDER]

Atheris is not among the test requirements, for it is not to be had for every platform. It starts from the
awkward files of the tests and from the demo. A finding is any exception but the program's own, a warning that
the terminal would show, a refusal that does not name its file, an input that takes over 10 s, or a process
that grows over 1 GB. The first input of each kind is kept in FOLDER and the run goes on; give that file in
the place of SECONDS to see its traceback. ``check`` takes a whole small ranch through the checks, one of its
files damaged.
"""

from __future__ import annotations

import io
import sys
import tempfile
import traceback
import warnings
import zipfile
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from zoneinfo import ZoneInfo

import atheris

TESTS = Path(__file__).parents[1]
sys.path.insert(0, str(TESTS))

from pyproj import CRS  # noqa: E402 - after the path is set

with atheris.instrument_imports(include=["stressmap", "openpyxl", "zipfile", "tomllib"]):
    import openpyxl  # noqa: F401 - the package imports it only where it is used
    from helpers import small_ranch
    from helpers.invented_ranch import settings as ranch_settings

    from stressmap.core.errors import DataError, StressmapError
    from stressmap.core.settings import load
    from stressmap.intake.blocks_and_valves import read_blocks, read_valves
    from stressmap.intake.irrigation_log import read_irrigation
    from stressmap.intake.readings import read_readings
    from stressmap.intake.weather import read_weather
    from stressmap.intake.workbook import read_workbook  # noqa: F401 - likewise
    from stressmap.jobs import check

MOST_BYTES = 150_000
DAMAGED = ("readings.csv", "blocks.geojson", "valves.gpkg", "weather.csv", "irrigation.csv", "ranch.toml")
"""Files of the small ranch; the first byte of an input of ``check`` chooses among them."""


def whole_ranch(path: Path) -> None:
    data = path.read_bytes()
    file = path.parent / DAMAGED[data[0] % len(DAMAGED)]
    sound = file.read_bytes()
    try:
        file.write_bytes(data[1:])
        check.check(path.parent / "ranch.toml")
    finally:
        file.write_bytes(sound)


def seeds(folder: Path, pattern: str) -> Iterator[bytes]:
    """Give the files of the tests and the demo that fit, long tables cut to their first lines."""
    root = TESTS.parent
    for place in (TESTS / "awkward", root / "demo_gis", root / "config", folder):
        for file in sorted(place.rglob(pattern)):
            data = file.read_bytes()
            text = file.suffix in {".csv", ".tsv", ".txt"}
            yield b"\n".join(data.split(b"\n")[:40]) if text else data


def polygons(folder: Path) -> None:
    """Write the kinds of polygon files that the demo lacks: KML, KMZ and a zipped Shapefile."""
    table = small_ranch.blocks().to_crs("EPSG:4326")
    marks = "".join(
        f"<Placemark><name>{name}</name><description>crop: prune</description><Polygon><outerBoundaryIs>"
        f"<LinearRing><coordinates>{' '.join(f'{x},{y}' for x, y in shape.exterior.coords)}</coordinates>"
        "</LinearRing></outerBoundaryIs></Polygon></Placemark>"
        for name, shape in zip(table["block"], table.geometry, strict=True)
    )
    (folder / "b.kml").write_text(f'<kml xmlns="http://www.opengis.net/kml/2.2">{marks}</kml>')
    packed({"doc.kml": (folder / "b.kml").read_bytes()}, folder / "b.kmz")
    table.to_file(folder / "b.shp")
    packed({p.name: p.read_bytes() for p in folder.glob("b.[sdp]*")}, folder / "b.zip")


def packed(parts: dict[str, bytes], to: Path | io.BytesIO) -> None:
    with zipfile.ZipFile(to, "w") as archive:
        for name, data in parts.items():
            archive.writestr(name, data)


def inside_zips(data: bytes, most: int, seed: int) -> bytes:
    """Damage one part of a zip and pack it again: a damaged zip is refused before its parts are read."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = {name: archive.read(name) for name in archive.namelist()}
        name = sorted(parts)[seed % len(parts)]
    except Exception:
        return atheris.Mutate(data, most)
    if seed % 7 == 0:
        return atheris.Mutate(data, most)
    made = io.BytesIO()
    packed(parts | {name: atheris.Mutate(parts[name], max(1, min(most, 2 * len(parts[name]) + 64)))}, made)
    return made.getvalue()[:most]


Read = Callable[[Path], object]
READINGS: Read = partial(read_readings, settings=ranch_settings())
OUTLINES: tuple[Read, ...] = (
    partial(read_blocks, crs=None),
    partial(read_valves, crs=CRS(small_ranch.CRS)),
)
CLOCK = {"zone": ZoneInfo("America/Los_Angeles")}
TARGETS: dict[str, tuple[tuple[Read, ...], str]] = {
    "settings": ((load,), "*.toml"),
    "readings_text": ((READINGS,), "readings/*.[ct][sx][vt]"),
    "readings_xlsx": ((READINGS,), "*.xlsx"),
    "readings_geojson": ((READINGS,), "readings/*.geojson"),
    "readings_gpkg": ((READINGS,), "readings/*.gpkg"),
    "readings_gpx": ((READINGS,), "*.gpx"),
    "outlines_geojson": (OUTLINES, "[bv]*s.geojson"),
    "outlines_gpkg": (OUTLINES, "valves.gpkg"),
    "outlines_kml": (OUTLINES, "*.kml"),
    "outlines_kmz": (OUTLINES, "*.kmz"),
    "outlines_zip": (OUTLINES, "*.zip"),
    "weather": ((partial(read_weather, **CLOCK),), "weather.csv"),
    "irrigation": ((partial(read_irrigation, **CLOCK),), "irrigation.csv"),
    "check": ((whole_ranch,), ""),
}
ZIPS = ("readings_xlsx", "outlines_kmz", "outlines_zip")


def judge(readers: tuple[Read, ...], path: Path, found: Path | None, seen: set[str], data: bytes) -> None:
    """Read one input with each reader; keep the first input of each kind that breaks the law."""
    for read in readers:
        path.write_bytes(data or b"\n")
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error")
                read(path)
        except StressmapError as refusal:
            named = all(str(p).startswith(str(path.parent)) for p in refusal.problems)
            if not named and isinstance(refusal, DataError):
                keep(f"names no file: {refusal}", found, seen, data)
        except Exception as error:
            if found is None:
                raise
            step = [s for s in traceback.extract_tb(error.__traceback__) if "stressmap/" in s.filename][-1]
            kind = f"{type(error).__name__}-{Path(step.filename).stem}-{step.lineno}"
            keep(f"{kind}: {error}", found, seen, data)


def keep(what: str, found: Path | None, seen: set[str], data: bytes) -> None:
    kind = what.partition(":")[0].replace(" ", "_")
    if kind not in seen:
        seen.add(kind)
        print(f"\nFINDING {what[:300]}", file=sys.stderr, flush=True)
        if found is not None:
            (found / kind).write_bytes(data)


def main(target: str, length: str = "300", found: str = ".") -> None:
    readers, pattern = TARGETS[target]
    work = Path(tempfile.mkdtemp(prefix="fuzz_"))
    corpus = work / "corpus"
    corpus.mkdir()
    small_ranch.write(work)
    polygons(work)
    starts = (
        list(seeds(work, pattern))
        if pattern
        else [bytes([at]) + (work / name).read_bytes() for at, name in enumerate(DAMAGED)]
    )
    for at, data in enumerate(starts):
        (corpus / str(at)).write_bytes(data[:MOST_BYTES])
    path = work / ("input.zip" if target in ZIPS else "input")
    if Path(length).is_file():
        judge(readers, path, None, set(), Path(length).read_bytes())
        return
    limits = [f"-max_total_time={length}", "-timeout=10", "-rss_limit_mb=1024", f"-max_len={MOST_BYTES}"]
    atheris.Setup(
        [sys.argv[0], str(corpus), f"-artifact_prefix={found}/", *limits],
        partial(judge, readers, path, Path(found), set()),
        custom_mutator=inside_zips if target in ZIPS else None,
    )
    atheris.Fuzz()


if __name__ == "__main__":
    main(*sys.argv[1:])
