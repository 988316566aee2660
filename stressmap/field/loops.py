"""Compiled loops: distance, correlation, mean and variance of a cell in one pass, cells side by side.

Written for the vector units: every innermost loop runs over :data:`TILE` cells with nothing but arithmetic in
it, so that the compiler turns it into vector instructions, and a tile's correlations stay in the cache.
The same tiles give the same bits, whatever thread works on them.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba
import numpy as np

TILE = 128
_FAST = {"contract", "nnan", "ninf", "nsz"}
_LOG2E = 1.4426950408889634
_LN2_HIGH = 6.93147180369123816490e-01
_LN2_LOW = 1.90821492927058770002e-10
_SHIFT = 6755399441055744.0  # 1.5·2^52: adding it leaves the nearest integer in the low bits
_ONE_BITS = 0x3FF0000000000000


def compiled(function: Callable[..., Any]) -> Any:
    """Compile a loop, keeping the machine code for the next run where a place to keep it can be written.

    Parameters
    ----------
    function : callable

    Returns
    -------
    callable
    """
    options: dict[str, Any] = {"nogil": True, "fastmath": _FAST, "error_model": "numpy"}
    try:
        return numba.njit(cache=True, **options)(function)
    except RuntimeError:
        return numba.njit(**options)(function)


@compiled
def _exp_of_minus(x, power, bits):  # type: ignore[no-untyped-def]
    """Replace x >= 0 by exp(-x), within two units of the last place: argument reduction and a polynomial."""
    for t in range(TILE):
        y = -min(x[t], 700.0)
        k = y * _LOG2E + _SHIFT
        power[t] = k
        k -= _SHIFT
        r = (y - k * _LN2_HIGH) - k * _LN2_LOW
        p = 2.08767569878681e-09
        p = p * r + 2.505210838544172e-08
        p = p * r + 2.755731922398589e-07
        p = p * r + 2.7557319223985893e-06
        p = p * r + 2.48015873015873e-05
        p = p * r + 1.984126984126984e-04
        p = p * r + 1.388888888888889e-03
        p = p * r + 8.333333333333333e-03
        p = p * r + 4.1666666666666664e-02
        p = p * r + 1.6666666666666666e-01
        p = p * r + 0.5
        p = p * r + 1.0
        x[t] = p * r + 1.0
    for t in range(TILE):
        bits[t] = (bits[t] << 52) + _ONE_BITS
    for t in range(TILE):
        x[t] *= power[t]


@compiled
def _prepare(kind, m, e):  # type: ignore[no-untyped-def]
    """Split the correlation of u = m into a polynomial, left in m, and the exponent of exp(-e)."""
    if kind == 1:
        for t in range(TILE):
            e[t] = m[t]
            m[t] = 1.0
    elif kind == 2:
        for t in range(TILE):
            e[t] = 1.7320508075688772 * m[t]
            m[t] = 1.0 + e[t]
    elif kind == 3:
        for t in range(TILE):
            e[t] = 2.23606797749979 * m[t]
            m[t] = 1.0 + e[t] * (1.0 + e[t] * (1.0 / 3.0))
    else:
        for t in range(TILE):
            e[t] = m[t] * m[t]
            m[t] = 1.0


@compiled
def _correlate(kind, px, py, scale, cx, cy, m, e, power, bits):  # type: ignore[no-untyped-def]
    """Put the correlation of a tile of cells with the reading at (px, py) into m; scale is 1 / range."""
    if kind == 0:
        for t in range(TILE):
            dx = cx[t] - px
            dy = cy[t] - py
            u = min(np.sqrt(dx * dx + dy * dy) * scale, 1.0)
            m[t] = 1.0 + u * (0.5 * u * u - 1.5)
        return
    for t in range(TILE):
        dx = cx[t] - px
        dy = cy[t] - py
        m[t] = np.sqrt(dx * dx + dy * dy) * scale
    _prepare(kind, m, e)
    _exp_of_minus(e, power, bits)
    for t in range(TILE):
        m[t] *= e[t]


@compiled
def _quadratic(n, lower, linear, slope, z, m, s, quad):  # type: ignore[no-untyped-def]
    """Add m'Qm + (linear + z·slope)'m of a tile to quad; Q as a lower triangle with its off-diagonal doubled.

    Four rows and four columns at a time, which measured fastest; n is a multiple of four, padded with zeros.
    """
    for i in range(0, n, 4):
        for k in range(4):
            a, b = linear[i + k], slope[i + k]
            for t in range(TILE):
                s[k, t] = a + z[t] * b
        for j in range(0, i + 4, 4):
            q00, q01, q02, q03 = lower[i, j], lower[i, j + 1], lower[i, j + 2], lower[i, j + 3]
            q10, q11, q12, q13 = (
                lower[i + 1, j],
                lower[i + 1, j + 1],
                lower[i + 1, j + 2],
                lower[i + 1, j + 3],
            )
            q20, q21, q22, q23 = (
                lower[i + 2, j],
                lower[i + 2, j + 1],
                lower[i + 2, j + 2],
                lower[i + 2, j + 3],
            )
            q30, q31, q32, q33 = (
                lower[i + 3, j],
                lower[i + 3, j + 1],
                lower[i + 3, j + 2],
                lower[i + 3, j + 3],
            )
            for t in range(TILE):
                m0, m1, m2, m3 = m[j, t], m[j + 1, t], m[j + 2, t], m[j + 3, t]
                s[0, t] += q00 * m0 + q01 * m1 + q02 * m2 + q03 * m3
                s[1, t] += q10 * m0 + q11 * m1 + q12 * m2 + q13 * m3
                s[2, t] += q20 * m0 + q21 * m1 + q22 * m2 + q23 * m3
                s[3, t] += q30 * m0 + q31 * m1 + q32 * m2 + q33 * m3
        for t in range(TILE):
            quad[t] += (
                m[i, t] * s[0, t] + m[i + 1, t] * s[1, t] + m[i + 2, t] * s[2, t] + m[i + 3, t] * s[3, t]
            )


@compiled
def _mean(n, weight, m, mean):  # type: ignore[no-untyped-def]
    for i in range(n):
        w = weight[i]
        for t in range(TILE):
            mean[t] += w * m[i, t]


@compiled
def _within(readings, cx, cy, reach, chosen):  # type: ignore[no-untyped-def]
    """List the readings within reach of the box around a tile; return how many, all if it is nearly all."""
    low_x, high_x, low_y, high_y = cx.min(), cx.max(), cy.min(), cy.max()
    count = 0
    for i in range(readings.shape[0]):
        dx = max(low_x - readings[i, 0], readings[i, 0] - high_x, 0.0)
        dy = max(low_y - readings[i, 1], readings[i, 1] - high_y, 0.0)
        if dx * dx + dy * dy < reach * reach:
            chosen[count] = i
            count += 1
    if 20 * count > 17 * readings.shape[0]:
        return readings.shape[0]
    return count


@compiled
def _gather(chosen, count, lower, linear, slope, weight, part, lines):  # type: ignore[no-untyped-def]
    """Copy the chosen readings' rows and columns into a smaller system, padded as the large one."""
    padded = (count + 3) // 4 * 4
    for a in range(padded):
        for b in range(a // 4 * 4 + 4):
            inside = a < count and b < count
            part[a, b] = lower[chosen[a], chosen[b]] if inside and b <= a else 0.0
        lines[0, a] = linear[chosen[a]] if a < count else 0.0
        lines[1, a] = slope[chosen[a]] if a < count else 0.0
        lines[2, a] = weight[chosen[a]] if a < count else 0.0
    return padded


@compiled
def krige_cells(xy, drift, readings, kind, ranges, reach, lower, lines, flat, out):  # type: ignore[no-untyped-def]
    """Fill out with mean and variance of cells.

    For a cell, with m the correlations with the n readings at each of the R ranges and z its drift,
    mean = flat[0] + z·flat[1] + sum over ranges of weight'm, and
    variance = flat[2] + z·flat[3] + z²·flat[4] + sum of (m'Qm + (linear + z·slope)'m) - mean².

    Parameters
    ----------
    xy : array, shape (m, 2)
        Cells [m].
    drift : array, shape (m,)
        Standardised covariate.
    readings : array, shape (n, 2)
        [m].
    kind : int
        Code of the correlation.
    ranges, reach : array, shape (R,)
        Ranges, and distances beyond which the correlation is nothing [m].
    lower : array, shape (R, p, p)
        Q, lower triangle, off-diagonal doubled, padded with zeros to a multiple of four, p.
    lines : array, shape (R, 3, p)
        Linear, slope and weight.
    flat : array, shape (5,)
        What does not depend on distance.
    out : array, shape (2, m)
        Mean [bar] and variance [bar²], written.
    """
    n, padded = readings.shape[0], lower.shape[1]
    m, part, fewer = np.zeros((padded, TILE)), np.zeros((padded, padded)), np.zeros((3, padded))
    cx, cy, z, e, power = np.empty(TILE), np.empty(TILE), np.empty(TILE), np.empty(TILE), np.empty(TILE)
    bits, s, mean, quad = power.view(np.int64), np.empty((4, TILE)), np.empty(TILE), np.empty(TILE)
    chosen = np.zeros(padded, dtype=np.int64)
    for start in range(0, xy.shape[0], TILE):
        size = min(TILE, xy.shape[0] - start)
        for t in range(TILE):
            at = start + min(t, size - 1)
            cx[t], cy[t], z[t] = xy[at, 0], xy[at, 1], drift[at]
            mean[t] = flat[0] + z[t] * flat[1]
            quad[t] = flat[2] + z[t] * (flat[3] + z[t] * flat[4])
        for r in range(ranges.shape[0]):
            count = _within(readings, cx, cy, reach[r], chosen)
            for i in range(count):
                k = i if count == n else chosen[i]
                x, y = readings[k, 0], readings[k, 1]
                _correlate(kind, x, y, 1.0 / ranges[r], cx, cy, m[i], e, power, bits)
            for i in range(count, (count + 3) // 4 * 4):
                m[i, :] = 0.0
            if count == n:
                _mean(padded, lines[r, 2], m, mean)
                _quadratic(padded, lower[r], lines[r, 0], lines[r, 1], z, m, s, quad)
            else:
                p = _gather(chosen, count, lower[r], lines[r, 0], lines[r, 1], lines[r, 2], part, fewer)
                _mean(p, fewer[2], m, mean)
                _quadratic(p, part, fewer[0], fewer[1], z, m, s, quad)
        for t in range(size):
            out[0, start + t] = mean[t]
            out[1, start + t] = max(quad[t] - mean[t] * mean[t], 0.0)


@compiled
def mean_correlation(xy, readings, kind, ranges, reach, out):  # type: ignore[no-untyped-def]
    """Fill out, shape (R, n), with the mean correlation of each reading with the cells xy, shape (m, 2).

    Readings further than ``reach`` from a tile of cells have none with it; both have shape (R,) [m].
    """
    cx, cy, m, e, power = np.empty(TILE), np.empty(TILE), np.empty(TILE), np.empty(TILE), np.empty(TILE)
    bits = power.view(np.int64)
    chosen = np.zeros(readings.shape[0], dtype=np.int64)
    out[:] = 0.0
    for start in range(0, xy.shape[0], TILE):
        size = min(TILE, xy.shape[0] - start)
        for t in range(TILE):
            at = start + min(t, size - 1)
            cx[t], cy[t] = xy[at, 0], xy[at, 1]
        for r in range(ranges.shape[0]):
            count = _within(readings, cx, cy, reach[r], chosen)
            for a in range(count):
                i = a if count == readings.shape[0] else chosen[a]
                x, y = readings[i, 0], readings[i, 1]
                _correlate(kind, x, y, 1.0 / ranges[r], cx, cy, m, e, power, bits)
                total = 0.0
                for t in range(size):
                    total += m[t]
                out[r, i] += total / xy.shape[0]


@compiled
def _place_in(keys, key):  # type: ignore[no-untyped-def]
    """Find where a key is, or would be, in a table of a power of two places, -1 being empty."""
    mask = keys.shape[0] - 1
    place = np.int64((np.uint64(key) * np.uint64(11400714819323198485)) >> np.uint64(40)) & mask
    while keys[place] != -1 and keys[place] != key:
        place = (place + 1) & mask
    return place


@compiled
def pair_distances(xy):  # type: ignore[no-untyped-def]
    """Count how often each distance lies between two different cells.

    Cells come from a lattice, so a hundred thousand pairs have a few thousand distances among them. Distances
    whose squares are equal to a tenth of a thousandth of a square metre are taken as one.

    Parameters
    ----------
    xy : array, shape (m, 2)
        Cells [m].

    Returns
    -------
    distance : array, shape (k,)
        [m].
    count : array, shape (k,)
        Of pairs, each taken once.
    """
    keys = np.full(4096, -1, dtype=np.int64)
    squares, counts, used = np.zeros(4096), np.zeros(4096), 0
    for i in range(xy.shape[0]):
        for j in range(i):
            dx, dy = xy[i, 0] - xy[j, 0], xy[i, 1] - xy[j, 1]
            square = dx * dx + dy * dy
            place = _place_in(keys, np.int64(square * 1e4 + 0.5))
            if keys[place] == -1:
                keys[place], squares[place] = np.int64(square * 1e4 + 0.5), square
                used += 1
            counts[place] += 1.0
        if 2 * used > keys.shape[0] - 2 * i:
            old = np.flatnonzero(keys >= 0)
            grown = np.full(4 * keys.shape[0], -1, dtype=np.int64)
            wider, more = np.zeros(grown.shape[0]), np.zeros(grown.shape[0])
            for place in old:
                to = _place_in(grown, keys[place])
                grown[to], wider[to], more[to] = keys[place], squares[place], counts[place]
            keys, squares, counts = grown, wider, more
    there = np.flatnonzero(keys >= 0)
    return np.sqrt(squares[there]), counts[there]


@compiled
def mean_pair_correlation(distance, count, cells, kind, ranges, out):  # type: ignore[no-untyped-def]
    """Fill out, shape (R,), with the mean correlation of all pairs of cells, each with itself included."""
    cx, cy, m, e, power = np.empty(TILE), np.zeros(TILE), np.empty(TILE), np.empty(TILE), np.empty(TILE)
    bits = power.view(np.int64)
    for r in range(ranges.shape[0]):
        total = float(cells)
        for start in range(0, distance.shape[0], TILE):
            size = min(TILE, distance.shape[0] - start)
            for t in range(TILE):
                cx[t] = distance[start + min(t, size - 1)]
            _correlate(kind, 0.0, 0.0, 1.0 / ranges[r], cx, cy, m, e, power, bits)
            for t in range(size):
                total += 2.0 * count[start + t] * m[t]
        out[r] = total / (cells * cells)
