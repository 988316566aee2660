"""Compiled kriging kernels: correlation, kriging mean and kriging variance of cells, in vectorised tiles.

Written for the vector units: every innermost loop runs over :data:`TILE` cells with nothing but arithmetic in
it, so that the compiler turns it into vector instructions, and a tile's correlations stay in the cache.
The same tiles give the same bits, whatever thread works on them.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba
import numpy as np

from stressmap.core.own_folder import folder_of_ones_own

TILE = 128
_FAST = {"contract", "nnan", "ninf", "nsz"}
_LOG2E = 1.4426950408889634
_LN2_HIGH = 6.93147180369123816490e-01
_LN2_LOW = 1.90821492927058770002e-10
_SHIFT = 6755399441055744.0  # 1.5·2^52: adding it leaves the nearest integer in the low bits
_ONE_BITS = 0x3FF0000000000000


def compiled(function: Callable[..., Any]) -> Any:
    """Compile a loop, keeping the machine code for the next run where a place to keep it can be written.

    That is beside the source, else the user's folder for caches, else a folder of the user's own among the
    temporary files.

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
    except RuntimeError:  # there is no place that numba knows of
        folder = folder_of_ones_own()
    if folder is None:
        return numba.njit(**options)(function)
    config: Any = numba.config
    usual, config.CACHE_DIR = config.CACHE_DIR, str(folder)
    try:
        return numba.njit(cache=True, **options)(function)
    except RuntimeError:
        pass
    finally:
        config.CACHE_DIR = usual
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
def _doubled_range(ranges):  # type: ignore[no-untyped-def]
    """Tell for every range which other is exactly twice as long, -1 for none."""
    source = np.empty(ranges.shape[0], dtype=np.int64)
    for r in range(ranges.shape[0]):
        source[r] = -1
        for k in range(r + 1, ranges.shape[0]):
            if abs(ranges[k] - 2.0 * ranges[r]) <= 1e-12 * ranges[k]:
                source[r] = k
    return source


@compiled
def _exponentials(kind, distance, scale, source, e, r, power, bits):  # type: ignore[no-untyped-def]
    """Put the exponential part of a correlation into e[r]: squared from twice the range if it can be."""
    if source >= 0:
        for t in range(TILE):
            e[r, t] = e[source, t] * e[source, t]
        if kind == 4:
            for t in range(TILE):
                e[r, t] *= e[r, t]
        return
    for t in range(TILE):
        e[r, t] = distance[t] * scale
    if kind == 4:
        for t in range(TILE):
            e[r, t] *= e[r, t]
    _exp_of_minus(e[r], power, bits)


@compiled
def _polynomial(kind, distance, scale, e, m):  # type: ignore[no-untyped-def]
    """Put the correlation into m, given its exponential part; scale turns distances into its argument."""
    if kind == 0:
        for t in range(TILE):
            u = min(distance[t] * scale, 1.0)
            m[t] = 1.0 + u * (0.5 * u * u - 1.5)
    elif kind == 2:
        for t in range(TILE):
            m[t] = (1.0 + distance[t] * scale) * e[t]
    elif kind == 3:
        for t in range(TILE):
            u = distance[t] * scale
            m[t] = (1.0 + u * (1.0 + u * (1.0 / 3.0))) * e[t]
    else:
        for t in range(TILE):
            m[t] = e[t]


@compiled
def _correlate(kind, px, py, ranges, source, first, cx, cy, work, m, row):  # type: ignore[no-untyped-def]
    """Put the correlations of a tile with the reading at (px, py) into m[r, row[r]], for r from first on.

    The exponential of half a range is that of the whole one squared, so that ranges that halve each other
    cost one exponential together; the longest come last and are worked out first.
    """
    distance, power, bits, e = work
    root = 1.7320508075688772 if kind == 2 else 2.23606797749979 if kind == 3 else 1.0
    for t in range(TILE):
        dx = cx[t] - px
        dy = cy[t] - py
        distance[t] = np.sqrt(dx * dx + dy * dy)
    for r in range(ranges.shape[0] - 1, first - 1, -1):
        scale = root / ranges[r]
        if kind != 0:
            _exponentials(kind, distance, scale, source[r], e, r, power, bits)
        _polynomial(kind, distance, scale, e[r], m[r, row[r]])


@compiled
def _workspace(ranges):  # type: ignore[no-untyped-def]
    """Allocate the work arrays of :func:`_correlate`: distances, powers of two (twice), exponentials."""
    power = np.empty(TILE)
    return np.empty(TILE), power, power.view(np.int64), np.empty((ranges.shape[0], TILE))


@compiled
def _quadratic(n, lower, linear, drift_linear, z, m, s, quad):  # type: ignore[no-untyped-def]
    """Add m'Qm + (linear + z·drift_linear)'m of a tile to quad; Q as a lower triangle, off-diagonal doubled.

    Four rows and four columns at a time, which measured fastest; n is a multiple of four, padded with zeros.
    """
    for i in range(0, n, 4):
        for k in range(4):
            a, b = linear[i + k], drift_linear[i + k]
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
def _shortest_range_in_reach(readings, cx, cy, reach, first):  # type: ignore[no-untyped-def]
    """Find for each reading the shortest range at which it is correlated with a tile, R for none.

    Written out, as all here: whole-array operations take seconds to compile.
    """
    low_x, high_x, low_y, high_y = cx[0], cx[0], cy[0], cy[0]
    for t in range(TILE):
        low_x, high_x = min(low_x, cx[t]), max(high_x, cx[t])
        low_y, high_y = min(low_y, cy[t]), max(high_y, cy[t])
    for i in range(readings.shape[0]):
        dx = max(low_x - readings[i, 0], readings[i, 0] - high_x, 0.0)
        dy = max(low_y - readings[i, 1], readings[i, 1] - high_y, 0.0)
        first[i] = reach.shape[0]
        while first[i] > 0 and dx * dx + dy * dy < reach[first[i] - 1] * reach[first[i] - 1]:
            first[i] -= 1


@compiled
def _submatrix(chosen, count, lower, lines, part, fewer):  # type: ignore[no-untyped-def]
    """Copy the chosen readings' rows and columns into a smaller system, padded as the large one."""
    padded = (count + 3) // 4 * 4
    for a in range(padded):
        for b in range(a // 4 * 4 + 4):
            inside = a < count and b < count
            part[a, b] = lower[chosen[a], chosen[b]] if inside and b <= a else 0.0
        for k in range(3):
            fewer[k, a] = lines[k, chosen[a]] if a < count else 0.0


@compiled
def _correlate_all(kind, readings, ranges, source, first, cx, cy, work, m, row, chosen):  # type: ignore[no-untyped-def]
    """Fill m[r] with a tile's correlations with the readings in reach at range r; row counts them."""
    last = ranges.shape[0]
    for r in range(last):
        row[r] = 0
    for i in range(readings.shape[0]):
        if first[i] < last:
            x, y = readings[i, 0], readings[i, 1]
            _correlate(kind, x, y, ranges, source, first[i], cx, cy, work, m, row)
            for r in range(first[i], last):
                chosen[r, row[r]] = i
                row[r] += 1


@compiled
def krige_cells(xy, drift, readings, kind, ranges, reach, lower, lines, flat, out):  # type: ignore[no-untyped-def]
    """Fill out with mean and variance of cells.

    For a cell, with m the correlations with the n readings at each of the R ranges and z its drift,
    mean = flat[0] + z·flat[1] + sum over ranges of weight'm, and
    variance = flat[2] + z·flat[3] + z²·flat[4] + sum of (m'Qm + (linear + z·drift_linear)'m) - mean².

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
        Linear term, linear term per unit of drift, and weight in the mean.
    flat : array, shape (5,)
        What does not depend on distance.
    out : array, shape (2, m)
        Mean [bar] and variance [bar²], written.
    """
    n, padded, last = readings.shape[0], lower.shape[1], ranges.shape[0]
    m, part, fewer = np.zeros((last, padded, TILE)), np.zeros((padded, padded)), np.zeros((3, padded))
    cx, cy, z, s = np.empty(TILE), np.empty(TILE), np.empty(TILE), np.empty((4, TILE))
    mean, quad, work, source = np.empty(TILE), np.empty(TILE), _workspace(ranges), _doubled_range(ranges)
    first, row = np.empty(n, np.int64), np.empty(last, np.int64)
    chosen = np.zeros((last, padded), dtype=np.int64)
    for start in range(0, xy.shape[0], TILE):
        size = min(TILE, xy.shape[0] - start)
        for t in range(TILE):
            at = start + min(t, size - 1)
            cx[t], cy[t], z[t] = xy[at, 0], xy[at, 1], drift[at]
            mean[t] = flat[0] + z[t] * flat[1]
            quad[t] = flat[2] + z[t] * (flat[3] + z[t] * flat[4])
        _shortest_range_in_reach(readings, cx, cy, reach, first)
        _correlate_all(kind, readings, ranges, source, first, cx, cy, work, m, row, chosen)
        for r in range(last):
            for k in range(row[r], (row[r] + 3) // 4 * 4):
                for t in range(TILE):
                    m[r, k, t] = 0.0
            form, line = lower[r], lines[r]
            if row[r] < n:
                _submatrix(chosen[r], row[r], form, line, part, fewer)
                form, line = part, fewer
            p = (row[r] + 3) // 4 * 4
            _mean(p, line[2], m[r], mean)
            _quadratic(p, form, line[0], line[1], z, m[r], s, quad)
        for t in range(size):
            out[0, start + t] = mean[t]
            out[1, start + t] = max(quad[t] - mean[t] * mean[t], 0.0)


@compiled
def _sum_of_products(a, b):  # type: ignore[no-untyped-def]
    """Sum the products over a tile, eight sums side by side so that it is done in vectors."""
    part, total = np.zeros(8), 0.0
    for t in range(0, TILE, 8):
        for k in range(8):
            part[k] += a[t + k] * b[t + k]
    for k in range(8):
        total += part[k]
    return total


@compiled
def mean_correlation(xy, weight, readings, kind, ranges, reach, out):  # type: ignore[no-untyped-def]
    """Fill out, shape (R, n), with the mean correlation of each reading with the cells xy, shape (m, 2).

    The cells count by weight, shape (m,), which sums to one. Readings further than ``reach`` from a tile of
    cells have none with it; both have shape (R,) [m], rising.
    """
    n, last = readings.shape[0], ranges.shape[0]
    cx, cy, share = np.empty(TILE), np.empty(TILE), np.empty(TILE)
    work, source = _workspace(ranges), _doubled_range(ranges)
    m, row = np.empty((last, 1, TILE)), np.zeros(last, dtype=np.int64)
    first = np.empty(n, np.int64)
    out[:] = 0.0
    for start in range(0, xy.shape[0], TILE):
        size = min(TILE, xy.shape[0] - start)
        for t in range(TILE):
            at = start + min(t, size - 1)
            cx[t], cy[t] = xy[at, 0], xy[at, 1]
            share[t] = weight[at] if t < size else 0.0
        _shortest_range_in_reach(readings, cx, cy, reach, first)
        for i in range(n):
            if first[i] < last:
                x, y = readings[i, 0], readings[i, 1]
                _correlate(kind, x, y, ranges, source, first[i], cx, cy, work, m, row)
                for r in range(first[i], last):
                    out[r, i] += _sum_of_products(share, m[r, 0])


@compiled
def mean_pair_correlation(distance, count, cells, kind, ranges, out):  # type: ignore[no-untyped-def]
    """Fill out, shape (R,), with the mean correlation of all pairs of cells, each with itself included."""
    cx, cy, twice = np.empty(TILE), np.zeros(TILE), np.empty(TILE)
    work, source = _workspace(ranges), _doubled_range(ranges)
    m, row = np.empty((ranges.shape[0], 1, TILE)), np.zeros(ranges.shape[0], dtype=np.int64)
    out[:] = float(cells)
    for start in range(0, distance.shape[0], TILE):
        size = min(TILE, distance.shape[0] - start)
        for t in range(TILE):
            cx[t] = distance[start + min(t, size - 1)]
            twice[t] = 2.0 * count[start + t] if t < size else 0.0
        _correlate(kind, 0.0, 0.0, ranges, source, row[0], cx, cy, work, m, row)  # a plain 0 is compiled anew
        for r in range(ranges.shape[0]):
            out[r] += _sum_of_products(twice, m[r, 0])
    out /= cells * cells
