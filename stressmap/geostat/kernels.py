"""Compiled kriging kernels: correlation, kriging mean and kriging variance of cells, in vectorised tiles.

Written for the vector units: every innermost loop runs over :data:`TILE` cells with nothing but arithmetic in
it, so that the compiler turns it into vector instructions, and a tile's correlations stay in the cache.
The same tiles give the same bits, whatever thread works on them.
"""

from __future__ import annotations

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.core.compiled_code import compiled, inner

TILE = 128
_LOG2E = 1.4426950408889634
_LN2_HIGH = 6.93147180369123816490e-01
_LN2_LOW = 1.90821492927058770002e-10
_SHIFT = 6755399441055744.0  # 1.5·2^52: adding it leaves the nearest integer in the low bits
_ONE_BITS = 0x3FF0000000000000
_FAR_M = 1e100


@inner
def _exp_of_minus(x, r, power, bits):  # type: ignore[no-untyped-def]
    """Replace x[r] >= 0 by exp(-x[r]), within two units of the last place: by a polynomial."""
    for t in range(TILE):
        y = -x[r, t] if x[r, t] < 700.0 else -700.0
        k = y * _LOG2E + _SHIFT
        power[t] = k
        k -= _SHIFT
        u = (y - k * _LN2_HIGH) - k * _LN2_LOW
        p = 2.08767569878681e-09
        p = p * u + 2.505210838544172e-08
        p = p * u + 2.755731922398589e-07
        p = p * u + 2.7557319223985893e-06
        p = p * u + 2.48015873015873e-05
        p = p * u + 1.984126984126984e-04
        p = p * u + 1.388888888888889e-03
        p = p * u + 8.333333333333333e-03
        p = p * u + 4.1666666666666664e-02
        p = p * u + 1.6666666666666666e-01
        p = p * u + 0.5
        p = p * u + 1.0
        x[r, t] = p * u + 1.0
    for t in range(TILE):
        bits[t] = (bits[t] << 52) + _ONE_BITS
    for t in range(TILE):
        x[r, t] *= power[t]


def _doubled_range(ranges: Floats) -> Ints:
    """Tell for every range which other is exactly twice as long, -1 for none."""
    later = np.triu(np.abs(ranges - 2.0 * ranges[:, None]) <= 1e-12 * ranges, k=1)
    doubled: Ints = np.max(np.where(later, np.arange(len(ranges)), -1), axis=1)
    return doubled


@inner
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
    _exp_of_minus(e, r, power, bits)


@inner
def _polynomial(kind, distance, scale, e, r, m, i):  # type: ignore[no-untyped-def]
    """Put the correlation into m[r, i], given its exponential part e[r] and what scales distances."""
    if kind == 0:
        for t in range(TILE):
            u = distance[t] * scale
            u = u if u < 1.0 else 1.0
            m[r, i, t] = 1.0 + u * (0.5 * u * u - 1.5)
    elif kind == 2:
        for t in range(TILE):
            m[r, i, t] = (1.0 + distance[t] * scale) * e[r, t]
    elif kind == 3:
        for t in range(TILE):
            u = distance[t] * scale
            m[r, i, t] = (1.0 + u * (1.0 + u * (1.0 / 3.0))) * e[r, t]
    else:
        for t in range(TILE):
            m[r, i, t] = e[r, t]


@inner
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
        _polynomial(kind, distance, scale, e, r, m, row[r])


@inner
def _quadratic(n, lower, lines, z, m, r, s, quad):  # type: ignore[no-untyped-def]
    """Add m'Qm + (lines[0] + z·lines[1])'m of a tile to quad, with m[r] for m.

    Q is given as a lower triangle, its off-diagonal doubled.

    Four rows and four columns at a time, which measured fastest; n is a multiple of four, padded with zeros.
    """
    for i in range(0, n, 4):
        for k in range(4):
            a, b = lines[0, i + k], lines[1, i + k]
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
                m0, m1, m2, m3 = m[r, j, t], m[r, j + 1, t], m[r, j + 2, t], m[r, j + 3, t]
                s[0, t] += q00 * m0 + q01 * m1 + q02 * m2 + q03 * m3
                s[1, t] += q10 * m0 + q11 * m1 + q12 * m2 + q13 * m3
                s[2, t] += q20 * m0 + q21 * m1 + q22 * m2 + q23 * m3
                s[3, t] += q30 * m0 + q31 * m1 + q32 * m2 + q33 * m3
        for t in range(TILE):
            quad[t] += (
                m[r, i, t] * s[0, t]
                + m[r, i + 1, t] * s[1, t]
                + m[r, i + 2, t] * s[2, t]
                + m[r, i + 3, t] * s[3, t]
            )


@inner
def _shortest_range_in_reach(readings, cx, cy, reach, first):  # type: ignore[no-untyped-def]
    """Find for each reading the shortest range at which it is correlated with a tile, R for none.

    Written out, as all here: whole-array operations, and least and greatest, take seconds to compile.
    """
    low_x, high_x, low_y, high_y = cx[0], cx[0], cy[0], cy[0]
    for t in range(TILE):
        x, y = cx[t], cy[t]
        low_x, low_y = x if x < low_x else low_x, y if y < low_y else low_y
        high_x, high_y = x if x > high_x else high_x, y if y > high_y else high_y
    for i in range(readings.shape[0]):
        x, y = readings[i, 0], readings[i, 1]
        dx = low_x - x if x < low_x else x - high_x if x > high_x else 0.0
        dy = low_y - y if y < low_y else y - high_y if y > high_y else 0.0
        r = reach.shape[0]
        while r > 0 and dx * dx + dy * dy < reach[r - 1] * reach[r - 1]:
            r -= 1
        first[i] = r


@inner
def _submatrix(chosen, r, count, lower, lines, part, fewer):  # type: ignore[no-untyped-def]
    """Copy the chosen readings' rows and columns into a smaller system, padded as the large one."""
    padded = (count + 3) // 4 * 4
    for a in range(padded):
        for b in range(a // 4 * 4 + 4):
            inside = a < count and b < count
            part[a, b] = lower[r, chosen[r, a], chosen[r, b]] if inside and b <= a else 0.0
        for k in range(3):
            fewer[k, a] = lines[r, k, chosen[r, a]] if a < count else 0.0


@inner
def _correlate_all(kind, readings, ranges, source, first, cx, cy, work, m, row, chosen):  # type: ignore[no-untyped-def]
    """Fill m[r] with a tile's correlations with the readings in reach at range r; row counts them.

    Zeros follow, to a multiple of four.
    """
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
    for r in range(last):
        for k in range(row[r], (row[r] + 3) // 4 * 4):
            for t in range(TILE):
                m[r, k, t] = 0.0


@compiled
def _krige_tiles(  # type: ignore[no-untyped-def]
    xy, drift, readings, kind, ranges, reach, lower, lines, flat, out, source, tile, work, room
):
    """Do the work of :func:`krige_cells`, a tile after the other, in arrays that it is handed."""
    cx, cy, z, mean, quad = tile
    m, s, part, fewer, first, row, chosen = room
    n, last, cells = readings.shape[0], ranges.shape[0], xy.shape[0]
    for start in range(0, cells, TILE):
        for t in range(TILE):
            at = start + t if start + t < cells else cells - 1
            cx[t], cy[t], z[t] = xy[at, 0], xy[at, 1], drift[at]
            mean[t] = flat[0] + z[t] * flat[1]
            quad[t] = flat[2] + z[t] * (flat[3] + z[t] * flat[4])
        _shortest_range_in_reach(readings, cx, cy, reach, first)
        _correlate_all(kind, readings, ranges, source, first, cx, cy, work, m, row, chosen)
        for r in range(last):
            p = (row[r] + 3) // 4 * 4
            form, line = lower[r], lines[r]
            if row[r] < n:
                _submatrix(chosen, r, row[r], lower, lines, part, fewer)
                form, line = part, fewer
            for k in range(p):
                weight = line[2, k]
                for t in range(TILE):
                    mean[t] += weight * m[r, k, t]
            _quadratic(p, form, line, z, m, r, s, quad)
        for t in range(min(TILE, cells - start)):
            variance = quad[t] - mean[t] * mean[t]
            out[0, start + t], out[1, start + t] = mean[t], variance if variance > 0.0 else 0.0


def _workspace(ranges: Floats) -> tuple[Floats, Floats, Ints, Floats]:
    """Allocate the work arrays of :func:`_correlate`: distances, powers of two (twice), exponentials."""
    power = np.empty(TILE)
    return np.empty(TILE), power, power.view(np.int64), np.empty((len(ranges), TILE))


def krige_cells(
    xy: Floats,
    drift: Floats,
    readings: Floats,
    kind: int,
    ranges: Floats,
    reach: Floats,
    lower: Floats,
    lines: Floats,
    flat: Floats,
    out: Floats,
) -> None:
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
    n, padded, last = len(readings), lower.shape[1], len(ranges)
    tile = tuple(np.empty(TILE) for _ in range(5))
    m, sums, part, fewer = (
        np.empty(k) for k in ((last, padded, TILE), (4, TILE), (padded, padded), (3, padded))
    )
    indices = np.empty(n, np.int64), np.empty(last, np.int64), np.zeros((last, padded), np.int64)
    room = (m, sums, part, fewer, *indices)
    work, source = _workspace(ranges), _doubled_range(ranges)
    _krige_tiles(xy, drift, readings, kind, ranges, reach, lower, lines, flat, out, source, tile, work, room)


@compiled
def _mean_tiles(  # type: ignore[no-untyped-def]
    xy, weight, readings, kind, ranges, reach, out, source, tile, work, room
):
    """Do the work of :func:`mean_correlation`, a tile after the other, in arrays that it is handed."""
    cx, cy, share, part = tile
    m, first, row = room
    last, cells = ranges.shape[0], xy.shape[0]
    for start in range(0, cells, TILE):
        for t in range(TILE):
            at = start + t if start + t < cells else cells - 1
            cx[t], cy[t] = xy[at, 0], xy[at, 1]
            share[t] = weight[at] if start + t < cells else 0.0
        _shortest_range_in_reach(readings, cx, cy, reach, first)
        for i in range(readings.shape[0]):
            if first[i] < last:
                x, y = readings[i, 0], readings[i, 1]
                _correlate(kind, x, y, ranges, source, first[i], cx, cy, work, m, row)
                for r in range(first[i], last):
                    out[r, i] += _sum_of_products(share, m, r, part)


@inner
def _sum_of_products(a, m, r, part):  # type: ignore[no-untyped-def]
    """Sum the products of a and m[r, 0] over a tile: eight sums side by side, for the vector units."""
    total = 0.0
    for k in range(8):
        part[k] = 0.0
    for t in range(0, TILE, 8):
        for k in range(8):
            part[k] += a[t + k] * m[r, 0, t + k]
    for k in range(8):
        total += part[k]
    return total


def _add_correlations(
    xy: Floats, weight: Floats, readings: Floats, kind: int, ranges: Floats, reach: Floats, out: Floats
) -> None:
    """Add to out what :func:`mean_correlation` gives."""
    last = len(ranges)
    tile = tuple(np.empty(TILE) for _ in range(4))
    room = np.empty((last, 1, TILE)), np.empty(len(readings), np.int64), np.zeros(last, np.int64)
    work, source = _workspace(ranges), _doubled_range(ranges)
    _mean_tiles(xy, weight, readings, kind, ranges, reach, out, source, tile, work, room)


def mean_correlation(
    xy: Floats, weight: Floats, readings: Floats, kind: int, ranges: Floats, reach: Floats, out: Floats
) -> None:
    """Fill out with the mean correlation of each reading with some cells.

    Parameters
    ----------
    xy : array, shape (m, 2)
        Cells [m].
    weight : array, shape (m,)
        Of the cells; sum one.
    readings : array, shape (n, 2)
        [m].
    kind : int
        Code of the correlation.
    ranges, reach : array, shape (R,)
        Ranges, rising, and distances beyond which readings have no correlation with a tile of cells [m].
    out : array, shape (R, n)
        Written.
    """
    out[:] = 0.0
    _add_correlations(xy, weight, readings, kind, ranges, reach, out)


def mean_pair_correlation(
    distance: Floats, count: Floats, cells: int, kind: int, ranges: Floats, out: Floats
) -> None:
    """Fill out with the mean correlation of all pairs of cells, each with itself included.

    A pair is taken for a cell at its distance from one reading, so that the same compiled loop does both.

    Parameters
    ----------
    distance, count : array, shape (k,)
        Between different cells [m], and how many pairs have it.
    cells : int
        How many there are.
    kind : int
        Code of the correlation.
    ranges : array, shape (R,)
        [m].
    out : array, shape (R,)
        Written.
    """
    apart = np.column_stack([distance, np.zeros(len(distance))])
    reach, total = np.full(len(ranges), _FAR_M), np.full((len(ranges), 1), float(cells))
    _add_correlations(apart, 2.0 * count, np.zeros((1, 2)), kind, ranges, reach, total)
    out[:] = total[:, 0] / (cells * cells)
