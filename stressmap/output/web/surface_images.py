"""The surface as small lossless pictures that a web map can lay over its zones."""

from __future__ import annotations

import base64
import math
import struct
import zlib
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyproj
from numpy.typing import NDArray
from pyproj import Transformer
from rasterio.crs import CRS
from rasterio.transform import Affine
from rasterio.warp import Resampling, reproject

from stressmap.core.antimeridian import HALF, around
from stressmap.output.view.content import Raster, stretches
from stressmap.output.view.palette import ramp

LEVELS = 200
MOST_PIXELS = 4_000_000
WEB = "EPSG:3857"
WEB_FROM_180 = "+proj=webmerc +datum=WGS84 +units=m +no_defs +lon_0=180"
"""The projection of web maps with its jump at Greenwich, for a ranch across the meridian of 180 degrees."""


@dataclass(frozen=True)
class Picture:
    """An image and where it goes.

    Parameters
    ----------
    uri : str
        PNG as a data URI; transparent outside blocks.
    corners : tuple of float
        South, west, north, east [degrees, WGS 84]; across the meridian of 180 degrees the east is beyond 180.
    low, high : float
        Figures [bar] of the ramp's first and last colour.
    """

    uri: str
    corners: tuple[float, float, float, float]
    low: float
    high: float


def draw_surface(
    raster: Raster, values: NDArray[np.floating[Any]], colours: tuple[str, ...], span: tuple[float, float]
) -> Picture:
    """Colour one value a cell and warp it to the projection of web maps.

    Parameters
    ----------
    raster : Raster
        Where the cells are.
    values : array of float, shape (m,)
        [bar]; NaN stays transparent.
    colours : tuple of str
        Ramp from the lowest to the highest figure.
    span : tuple of float
        Figures of the ramp's ends [bar]; beyond them the end colours are used.

    Returns
    -------
    Picture
        At most 4 million pixels, however fine the cells are; indexed colours, so a few per cent of that in
        bytes.
    """
    warped, corners = _to_web(raster.grid(_levels(values, span), 0), raster)
    palette = np.vstack([[0, 0, 0], ramp(colours, LEVELS)]).astype(np.uint8)
    uri = "data:image/png;base64," + base64.b64encode(png(warped, palette)).decode("ascii")
    return Picture(uri, corners, *span)


def _levels(values: NDArray[np.floating[Any]], span: tuple[float, float]) -> NDArray[np.uint8]:
    """Give the place of each figure on the ramp, from 1; 0 for what is missing."""
    low, high = span
    levels = np.zeros(len(values), dtype=np.uint8)
    for part in stretches(len(values)):
        share = np.clip((values[part] - low) / max(high - low, 1e-9), 0, 1)
        known = np.isfinite(share)
        levels[part][known] = 1 + np.rint(share[known] * (LEVELS - 1)).astype(np.uint8)
    return levels


def _to_web(
    index: NDArray[np.uint8], raster: Raster
) -> tuple[NDArray[np.uint8], tuple[float, float, float, float]]:
    rows, columns = raster.shape
    east, south = raster.west + columns * raster.cell_m, raster.north - rows * raster.cell_m
    web, centre = _web(raster.crs, (raster.west, east), (south, raster.north))
    to_web = Transformer.from_crs(raster.crs, web, always_xy=True)
    left, bottom, right, top = to_web.transform_bounds(raster.west, south, east, raster.north)
    side = raster.cell_m * (right - left) / (east - raster.west)
    side *= max(1.0, ((right - left) * (top - bottom) / side**2 / MOST_PIXELS) ** 0.5)
    width, height = math.ceil((right - left) / side), math.ceil((top - bottom) / side)
    warped = np.zeros((height, width), dtype=np.uint8)
    reproject(
        index,
        warped,
        src_transform=Affine(raster.cell_m, 0, raster.west, 0, -raster.cell_m, raster.north),
        src_crs=CRS.from_user_input(raster.crs),
        dst_transform=Affine(side, 0, left, 0, -side, top),
        dst_crs=CRS.from_wkt(web.to_wkt()),
        resampling=Resampling.nearest,
    )
    to_degrees = Transformer.from_crs(web, "EPSG:4326", always_xy=True)
    west, low = to_degrees.transform(left, top - height * side)
    far, high = to_degrees.transform(left + width * side, top)
    west, far = around(np.array([west, far]), centre).round(7).tolist()
    return warped, (round(low, 7), west, round(high, 7), far)


def _web(crs: str, across: tuple[float, float], along: tuple[float, float]) -> tuple[pyproj.CRS, float]:
    """Choose the projection of web maps that has no jump here, and the longitude in its middle [degrees]."""
    to_degrees = Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
    longitudes, _ = to_degrees.transform(*np.meshgrid(across, along))
    if np.ptp(longitudes) <= HALF:
        return pyproj.CRS(WEB), 0.0
    return pyproj.CRS(WEB_FROM_180), HALF


def png(index: NDArray[np.uint8], palette: NDArray[np.uint8]) -> bytes:
    """Encode an indexed image; index 0 is transparent.

    Parameters
    ----------
    index : array of uint8, shape (rows, columns)
        Colour of each pixel.
    palette : array of uint8, shape (k, 3)
        Red, green, blue of each index, k up to 256.

    Returns
    -------
    bytes
        A PNG (ISO/IEC 15948) with nothing in it that changes from run to run.
    """
    rows, columns = index.shape
    scanlines = np.zeros((rows, columns + 1), dtype=np.uint8)
    scanlines[:, 1:] = index
    header = struct.pack(">IIBBBBB", columns, rows, 8, 3, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        _chunk(kind, body)
        for kind, body in (
            (b"IHDR", header),
            (b"PLTE", palette.tobytes()),
            (b"tRNS", b"\x00"),
            (b"IDAT", zlib.compress(scanlines.tobytes(), 9)),
            (b"IEND", b""),
        )
    )


def _chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
