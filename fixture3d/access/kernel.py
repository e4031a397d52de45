"""The compiled part of torch access: tree of triangles, distance grid, torch against triangles. All of numba is here.

One module on purpose: numba's disk cache notices an edit of this file, not of helpers in another one. Importing it
costs numba's import, so only ``access`` does, inside its functions. Kernels release the interpreter lock and are
run by ordinary threads: numba's own thread pool does not survive a fork.

Exactness: the grid may only prove that something is free, and the boxes of the tree are rounded outwards; every
other answer comes from the triangles in double precision.

Arrays that all kernels share:
    nodes (n, 6) float32 centre and half size of a box; meta (n, 4) int32: next node when the box is missed, first
    triangle, number of triangles (0 for inner nodes), body when all triangles below are of one body, else -1.
    tris (t, 12) float64: corners a, b, c and unit normal. owner (t,) int32: the triangle's body.
    grid (x, y, z) float32: distance from a cell's centre to the nearest triangle, rounded down, -1 until it is
    asked for. place (5,): corner of the grid, its cell size, the largest distance that it tells.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numba
import numpy as np

LEAF = 4
BINS = 16
FEW_BINS = 6
LOOSE = 1e-9


def _compiled(function: Callable[..., Any]) -> Callable[..., Any]:
    """``numba.njit`` with the disk cache, or without it where no folder for the cache can be written."""
    try:
        compiled: Callable[..., Any] = numba.njit(cache=True, nogil=True, no_cfunc_wrapper=True)(function)
    except RuntimeError:
        compiled = numba.njit(nogil=True, no_cfunc_wrapper=True)(function)
    return compiled


def kept() -> bool:
    """Whether what is compiled here is kept on disk."""
    return not isinstance(getattr(build_tree, "_cache", None), numba.core.caching.NullCache)


# --- the tree ------------------------------------------------------------------------------------------------


@_compiled
def place_triangles(vertices, faces, closed, first, which, tris, owner, boxes, low, high, mid):  # type: ignore[no-untyped-def]
    """Fill in the triangles of some bodies, whose numbers are ``which``, and the boxes of both.

    vertices (v, 3) and faces (t, 3) are those of all bodies, first (bodies + 1,) where the faces of each begin.
    A closed body that is inside out is turned. low, high, mid (t, 3) are corners and middles of the triangles' boxes.
    """
    for index in range(which.shape[0]):
        body = which[index]
        volume = 0.0
        for k in range(first[body], first[body + 1]):
            owner[k] = body
            a, b, c = faces[k, 0], faces[k, 1], faces[k, 2]
            base = faces[first[body], 0]
            ax, ay, az = (
                vertices[a, 0] - vertices[base, 0],
                vertices[a, 1] - vertices[base, 1],
                vertices[a, 2] - vertices[base, 2],
            )
            bx, by, bz = (
                vertices[b, 0] - vertices[a, 0],
                vertices[b, 1] - vertices[a, 1],
                vertices[b, 2] - vertices[a, 2],
            )
            cx, cy, cz = (
                vertices[c, 0] - vertices[a, 0],
                vertices[c, 1] - vertices[a, 1],
                vertices[c, 2] - vertices[a, 2],
            )
            nx, ny, nz = by * cz - bz * cy, bz * cx - bx * cz, bx * cy - by * cx
            volume += ax * nx + ay * ny + az * nz
            size = math.sqrt(nx * nx + ny * ny + nz * nz)
            if size > 1e-12:
                tris[k, 9], tris[k, 10], tris[k, 11] = nx / size, ny / size, nz / size
            else:
                tris[k, 9] = tris[k, 10] = tris[k, 11] = 0.0
            for m in range(3):
                p, q, r = vertices[a, m], vertices[b, m], vertices[c, m]
                tris[k, m], tris[k, 3 + m], tris[k, 6 + m] = p, q, r
                low[k, m], high[k, m] = min(p, q, r), max(p, q, r)
                mid[k, m] = 0.5 * (low[k, m] + high[k, m])
                if k == first[body]:
                    boxes[body, 0, m], boxes[body, 1, m] = low[k, m], high[k, m]
                boxes[body, 0, m] = min(boxes[body, 0, m], low[k, m])
                boxes[body, 1, m] = max(boxes[body, 1, m], high[k, m])
        if closed[body] and volume < 0.0:
            for k in range(first[body], first[body + 1]):
                for m in range(3):
                    tris[k, m], tris[k, 6 + m] = tris[k, 6 + m], tris[k, m]
                    tris[k, 9 + m] = -tris[k, 9 + m]


@_compiled
def build_tree(low, high, mid, order, first, last, leaf, nodes, meta, right, stack, bins, swept):  # type: ignore[no-untyped-def]
    """Fill a binned surface-area tree over items ``order[first:last]``, at most ``leaf`` a leaf; returns its size.

    low, high, mid (t, 3) are corners and middles of the items' boxes; order is put in the order of the tree. nodes,
    meta, right (2 (last - first) rows), stack (last - first + 256, 3), bins (3, BINS, 7) and swept (BINS, 2) are filled
    or are room to work in. Nodes are numbered from 0, and no body is written. No kernel makes arrays of its own: each
    kind would be compiled in, at 0.05 s.
    """
    stack[0, 0], stack[0, 1], stack[0, 2] = first, last, -1
    top = 1
    used = 0
    while top > 0:
        top -= 1
        begin, end, parent = stack[top, 0], stack[top, 1], stack[top, 2]
        node = used
        used += 1
        if parent >= 0:
            right[parent] = node
        bl0 = bl1 = bl2 = cl0 = cl1 = cl2 = np.inf
        bh0 = bh1 = bh2 = ch0 = ch1 = ch2 = -np.inf
        for j in range(begin, end):
            i = order[j]
            bl0 = min(bl0, low[i, 0])
            bl1 = min(bl1, low[i, 1])
            bl2 = min(bl2, low[i, 2])
            bh0 = max(bh0, high[i, 0])
            bh1 = max(bh1, high[i, 1])
            bh2 = max(bh2, high[i, 2])
            cl0 = min(cl0, mid[i, 0])
            cl1 = min(cl1, mid[i, 1])
            cl2 = min(cl2, mid[i, 2])
            ch0 = max(ch0, mid[i, 0])
            ch1 = max(ch1, mid[i, 1])
            ch2 = max(ch2, mid[i, 2])
        # Half sizes cover the rounding of centre and half size to 24 bits.
        grow = 4e-7 * max(abs(bl0), abs(bl1), abs(bl2), abs(bh0), abs(bh1), abs(bh2)) + 1e-6
        nodes[node, 0] = 0.5 * (bl0 + bh0)
        nodes[node, 1] = 0.5 * (bl1 + bh1)
        nodes[node, 2] = 0.5 * (bl2 + bh2)
        nodes[node, 3] = 0.5 * (bh0 - bl0) + grow
        nodes[node, 4] = 0.5 * (bh1 - bl1) + grow
        nodes[node, 5] = 0.5 * (bh2 - bl2) + grow
        meta[node, 1] = begin
        meta[node, 2] = 0
        if end - begin <= leaf:
            meta[node, 2] = end - begin
            continue
        # Few items need few bins: what is filled and swept for them would cost more than they do.
        count = BINS if end - begin > 2 * BINS else FEW_BINS
        s0 = count * (1.0 - 1e-9) / (ch0 - cl0) if ch0 - cl0 > 1e-12 else 0.0
        s1 = count * (1.0 - 1e-9) / (ch1 - cl1) if ch1 - cl1 > 1e-12 else 0.0
        s2 = count * (1.0 - 1e-9) / (ch2 - cl2) if ch2 - cl2 > 1e-12 else 0.0
        for axis in range(3):
            for k in range(count):
                for m in range(3):
                    bins[axis, k, m] = np.inf
                    bins[axis, k, 3 + m] = -np.inf
                bins[axis, k, 6] = 0.0
        for j in range(begin, end):
            i = order[j]
            for axis in range(3):
                c_low = cl0 if axis == 0 else cl1 if axis == 1 else cl2
                scale = s0 if axis == 0 else s1 if axis == 1 else s2
                k = int((mid[i, axis] - c_low) * scale)
                for m in range(3):
                    bins[axis, k, m] = min(bins[axis, k, m], low[i, m])
                    bins[axis, k, 3 + m] = max(bins[axis, k, 3 + m], high[i, m])
                bins[axis, k, 6] += 1.0
        best = np.inf
        best_axis = -1
        best_bin = 0
        for axis in range(3):
            if (s0 if axis == 0 else s1 if axis == 1 else s2) == 0.0:
                continue
            a0 = a1 = a2 = np.inf
            b0 = b1 = b2 = -np.inf
            total = 0.0
            for k in range(count - 1, 0, -1):
                a0, a1, a2 = min(a0, bins[axis, k, 0]), min(a1, bins[axis, k, 1]), min(a2, bins[axis, k, 2])
                b0, b1, b2 = max(b0, bins[axis, k, 3]), max(b1, bins[axis, k, 4]), max(b2, bins[axis, k, 5])
                total += bins[axis, k, 6]
                x, y, z = b0 - a0, b1 - a1, b2 - a2
                swept[k, 0] = x * y + y * z + z * x if total > 0.0 else 0.0
                swept[k, 1] = total
            a0 = a1 = a2 = np.inf
            b0 = b1 = b2 = -np.inf
            total = 0.0
            for k in range(count - 1):
                a0, a1, a2 = min(a0, bins[axis, k, 0]), min(a1, bins[axis, k, 1]), min(a2, bins[axis, k, 2])
                b0, b1, b2 = max(b0, bins[axis, k, 3]), max(b1, bins[axis, k, 4]), max(b2, bins[axis, k, 5])
                total += bins[axis, k, 6]
                if total == 0.0 or swept[k + 1, 1] == 0.0:
                    continue
                x, y, z = b0 - a0, b1 - a1, b2 - a2
                cost = (x * y + y * z + z * x) * total + swept[k + 1, 0] * swept[k + 1, 1]
                if cost < best:
                    best = cost
                    best_axis = axis
                    best_bin = k
        if best_axis < 0:
            middle = (begin + end) // 2
        else:
            c_low = cl0 if best_axis == 0 else cl1 if best_axis == 1 else cl2
            scale = s0 if best_axis == 0 else s1 if best_axis == 1 else s2
            i = begin
            j = end - 1
            while i <= j:
                if int((mid[order[i], best_axis] - c_low) * scale) <= best_bin:
                    i += 1
                else:
                    order[i], order[j] = order[j], order[i]
                    j -= 1
            middle = i
        stack[top, 0], stack[top, 1], stack[top, 2] = middle, end, node
        stack[top + 1, 0], stack[top + 1, 1], stack[top + 1, 2] = begin, middle, -1
        top += 2
    # A left child follows its parent at once; what comes after a subtree is known once all are numbered.
    meta[0, 0] = used
    for node in range(used):
        if meta[node, 2] == 0:
            meta[node + 1, 0] = right[node]
            meta[right[node], 0] = meta[node, 0]
    return used


# --- distances ----------------------------------------------------------------------------------------------


@_compiled
def segment_segment(px, py, pz, dx, dy, dz, qx, qy, qz, ex, ey, ez):  # type: ignore[no-untyped-def]
    """Squared distance between the segments p to p + d and q to q + e; either may be a point."""
    rx, ry, rz = px - qx, py - qy, pz - qz
    a = dx * dx + dy * dy + dz * dz
    e = ex * ex + ey * ey + ez * ez
    f = ex * rx + ey * ry + ez * rz
    if a <= 1e-30 and e <= 1e-30:
        s = t = 0.0
    elif a <= 1e-30:
        s = 0.0
        t = min(max(f / e, 0.0), 1.0)
    else:
        c = dx * rx + dy * ry + dz * rz
        if e <= 1e-30:
            t = 0.0
            s = min(max(-c / a, 0.0), 1.0)
        else:
            b = dx * ex + dy * ey + dz * ez
            denominator = a * e - b * b
            s = min(max((b * f - c * e) / denominator, 0.0), 1.0) if denominator > 1e-14 * a * e else 0.0
            t = (b * s + f) / e
            if t < 0.0:
                t = 0.0
                s = min(max(-c / a, 0.0), 1.0)
            elif t > 1.0:
                t = 1.0
                s = min(max((b - c) / a, 0.0), 1.0)
    x, y, z = rx + dx * s - ex * t, ry + dy * s - ey * t, rz + dz * s - ez * t
    return x * x + y * y + z * z


@_compiled
def over_triangle(tris, face, x, y, z):  # type: ignore[no-untyped-def]
    """Whether the foot of the perpendicular from a point to the triangle's plane lies within the triangle."""
    nx, ny, nz = tris[face, 9], tris[face, 10], tris[face, 11]
    for k in range(3):
        i = 3 * k
        j = 3 * ((k + 1) % 3)
        ex, ey, ez = (
            tris[face, j] - tris[face, i],
            tris[face, j + 1] - tris[face, i + 1],
            tris[face, j + 2] - tris[face, i + 2],
        )
        vx, vy, vz = x - tris[face, i], y - tris[face, i + 1], z - tris[face, i + 2]
        if (ey * vz - ez * vy) * nx + (ez * vx - ex * vz) * ny + (ex * vy - ey * vx) * nz < 0.0:
            return False
    return nx != 0.0 or ny != 0.0 or nz != 0.0


@_compiled
def segment_triangle(tris, face, px, py, pz, dx, dy, dz, enough, most):  # type: ignore[no-untyped-def]
    """Squared distance between the segment p to p + d and a triangle.

    Once it is known to be at most ``enough``, any such value may come back; once it is known to be more than
    ``most``, infinity may.
    """
    nx, ny, nz = tris[face, 9], tris[face, 10], tris[face, 11]
    s = nx * (px - tris[face, 0]) + ny * (py - tris[face, 1]) + nz * (pz - tris[face, 2])
    t = s + nx * dx + ny * dy + nz * dz
    if s * t > 0.0 and min(s * s, t * t) > most:
        return np.inf
    best = np.inf
    if s * t <= 0.0 and s != t:
        u = s / (s - t)
        if over_triangle(tris, face, px + u * dx, py + u * dy, pz + u * dz):
            return 0.0
    if over_triangle(tris, face, px, py, pz):
        best = s * s
        if best <= enough:
            return best
    if over_triangle(tris, face, px + dx, py + dy, pz + dz):
        best = min(best, t * t)
        if best <= enough:
            return best
    for k in range(3):
        i = 3 * k
        j = 3 * ((k + 1) % 3)
        ex = tris[face, j] - tris[face, i]
        ey = tris[face, j + 1] - tris[face, i + 1]
        ez = tris[face, j + 2] - tris[face, i + 2]
        qx, qy, qz = tris[face, i], tris[face, i + 1], tris[face, i + 2]
        value = segment_segment(px, py, pz, dx, dy, dz, qx, qy, qz, ex, ey, ez)
        if value < best:
            best = value
            if best <= enough:
                return best
    return best


@_compiled
def disc_segment(au, av, bu, bv):  # type: ignore[no-untyped-def]
    """Squared distance in the plane from the origin to the segment a to b."""
    du, dv = bu - au, bv - av
    length = du * du + dv * dv
    t = 0.0
    if length > 1e-30:
        t = min(max(-(au * du + av * dv) / length, 0.0), 1.0)
    u, v = au + t * du, av + t * dv
    return u * u + v * v


@_compiled
def cylinder_meets(tris, face, cx, cy, cz, x, z, height, radius):  # type: ignore[no-untyped-def]
    """Whether a flat-ended cylinder meets a triangle.

    The cylinder stands on c, along the unit vector z; x is a unit vector square to z. The part of the triangle
    between the end planes is looked at along the axis: it must come within the radius of the axis.
    """
    ux, uy, uz = x[0], x[1], x[2]
    wx, wy, wz = z[0], z[1], z[2]
    vx, vy, vz = wy * uz - wz * uy, wz * ux - wx * uz, wx * uy - wy * ux
    nx, ny, nz = tris[face, 9], tris[face, 10], tris[face, 11]
    s = nx * (cx - tris[face, 0]) + ny * (cy - tris[face, 1]) + nz * (cz - tris[face, 2])
    slope = nx * wx + ny * wy + nz * wz
    flat = radius * math.sqrt(max(0.0, 1.0 - slope * slope)) + LOOSE
    t = s + slope * height
    if min(s, t) > flat or max(s, t) < -flat:
        return False
    limit = radius * radius
    # Corners in the cylinder's frame.
    rx, ry, rz = tris[face, 0] - cx, tris[face, 1] - cy, tris[face, 2] - cz
    a0, a1, a2 = rx * ux + ry * uy + rz * uz, rx * vx + ry * vy + rz * vz, rx * wx + ry * wy + rz * wz
    rx, ry, rz = tris[face, 3] - cx, tris[face, 4] - cy, tris[face, 5] - cz
    b0, b1, b2 = rx * ux + ry * uy + rz * uz, rx * vx + ry * vy + rz * vz, rx * wx + ry * wy + rz * wz
    rx, ry, rz = tris[face, 6] - cx, tris[face, 7] - cy, tris[face, 8] - cz
    c0, c1, c2 = rx * ux + ry * uy + rz * uz, rx * vx + ry * vy + rz * vz, rx * wx + ry * wy + rz * wz
    if min(a2, b2, c2) > height or max(a2, b2, c2) < 0.0:
        return False
    # The axis goes through the triangle.
    if s * t <= 0.0 and s != t:
        h = height * s / (s - t)
        if over_triangle(tris, face, cx + h * wx, cy + h * wy, cz + h * wz):
            return True
    low_u = low_v = high_u = high_v = 0.0
    lows = highs = 0
    for k in range(3):
        if k == 0:
            p0, p1, p2, q0, q1, q2 = a0, a1, a2, b0, b1, b2
        elif k == 1:
            p0, p1, p2, q0, q1, q2 = b0, b1, b2, c0, c1, c2
        else:
            p0, p1, p2, q0, q1, q2 = c0, c1, c2, a0, a1, a2
        if p2 > q2:
            p0, p1, p2, q0, q1, q2 = q0, q1, q2, p0, p1, p2
        rise = q2 - p2
        s0, s1, e0, e1 = p0, p1, q0, q1
        if p2 < 0.0 <= q2:
            f = -p2 / rise
            s0, s1 = p0 + f * (q0 - p0), p1 + f * (q1 - p1)
            if lows > 0 and disc_segment(low_u, low_v, s0, s1) <= limit:
                return True
            low_u, low_v = s0, s1
            lows += 1
        if p2 <= height < q2:
            f = (height - p2) / rise
            e0, e1 = p0 + f * (q0 - p0), p1 + f * (q1 - p1)
            if highs > 0 and disc_segment(high_u, high_v, e0, e1) <= limit:
                return True
            high_u, high_v = e0, e1
            highs += 1
        if q2 >= 0.0 and p2 <= height and disc_segment(s0, s1, e0, e1) <= limit:
            return True
    return False


@_compiled
def cylinder_gap(x, y, z, height, radius):  # type: ignore[no-untyped-def]
    """Distance from a point in the cylinder's frame to a solid cylinder standing on the origin."""
    out = max(0.0, math.sqrt(x * x + y * y) - radius)
    over = max(0.0, -z, z - height)
    return math.sqrt(out * out + over * over)


@_compiled
def cylinder_edge(ax, ay, az, bx, by, bz, height, radius):  # type: ignore[no-untyped-def]
    """Least distance from a segment to the cylinder; convex along it, so golden section finds it."""
    ratio = 0.6180339887498949
    low, high = 0.0, 1.0
    s, t = 1.0 - ratio, ratio
    dx, dy, dz = bx - ax, by - ay, bz - az
    f = cylinder_gap(ax + s * dx, ay + s * dy, az + s * dz, height, radius)
    g = cylinder_gap(ax + t * dx, ay + t * dy, az + t * dz, height, radius)
    for _ in range(50):
        if f <= g:
            high, t, g = t, s, f
            s = high - ratio * (high - low)
            f = cylinder_gap(ax + s * dx, ay + s * dy, az + s * dz, height, radius)
        else:
            low, s, f = s, t, g
            t = low + ratio * (high - low)
            g = cylinder_gap(ax + t * dx, ay + t * dy, az + t * dz, height, radius)
    ends = min(cylinder_gap(ax, ay, az, height, radius), cylinder_gap(bx, by, bz, height, radius))
    return min(f, g, ends)


@_compiled
def on_triangle(px, py, pz, ax, ay, az, bx, by, bz, cx, cy, cz):  # type: ignore[no-untyped-def]
    """Point of the triangle a, b, c nearest to p, by the regions of its corners and edges.

    Ericson, Real-Time Collision Detection (2005), 5.1.5.
    """
    ux, uy, uz = bx - ax, by - ay, bz - az
    vx, vy, vz = cx - ax, cy - ay, cz - az
    d1 = ux * (px - ax) + uy * (py - ay) + uz * (pz - az)
    d2 = vx * (px - ax) + vy * (py - ay) + vz * (pz - az)
    if d1 <= 0.0 and d2 <= 0.0:
        return ax, ay, az
    d3 = ux * (px - bx) + uy * (py - by) + uz * (pz - bz)
    d4 = vx * (px - bx) + vy * (py - by) + vz * (pz - bz)
    if d3 >= 0.0 and d4 <= d3:
        return bx, by, bz
    d5 = ux * (px - cx) + uy * (py - cy) + uz * (pz - cz)
    d6 = vx * (px - cx) + vy * (py - cy) + vz * (pz - cz)
    if d6 >= 0.0 and d5 <= d6:
        return cx, cy, cz
    wa, wb, wc = d3 * d6 - d5 * d4, d5 * d2 - d1 * d6, d1 * d4 - d3 * d2
    if wc <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
        s = d1 / (d1 - d3) if d1 > d3 else 0.0
        t = 0.0
    elif wb <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
        s = 0.0
        t = d2 / (d2 - d6) if d2 > d6 else 0.0
    elif wa <= 0.0 and d4 - d3 >= 0.0 and d5 - d6 >= 0.0:
        whole = (d4 - d3) + (d5 - d6)
        t = (d4 - d3) / whole if whole > 0.0 else 0.0
        s = 1.0 - t
    else:
        whole = wa + wb + wc
        s, t = (wb / whole, wc / whole) if whole > 0.0 else (0.0, 0.0)
    return ax + s * ux + t * vx, ay + s * uy + t * vy, az + s * uz + t * vz


@_compiled
def cylinder_triangle(tris, face, cx, cy, cz, x, z, height, radius, most):  # type: ignore[no-untyped-def]
    """Distance between a flat-ended cylinder and a triangle, mm, to about 1e-7.

    Once it is known to be more than ``most``, any such value may come back. A few rounds of projecting from one to
    the other come first: the plane through the cylinder's point, square to the way to the triangle's, has the
    cylinder behind it, so the least height of the corners above it is a lower bound, and often settles the matter.
    If not: the distance to a convex body is convex over the triangle, so golden section over the segments that run
    from corner a to the opposite edge, golden section along each.
    """
    yx, yy, yz = z[1] * x[2] - z[2] * x[1], z[2] * x[0] - z[0] * x[2], z[0] * x[1] - z[1] * x[0]
    rx, ry, rz = tris[face, 0] - cx, tris[face, 1] - cy, tris[face, 2] - cz
    a0, a1 = rx * x[0] + ry * x[1] + rz * x[2], rx * yx + ry * yy + rz * yz
    a2 = rx * z[0] + ry * z[1] + rz * z[2]
    rx, ry, rz = tris[face, 3] - cx, tris[face, 4] - cy, tris[face, 5] - cz
    b0, b1 = rx * x[0] + ry * x[1] + rz * x[2], rx * yx + ry * yy + rz * yz
    b2 = rx * z[0] + ry * z[1] + rz * z[2]
    rx, ry, rz = tris[face, 6] - cx, tris[face, 7] - cy, tris[face, 8] - cz
    d0, d1 = rx * x[0] + ry * x[1] + rz * x[2] - b0, rx * yx + ry * yy + rz * yz - b1
    d2 = rx * z[0] + ry * z[1] + rz * z[2] - b2
    qx, qy, qz = on_triangle(
        0.0, 0.0, 0.5 * height, a0, a1, a2, b0, b1, b2, b0 + d0, b1 + d1, b2 + d2
    )  # fmt: skip
    for _ in range(12):
        away = math.sqrt(qx * qx + qy * qy)
        shrink = radius / away if away > radius else 1.0
        ox, oy, oz = qx * shrink, qy * shrink, min(max(qz, 0.0), height)
        ux, uy, uz = qx - ox, qy - oy, qz - oz
        gap = math.sqrt(ux * ux + uy * uy + uz * uz)
        if gap < 1e-6:
            break
        ux, uy, uz = ux / gap, uy / gap, uz / gap
        over_a = ux * (a0 - ox) + uy * (a1 - oy) + uz * (a2 - oz)
        over_b = ux * (b0 - ox) + uy * (b1 - oy) + uz * (b2 - oz)
        over = min(over_a, over_b, over_b + ux * d0 + uy * d1 + uz * d2)
        # Within 1e-8 of the upper bound it is the answer.
        if over > most or gap - over < 1e-8:
            return max(over, 0.0)
        qx, qy, qz = on_triangle(ox, oy, oz, a0, a1, a2, b0, b1, b2, b0 + d0, b1 + d1, b2 + d2)
    ratio = 0.6180339887498949
    low, high = 0.0, 1.0
    s, t = 1.0 - ratio, ratio
    f = g = -1.0
    # The edges that meet in a are the ends of the section; the one opposite is crossed at its end.
    best = min(
        cylinder_edge(b0, b1, b2, b0 + d0, b1 + d1, b2 + d2, height, radius),
        cylinder_edge(a0, a1, a2, b0, b1, b2, height, radius),
        cylinder_edge(a0, a1, a2, b0 + d0, b1 + d1, b2 + d2, height, radius),
    )
    for _ in range(50):
        if f < 0.0:
            f = cylinder_edge(a0, a1, a2, b0 + s * d0, b1 + s * d1, b2 + s * d2, height, radius)
        if g < 0.0:
            g = cylinder_edge(a0, a1, a2, b0 + t * d0, b1 + t * d1, b2 + t * d2, height, radius)
        best = min(best, f, g)
        if f <= g:
            high, t, g, f = t, s, f, -1.0
            s = high - ratio * (high - low)
        else:
            low, s, f, g = s, t, g, -1.0
            t = low + ratio * (high - low)
    return best


# --- the distance grid ---------------------------------------------------------------------------------------


@_compiled
def fill_cell(nodes, meta, tris, grid, place, i, j, k):  # type: ignore[no-untyped-def]
    """Write and return the distance from a cell's centre to the nearest triangle, or the most the grid tells.

    Two threads may fill a cell at once: both write the same value, since the start of the search, a neighbour's
    distance and the way from there, is never less than the answer.
    """
    cell = place[3]
    most = place[4]
    bound = most
    if i > 0 and grid[i - 1, j, k] >= 0.0:
        bound = min(bound, grid[i - 1, j, k] + cell + 0.01)
    if j > 0 and grid[i, j - 1, k] >= 0.0:
        bound = min(bound, grid[i, j - 1, k] + cell + 0.01)
    if k > 0 and grid[i, j, k - 1] >= 0.0:
        bound = min(bound, grid[i, j, k - 1] + cell + 0.01)
    if i + 1 < grid.shape[0] and grid[i + 1, j, k] >= 0.0:
        bound = min(bound, grid[i + 1, j, k] + cell + 0.01)
    if j + 1 < grid.shape[1] and grid[i, j + 1, k] >= 0.0:
        bound = min(bound, grid[i, j + 1, k] + cell + 0.01)
    if k + 1 < grid.shape[2] and grid[i, j, k + 1] >= 0.0:
        bound = min(bound, grid[i, j, k + 1] + cell + 0.01)
    best = bound * bound
    x, y, z = place[0] + (i + 0.5) * cell, place[1] + (j + 0.5) * cell, place[2] + (k + 0.5) * cell
    node = 0
    count = meta.shape[0]
    while node < count:
        ax = max(0.0, abs(nodes[node, 0] - x) - nodes[node, 3])
        ay = max(0.0, abs(nodes[node, 1] - y) - nodes[node, 4])
        az = max(0.0, abs(nodes[node, 2] - z) - nodes[node, 5])
        if ax * ax + ay * ay + az * az >= best:
            node = meta[node, 0]
            continue
        if meta[node, 2] == 0:
            node += 1
            continue
        for t in range(np.int64(meta[node, 1]), np.int64(meta[node, 1]) + np.int64(meta[node, 2])):
            best = min(best, segment_triangle(tris, t, x, y, z, 0.0, 0.0, 0.0, 0.0, best))
        node = meta[node, 0]
    # Rounded down: single precision is good to 6e-8 of the value.
    value = max(0.0, math.sqrt(best) * (1.0 - 2e-7) - 1e-6)
    grid[i, j, k] = value
    return value


@_compiled
def clear_of(nodes, meta, tris, grid, place, x, y, z):  # type: ignore[no-untyped-def]
    """A distance that the point (x, y, z) certainly has to every triangle; 0 off the grid."""
    cell = place[3]
    fx, fy, fz = (x - place[0]) / cell, (y - place[1]) / cell, (z - place[2]) / cell
    if fx < 0.0 or fy < 0.0 or fz < 0.0:
        return 0.0
    i, j, k = int(fx), int(fy), int(fz)
    if i >= grid.shape[0] or j >= grid.shape[1] or k >= grid.shape[2]:
        return 0.0
    value = float(grid[i, j, k])
    if value < 0.0:
        value = fill_cell(nodes, meta, tris, grid, place, i, j, k)
    dx, dy, dz = fx - i - 0.5, fy - j - 0.5, fz - k - 0.5
    return value - cell * math.sqrt(dx * dx + dy * dy + dz * dz)


@_compiled
def proved_free(nodes, meta, tris, grid, place, px, py, pz, dx, dy, dz, radius):  # type: ignore[no-untyped-def]
    """Whether the grid alone proves that the capsule of axis p to p + d is free: it is covered by free balls."""
    if grid.shape[0] == 0:
        return False
    length = math.sqrt(dx * dx + dy * dy + dz * dz)
    done = 0.0
    size = length
    while True:
        size = min(size, length - done)
        at = (done + 0.5 * size) / length if length > 0.0 else 0.0
        free = clear_of(nodes, meta, tris, grid, place, px + at * dx, py + at * dy, pz + at * dz) - radius
        if free > 0.5 * size:
            done += 0.5 * size + free - 1e-9
            if done >= length:
                return True
        elif size > 12.0:
            size *= 0.5
        else:
            return False


# --- torch against the tree ----------------------------------------------------------------------------------


@_compiled
def capsule_hit(nodes, meta, tris, px, py, pz, dx, dy, dz, radius):  # type: ignore[no-untyped-def]
    """Index of some triangle within ``radius`` of the segment p to p + d, or -1."""
    hx, hy, hz = 0.5 * dx, 0.5 * dy, 0.5 * dz
    mx, my, mz = px + hx, py + hy, pz + hz
    ax, ay, az = abs(hx), abs(hy), abs(hz)
    rx = radius * math.sqrt(hy * hy + hz * hz) + LOOSE
    ry = radius * math.sqrt(hx * hx + hz * hz) + LOOSE
    rz = radius * math.sqrt(hx * hx + hy * hy) + LOOSE
    bx, by, bz = ax + radius, ay + radius, az + radius
    enough = radius * radius
    i = 0
    count = meta.shape[0]
    while i < count:
        x, y, z = nodes[i, 0] - mx, nodes[i, 1] - my, nodes[i, 2] - mz
        sx, sy, sz = nodes[i, 3], nodes[i, 4], nodes[i, 5]
        if (
            abs(x) > sx + bx
            or abs(y) > sy + by
            or abs(z) > sz + bz
            or abs(y * hz - z * hy) > sy * az + sz * ay + rx
            or abs(z * hx - x * hz) > sx * az + sz * ax + ry
            or abs(x * hy - y * hx) > sx * ay + sy * ax + rz
        ):
            i = meta[i, 0]
            continue
        if meta[i, 2] == 0:
            i += 1
            continue
        for k in range(np.int64(meta[i, 1]), np.int64(meta[i, 1]) + np.int64(meta[i, 2])):
            if segment_triangle(tris, k, px, py, pz, dx, dy, dz, enough, enough) <= enough:
                return k
        i = meta[i, 0]
    return -1


@_compiled
def cylinder_hit(nodes, meta, tris, cx, cy, cz, xa, za, height, radius):  # type: ignore[no-untyped-def]
    """Index of some triangle that meets the flat-ended cylinder standing on c along za, or -1."""
    half = 0.5 * height
    hx, hy, hz = half * za[0], half * za[1], half * za[2]
    mx, my, mz = cx + hx, cy + hy, cz + hz
    ax, ay, az = abs(hx), abs(hy), abs(hz)
    # Around the axis like a capsule; along it cut off flat.
    ex = ax + radius * math.sqrt(max(0.0, 1.0 - za[0] * za[0])) + LOOSE
    ey = ay + radius * math.sqrt(max(0.0, 1.0 - za[1] * za[1])) + LOOSE
    ez = az + radius * math.sqrt(max(0.0, 1.0 - za[2] * za[2])) + LOOSE
    rx = radius * math.sqrt(hy * hy + hz * hz) + LOOSE
    ry = radius * math.sqrt(hx * hx + hz * hz) + LOOSE
    rz = radius * math.sqrt(hx * hx + hy * hy) + LOOSE
    flat = half * half + LOOSE
    i = 0
    count = meta.shape[0]
    while i < count:
        x, y, z = nodes[i, 0] - mx, nodes[i, 1] - my, nodes[i, 2] - mz
        sx, sy, sz = nodes[i, 3], nodes[i, 4], nodes[i, 5]
        if (
            abs(x) > sx + ex
            or abs(y) > sy + ey
            or abs(z) > sz + ez
            or abs(x * hx + y * hy + z * hz) > sx * ax + sy * ay + sz * az + flat
            or abs(y * hz - z * hy) > sy * az + sz * ay + rx
            or abs(z * hx - x * hz) > sx * az + sz * ax + ry
            or abs(x * hy - y * hx) > sx * ay + sy * ax + rz
        ):
            i = meta[i, 0]
            continue
        if meta[i, 2] == 0:
            i += 1
            continue
        for k in range(np.int64(meta[i, 1]), np.int64(meta[i, 1]) + np.int64(meta[i, 2])):
            if cylinder_meets(tris, k, cx, cy, cz, xa, za, height, radius):
                return k
        i = meta[i, 0]
    return -1


@_compiled
def solids_at(nodes, meta, tris, owner, closed, x, y, z, only, length):  # type: ignore[no-untyped-def]
    """How many closed bodies hold a point, by crossings of a ray of ``length``; ``only`` one body when not -1.

    A ray that grazes an edge or a corner is thrown away and another one taken; after five of them the count of
    the last one stands, which the sum of signed crossings keeps near the truth.
    """
    total = 0.0
    for attempt in range(5):
        dx = 0.0031 + 0.173 * attempt
        dy = 0.0047 - 0.119 * attempt
        norm = math.sqrt(dx * dx + dy * dy + 1.0)
        dx, dy, dz = dx / norm, dy / norm, 1.0 / norm
        hx, hy, hz = 0.5 * length * dx, 0.5 * length * dy, 0.5 * length * dz
        mx, my, mz = x + hx, y + hy, z + hz
        ax, ay, az = abs(hx), abs(hy), abs(hz)
        loose = 1e-9 * length
        total = 0.0
        grazed = False
        i = 0
        count = meta.shape[0]
        while i < count and not grazed:
            bx, by, bz = nodes[i, 0] - mx, nodes[i, 1] - my, nodes[i, 2] - mz
            sx, sy, sz = nodes[i, 3], nodes[i, 4], nodes[i, 5]
            if (
                abs(bx) > sx + ax
                or abs(by) > sy + ay
                or abs(bz) > sz + az
                or abs(by * hz - bz * hy) > sy * az + sz * ay + loose
                or abs(bz * hx - bx * hz) > sx * az + sz * ax + loose
                or abs(bx * hy - by * hx) > sx * ay + sy * ax + loose
            ):
                i = meta[i, 0]
                continue
            if meta[i, 2] == 0:
                i += 1
                continue
            for k in range(np.int64(meta[i, 1]), np.int64(meta[i, 1]) + np.int64(meta[i, 2])):
                body = owner[k]
                if not closed[body] or (only >= 0 and body != only):
                    continue
                e1x, e1y, e1z = tris[k, 3] - tris[k, 0], tris[k, 4] - tris[k, 1], tris[k, 5] - tris[k, 2]
                e2x, e2y, e2z = tris[k, 6] - tris[k, 0], tris[k, 7] - tris[k, 1], tris[k, 8] - tris[k, 2]
                px, py, pz = dy * e2z - dz * e2y, dz * e2x - dx * e2z, dx * e2y - dy * e2x
                det = e1x * px + e1y * py + e1z * pz
                size = math.sqrt((e1x * e1x + e1y * e1y + e1z * e1z) * (e2x * e2x + e2y * e2y + e2z * e2z))
                if abs(det) <= 1e-12 * size:
                    # Seen on edge: its neighbours count the crossing, unless the ray runs along it.
                    continue
                sx0, sy0, sz0 = x - tris[k, 0], y - tris[k, 1], z - tris[k, 2]
                u = (sx0 * px + sy0 * py + sz0 * pz) / det
                qx, qy, qz = sy0 * e1z - sz0 * e1y, sz0 * e1x - sx0 * e1z, sx0 * e1y - sy0 * e1x
                v = (dx * qx + dy * qy + dz * qz) / det
                t = (e2x * qx + e2y * qy + e2z * qz) / det
                if u < -1e-9 or v < -1e-9 or u + v > 1.0 + 1e-9 or t < 0.0:
                    continue
                if u < 1e-9 or v < 1e-9 or u + v > 1.0 - 1e-9:
                    grazed = True
                    break
                # A negative determinant: the ray leaves through the face's outside.
                total += 1.0 if det < 0.0 else -1.0
            i = meta[i, 0]
        if not grazed:
            break
    return round(total)


@_compiled
def sweep_directions(  # type: ignore[no-untyped-def]
    nodes, meta, tris, owner, closed, grid, place, ray,
    points, frames, axes, xs, rolls, nozzle, starts, ends, radii, axial,
    directions, free, inside, torch_x, torch_y, torch_z, open_, tried,
):  # fmt: skip
    """Verdicts for some of the directions.

    nozzle is (stand-off, length, radius), already grown by the margin like radii. The first ``axial`` of the parts
    lie along the torch's axis, so that they are tried once for all rolls. free (k, D, R) becomes 1
    where the whole torch is clear; inside (k, D) becomes 1 where the torch is wholly within a solid. Points are the
    inner loop: what stopped the torch at one point is likely to stop it at the next, and is tried first.
    torch_x, torch_y, torch_z (k, 3), open_ (k,) and tried (R, parts) of -1 are room to work in.
    """
    count = points.shape[0]
    parts = radii.shape[0]
    low, height, radius = nozzle[0], nozzle[1], nozzle[2]
    # A typed -1: numba would compile what it is passed to once more for the bare number.
    none = np.int64(-1)
    last = none
    for index in range(directions.shape[0]):
        d = directions[index]
        candidates = 0
        known = -1
        known_inside = False
        for p in range(count):
            for m in range(3):
                torch_z[p, m] = (
                    frames[p, m, 0] * axes[d, 0] + frames[p, m, 1] * axes[d, 1] + frames[p, m, 2] * axes[d, 2]
                )
                torch_x[p, m] = frames[p, m, 0] * xs[d, 0] + frames[p, m, 1] * xs[d, 1] + frames[p, m, 2] * xs[d, 2]
            za = torch_z[p]
            xa = torch_x[p]
            torch_y[p, 0] = za[1] * xa[2] - za[2] * xa[1]
            torch_y[p, 1] = za[2] * xa[0] - za[0] * xa[2]
            torch_y[p, 2] = za[0] * xa[1] - za[1] * xa[0]
            cx = points[p, 0] + low * za[0]
            cy = points[p, 1] + low * za[1]
            cz = points[p, 2] + low * za[2]
            if last >= 0 and cylinder_meets(tris, last, cx, cy, cz, xa, za, height, radius):
                continue
            # The nozzle stands so close to the work that the grid could prove nothing.
            hit = cylinder_hit(nodes, meta, tris, cx, cy, cz, xa, za, height, radius)
            if hit >= 0:
                last = hit
                continue
            # The nozzle touches no surface: its middle tells whether all of it is within a solid. So does the
            # middle of a neighbour's free nozzle when it lies within this one.
            qx, qy, qz = cx + 0.5 * height * za[0], cy + 0.5 * height * za[1], cz + 0.5 * height * za[2]
            same = False
            if known >= 0:
                zo = torch_z[known]
                ox = points[known, 0] + (low + 0.5 * height) * zo[0] - cx
                oy = points[known, 1] + (low + 0.5 * height) * zo[1] - cy
                oz = points[known, 2] + (low + 0.5 * height) * zo[2] - cz
                along = ox * za[0] + oy * za[1] + oz * za[2]
                square = ox * ox + oy * oy + oz * oz - along * along
                same = 0.0 < along < height and square < radius * radius
            if not same:
                known_inside = solids_at(nodes, meta, tris, owner, closed, qx, qy, qz, none, ray) > 0
            known = p
            if known_inside:
                inside[p, d] = 1
                continue
            stopped = False
            for m in range(axial):
                px, py, pz = (
                    points[p, 0] + starts[m, 2] * za[0],
                    points[p, 1] + starts[m, 2] * za[1],
                    points[p, 2] + starts[m, 2] * za[2],
                )
                lz = ends[m, 2] - starts[m, 2]
                dx, dy, dz = lz * za[0], lz * za[1], lz * za[2]
                rr = radii[m]
                if tried[0, m] >= 0 and (
                    segment_triangle(tris, tried[0, m], px, py, pz, dx, dy, dz, rr * rr, rr * rr) <= rr * rr
                ):
                    stopped = True
                elif not proved_free(nodes, meta, tris, grid, place, px, py, pz, dx, dy, dz, rr):
                    hit = capsule_hit(nodes, meta, tris, px, py, pz, dx, dy, dz, rr)
                    if hit >= 0:
                        tried[0, m] = hit
                        stopped = True
                if stopped:
                    break
            if stopped:
                continue
            open_[candidates] = p
            candidates += 1
        for r in range(rolls.shape[0]):
            turn_c, turn_s = rolls[r, 0], rolls[r, 1]
            last_part = parts - 1
            for index_open in range(candidates):
                p = open_[index_open]
                # Columns of the turned torch: X and Y by the roll, Z unchanged. The neck bends in its XZ plane, but
                # any capsule may stand anywhere.
                x0 = turn_c * torch_x[p, 0] + turn_s * torch_y[p, 0]
                x1 = turn_c * torch_x[p, 1] + turn_s * torch_y[p, 1]
                x2 = turn_c * torch_x[p, 2] + turn_s * torch_y[p, 2]
                y0 = turn_c * torch_y[p, 0] - turn_s * torch_x[p, 0]
                y1 = turn_c * torch_y[p, 1] - turn_s * torch_x[p, 1]
                y2 = turn_c * torch_y[p, 2] - turn_s * torch_x[p, 2]
                z0, z1, z2 = torch_z[p, 0], torch_z[p, 1], torch_z[p, 2]
                blocked = False
                for step in range(parts - axial):
                    # The part that was stopped at the point before comes first, then from the hand inwards.
                    m = last_part if step == 0 else parts - step
                    if step > 0 and m <= last_part:
                        m -= 1
                    px = points[p, 0] + starts[m, 0] * x0 + starts[m, 1] * y0 + starts[m, 2] * z0
                    py = points[p, 1] + starts[m, 0] * x1 + starts[m, 1] * y1 + starts[m, 2] * z1
                    pz = points[p, 2] + starts[m, 0] * x2 + starts[m, 1] * y2 + starts[m, 2] * z2
                    lx, ly, lz = ends[m, 0] - starts[m, 0], ends[m, 1] - starts[m, 1], ends[m, 2] - starts[m, 2]
                    dx = lx * x0 + ly * y0 + lz * z0
                    dy = lx * x1 + ly * y1 + lz * z1
                    dz = lx * x2 + ly * y2 + lz * z2
                    rr = radii[m]
                    if tried[r, m] >= 0 and (
                        segment_triangle(tris, tried[r, m], px, py, pz, dx, dy, dz, rr * rr, rr * rr) <= rr * rr
                    ):
                        blocked = True
                    elif not proved_free(nodes, meta, tris, grid, place, px, py, pz, dx, dy, dz, rr):
                        hit = capsule_hit(nodes, meta, tris, px, py, pz, dx, dy, dz, rr)
                        if hit >= 0:
                            tried[r, m] = hit
                            blocked = True
                    if blocked:
                        last_part = m
                        break
                if not blocked:
                    free[p, d, r] = 1


@_compiled
def lines_of_sight(  # type: ignore[no-untyped-def]
    nodes, meta, tris, owner, points, frames, lines, measures, wanted, seen, stopped, hits
):
    """Set seen (k,) to 1 at the points from which one of the wanted (k, V) lines is clear of all triangles.

    lines (V, 3) are unit vectors in the frames of the points; measures are where a line begins and ends, from the
    point, and its radius. At points where none is clear, stopped (bodies,) counts the body that each line met
    first in the order of the tree. hits (V,) is room to work in.
    """
    low, high, radius = measures[0], measures[1], measures[2]
    for p in range(points.shape[0]):
        for v in range(lines.shape[0]):
            hits[v] = -1
            if wanted[p, v] == 0:
                continue
            ux = frames[p, 0, 0] * lines[v, 0] + frames[p, 0, 1] * lines[v, 1] + frames[p, 0, 2] * lines[v, 2]
            uy = frames[p, 1, 0] * lines[v, 0] + frames[p, 1, 1] * lines[v, 1] + frames[p, 1, 2] * lines[v, 2]
            uz = frames[p, 2, 0] * lines[v, 0] + frames[p, 2, 1] * lines[v, 1] + frames[p, 2, 2] * lines[v, 2]
            px, py, pz = points[p, 0] + low * ux, points[p, 1] + low * uy, points[p, 2] + low * uz
            far = high - low
            hits[v] = capsule_hit(nodes, meta, tris, px, py, pz, far * ux, far * uy, far * uz, radius)
            if hits[v] < 0:
                seen[p] = 1
                break
        if seen[p] == 0:
            for v in range(lines.shape[0]):
                if hits[v] >= 0:
                    stopped[owner[hits[v]]] += 1


# --- who is in the way ---------------------------------------------------------------------------------------


@_compiled
def _capsule_bodies(  # type: ignore[no-untyped-def]
    nodes, meta, tris, owner, px, py, pz, dx, dy, dz, radius, stamp, mark, counts, recent
):
    """Count each body within ``radius`` of the segment that does not carry the stamp ``mark`` yet, and stamp it.

    ``recent`` holds triangles that were met nearby, or -1. They are tried first: a body that carries the stamp is
    skipped with all its nodes.
    """
    enough = radius * radius
    for j in range(recent.shape[0]):
        k = recent[j]
        if (
            k >= 0
            and stamp[owner[k]] != mark
            and segment_triangle(tris, k, px, py, pz, dx, dy, dz, enough, enough) <= enough
        ):
            stamp[owner[k]] = mark
            counts[owner[k]] += 1
    hx, hy, hz = 0.5 * dx, 0.5 * dy, 0.5 * dz
    mx, my, mz = px + hx, py + hy, pz + hz
    ax, ay, az = abs(hx), abs(hy), abs(hz)
    rx = radius * math.sqrt(hy * hy + hz * hz) + LOOSE
    ry = radius * math.sqrt(hx * hx + hz * hz) + LOOSE
    rz = radius * math.sqrt(hx * hx + hy * hy) + LOOSE
    bx, by, bz = ax + radius, ay + radius, az + radius
    i = 0
    count = meta.shape[0]
    while i < count:
        x, y, z = nodes[i, 0] - mx, nodes[i, 1] - my, nodes[i, 2] - mz
        sx, sy, sz = nodes[i, 3], nodes[i, 4], nodes[i, 5]
        body = meta[i, 3]
        if (
            (body >= 0 and stamp[body] == mark)
            or abs(x) > sx + bx
            or abs(y) > sy + by
            or abs(z) > sz + bz
            or abs(y * hz - z * hy) > sy * az + sz * ay + rx
            or abs(z * hx - x * hz) > sx * az + sz * ax + ry
            or abs(x * hy - y * hx) > sx * ay + sy * ax + rz
        ):
            i = meta[i, 0]
            continue
        if meta[i, 2] == 0:
            i += 1
            continue
        for k in range(np.int64(meta[i, 1]), np.int64(meta[i, 1]) + np.int64(meta[i, 2])):
            body = owner[k]
            if stamp[body] == mark:
                continue
            if segment_triangle(tris, k, px, py, pz, dx, dy, dz, enough, enough) <= enough:
                stamp[body] = mark
                counts[body] += 1
                for j in range(recent.shape[0] - 1, 0, -1):
                    recent[j] = recent[j - 1]
                recent[0] = k
        i = meta[i, 0]


@_compiled
def _cylinder_bodies(  # type: ignore[no-untyped-def]
    nodes, meta, tris, owner, cx, cy, cz, xa, za, height, radius, stamp, mark
):
    """Stamp the bodies that meet the cylinder with ``mark``."""
    half = 0.5 * height
    mx, my, mz = cx + half * za[0], cy + half * za[1], cz + half * za[2]
    ax, ay, az = abs(half * za[0]), abs(half * za[1]), abs(half * za[2])
    i = 0
    count = meta.shape[0]
    while i < count:
        x, y, z = nodes[i, 0] - mx, nodes[i, 1] - my, nodes[i, 2] - mz
        sx, sy, sz = nodes[i, 3], nodes[i, 4], nodes[i, 5]
        body = meta[i, 3]
        if (
            (body >= 0 and stamp[body] == mark)
            or abs(x) > sx + ax + radius
            or abs(y) > sy + ay + radius
            or abs(z) > sz + az + radius
        ):
            i = meta[i, 0]
            continue
        if meta[i, 2] == 0:
            i += 1
            continue
        for k in range(np.int64(meta[i, 1]), np.int64(meta[i, 1]) + np.int64(meta[i, 2])):
            body = owner[k]
            if stamp[body] == mark:
                continue
            if cylinder_meets(tris, k, cx, cy, cz, xa, za, height, radius):
                stamp[body] = mark
        i = meta[i, 0]


@_compiled
def blame_directions(  # type: ignore[no-untyped-def]
    nodes, meta, tris, owner, closed, grid, place, ray,
    points, frames, axes, xs, rolls, nozzle, starts, ends, radii, axial,
    directions, free, boxes, counts, spare, stamp, found, recent, xa, ya, za,
):  # fmt: skip
    """Add to ``counts`` (bodies,) in how many blocked positions each body is met, alone or with others.

    A body is met when the torch meets its surface or, for a closed one with ``boxes`` (bodies, 2, 3), when the middle
    of the nozzle lies in it: just what would block the position if the body stood alone.
    spare, stamp and found (bodies,), recent (R, parts, some), all but the first -1 throughout, and xa, ya, za (3,) are
    room to work in. ``axial`` as in ``sweep_directions``.
    """
    parts = radii.shape[0]
    low, height, radius = nozzle[0], nozzle[1], nozzle[2]
    mark = 0
    for index in range(directions.shape[0]):
        d = directions[index]
        for p in range(points.shape[0]):
            blocked = 0
            for r in range(rolls.shape[0]):
                blocked += 1 - free[p, d, r]
            if blocked == 0:
                continue
            for m in range(3):
                za[m] = frames[p, m, 0] * axes[d, 0] + frames[p, m, 1] * axes[d, 1] + frames[p, m, 2] * axes[d, 2]
                xa[m] = frames[p, m, 0] * xs[d, 0] + frames[p, m, 1] * xs[d, 1] + frames[p, m, 2] * xs[d, 2]
            ya[0] = za[1] * xa[2] - za[2] * xa[1]
            ya[1] = za[2] * xa[0] - za[0] * xa[2]
            ya[2] = za[0] * xa[1] - za[1] * xa[0]
            cx, cy, cz = points[p, 0] + low * za[0], points[p, 1] + low * za[1], points[p, 2] + low * za[2]
            mark += 1
            nozzle_bodies = 0
            if blocked == rolls.shape[0]:
                # What stands in the way of nozzle and axial parts does so for all rolls.
                _cylinder_bodies(nodes, meta, tris, owner, cx, cy, cz, xa, za, height, radius, stamp, mark)
                for m in range(axial):
                    lz = ends[m, 2] - starts[m, 2]
                    _capsule_bodies(
                        nodes, meta, tris, owner,
                        points[p, 0] + starts[m, 2] * za[0],
                        points[p, 1] + starts[m, 2] * za[1],
                        points[p, 2] + starts[m, 2] * za[2],
                        lz * za[0], lz * za[1], lz * za[2], radii[m], stamp, mark, spare, recent[0, m],
                    )  # fmt: skip
                half = low + 0.5 * height
                qx, qy, qz = (points[p, 0] + half * za[0], points[p, 1] + half * za[1], points[p, 2] + half * za[2])
                for body in range(counts.shape[0]):
                    if stamp[body] == mark or (
                        closed[body]
                        and boxes[body, 0, 0] <= qx <= boxes[body, 1, 0]
                        and boxes[body, 0, 1] <= qy <= boxes[body, 1, 1]
                        and boxes[body, 0, 2] <= qz <= boxes[body, 1, 2]
                        and solids_at(nodes, meta, tris, owner, closed, qx, qy, qz, body, ray) > 0
                    ):
                        found[nozzle_bodies] = body
                        nozzle_bodies += 1
            for r in range(rolls.shape[0]):
                if free[p, d, r] == 1:
                    continue
                mark += 1
                for j in range(nozzle_bodies):
                    stamp[found[j]] = mark
                    counts[found[j]] += 1
                turn_c, turn_s = rolls[r, 0], rolls[r, 1]
                # The hand first: the bodies that it meets need not be looked at for the thinner parts.
                for m in range(parts - 1, axial - 1, -1):
                    sx = turn_c * starts[m, 0] - turn_s * starts[m, 1]
                    sy = turn_s * starts[m, 0] + turn_c * starts[m, 1]
                    ex = turn_c * ends[m, 0] - turn_s * ends[m, 1] - sx
                    ey = turn_s * ends[m, 0] + turn_c * ends[m, 1] - sy
                    sz = starts[m, 2]
                    ez = ends[m, 2] - sz
                    px = points[p, 0] + sx * xa[0] + sy * ya[0] + sz * za[0]
                    py = points[p, 1] + sx * xa[1] + sy * ya[1] + sz * za[1]
                    pz = points[p, 2] + sx * xa[2] + sy * ya[2] + sz * za[2]
                    dx = ex * xa[0] + ey * ya[0] + ez * za[0]
                    dy = ex * xa[1] + ey * ya[1] + ez * za[1]
                    dz = ex * xa[2] + ey * ya[2] + ez * za[2]
                    if not proved_free(nodes, meta, tris, grid, place, px, py, pz, dx, dy, dz, radii[m]):
                        _capsule_bodies(
                            nodes,
                            meta,
                            tris,
                            owner,
                            px,
                            py,
                            pz,
                            dx,
                            dy,
                            dz,
                            radii[m],
                            stamp,
                            mark,
                            counts,
                            recent[r, m],
                        )


# --- how much room is left -------------------------------------------------------------------------------------


@_compiled
def _capsule_room(  # type: ignore[no-untyped-def]
    nodes, meta, tris, owner, spared, px, py, pz, dx, dy, dz, radius, room, stop, nearest, part
):
    """The smaller of ``room`` and the capsule's distance to the nearest triangle; may stop early below ``stop``.

    Bodies with ``spared`` 1 are left out. ``nearest[part]`` is the triangle that came nearest to this part the last
    time, or -1. It is tried first, since what stands close to one position stands close to its neighbours, and kept
    up to date.
    """
    hx, hy, hz = 0.5 * dx, 0.5 * dy, 0.5 * dz
    mx, my, mz = px + hx, py + hy, pz + hz
    ax, ay, az = abs(hx), abs(hy), abs(hz)
    cx, cy, cz = math.sqrt(hy * hy + hz * hz), math.sqrt(hx * hx + hz * hz), math.sqrt(hx * hx + hy * hy)
    before = nearest[part]
    i = 0
    count = meta.shape[0]
    while i < count and room > stop:
        around = radius + room
        first, some = np.int64(meta[i, 1]), np.int64(meta[i, 2])
        if before >= 0:
            # One triangle in place of the first node, which is looked at again in the next round.
            first, some = before, np.int64(1)
        else:
            x, y, z = nodes[i, 0] - mx, nodes[i, 1] - my, nodes[i, 2] - mz
            sx, sy, sz = nodes[i, 3], nodes[i, 4], nodes[i, 5]
            body = meta[i, 3]
            if (
                (body >= 0 and spared[body] == 1)
                or abs(x) > sx + ax + around
                or abs(y) > sy + ay + around
                or abs(z) > sz + az + around
                or abs(y * hz - z * hy) > sy * az + sz * ay + around * cx + LOOSE
                or abs(z * hx - x * hz) > sx * az + sz * ax + around * cy + LOOSE
                or abs(x * hy - y * hx) > sx * ay + sy * ax + around * cz + LOOSE
            ):
                i = meta[i, 0]
                continue
            if some == 0:
                i += 1
                continue
        for k in range(first, first + some):
            if spared[owner[k]] == 1:
                continue
            gap = math.sqrt(segment_triangle(tris, k, px, py, pz, dx, dy, dz, 0.0, around * around)) - radius
            if gap < room:
                room = max(gap, 0.0)
                nearest[part] = k
        if before >= 0:
            before = np.int64(-1)
        else:
            i = meta[i, 0]
    return room


@_compiled
def _cylinder_room(  # type: ignore[no-untyped-def]
    nodes, meta, tris, owner, spared, cx, cy, cz, xa, za, height, radius, room, stop, bound
):
    """Like ``_capsule_room`` for the nozzle, whose gap is known to be at most ``bound`` if it is less than ``room``."""
    half = 0.5 * height
    dx, dy, dz = height * za[0], height * za[1], height * za[2]
    mx, my, mz = cx + half * za[0], cy + half * za[1], cz + half * za[2]
    ax, ay, az = abs(half * za[0]), abs(half * za[1]), abs(half * za[2])
    i = 0
    count = meta.shape[0]
    while i < count and room > stop:
        around = radius + min(room, bound)
        body = meta[i, 3]
        if (
            (body >= 0 and spared[body] == 1)
            or abs(nodes[i, 0] - mx) > nodes[i, 3] + ax + around
            or abs(nodes[i, 1] - my) > nodes[i, 4] + ay + around
            or abs(nodes[i, 2] - mz) > nodes[i, 5] + az + around
        ):
            i = meta[i, 0]
            continue
        if meta[i, 2] == 0:
            i += 1
            continue
        for k in range(np.int64(meta[i, 1]), np.int64(meta[i, 1]) + np.int64(meta[i, 2])):
            if spared[owner[k]] == 1:
                continue
            # The cylinder lies within the capsule of the same axis, so its gap is no smaller than the capsule's.
            least = math.sqrt(segment_triangle(tris, k, cx, cy, cz, dx, dy, dz, 0.0, around * around)) - radius
            if least < min(room, bound):
                limit = min(room, bound)
                room = min(room, cylinder_triangle(tris, k, cx, cy, cz, xa, za, height, radius, limit))
        i = meta[i, 0]
    return room


@_compiled
def torch_room(  # type: ignore[no-untyped-def]
    nodes, meta, tris, owner, spared, nobody, point, turn, nozzle, starts, ends, radii, room, stop, nearest
):
    """Least distance of the torch at ``point`` with axes ``turn`` (3, 3, columns) to any body, at most ``room``.

    Bodies with ``spared`` 1 are left out for the nozzle only; ``nobody`` is as long and all 0. When it falls to
    ``stop`` or below, any such value. ``nearest`` (parts + 1,) as ``_capsule_room`` has it, the nozzle last.
    """
    x0, x1, x2 = turn[0, 0], turn[1, 0], turn[2, 0]
    y0, y1, y2 = turn[0, 1], turn[1, 1], turn[2, 1]
    z0, z1, z2 = turn[0, 2], turn[1, 2], turn[2, 2]
    parts = radii.shape[0]
    # The nozzle last: a capsule within it bounds its room from above, which spares most of the exact work.
    low, height, radius = nozzle[0], nozzle[1], nozzle[2]
    trim = min(radius, 0.5 * height)
    bound = room
    for m in range(parts - 1, -2, -1):
        if m >= 0:
            sx, sy, sz = starts[m, 0], starts[m, 1], starts[m, 2]
            ex, ey, ez = ends[m, 0] - sx, ends[m, 1] - sy, ends[m, 2] - sz
            thick, left_out, part = radii[m], nobody, m
        else:
            sx, sy, sz = 0.0, 0.0, low + trim
            ex, ey, ez = 0.0, 0.0, height - 2.0 * trim
            thick, left_out, part = trim, spared, parts
        bound = _capsule_room(
            nodes, meta, tris, owner, left_out,
            point[0] + sx * x0 + sy * y0 + sz * z0,
            point[1] + sx * x1 + sy * y1 + sz * z1,
            point[2] + sx * x2 + sy * y2 + sz * z2,
            ex * x0 + ey * y0 + ez * z0, ex * x1 + ey * y1 + ez * z1, ex * x2 + ey * y2 + ez * z2,
            thick, room, stop, nearest, part,
        )  # fmt: skip
        if bound <= stop:
            return bound
        if m >= 0:
            room = bound
    return _cylinder_room(
        nodes, meta, tris, owner, spared,
        point[0] + low * z0, point[1] + low * z1, point[2] + low * z2,
        turn[:, 0], turn[:, 2], height, radius, room, stop, bound + 1e-6,
    )  # fmt: skip


@_compiled
def roomiest(  # type: ignore[no-untyped-def]
    nodes, meta, tris, owner, spared,
    points, frames, axes, xs, rolls, nozzle, starts, ends, radii,
    candidates, most, least, turn, nobody, nearest,
):  # fmt: skip
    """Which of the candidates (n, 3), indices of point, direction and roll, leaves the most room, and how much.

    The torch is not grown. Room is told up to ``most``; the first candidate that has so much ends the search. Index
    -1 when none leaves more than ``least``. ``turn`` (3, 3), ``nobody`` (bodies,) of 0 and ``nearest`` (rolls,
    parts + 1) of -1 are room to work in.
    """
    best = least
    chosen = -1
    for c in range(candidates.shape[0]):
        p, d, r = candidates[c, 0], candidates[c, 1], candidates[c, 2]
        for m in range(3):
            turn[m, 2] = frames[p, m, 0] * axes[d, 0] + frames[p, m, 1] * axes[d, 1] + frames[p, m, 2] * axes[d, 2]
            turn[m, 0] = frames[p, m, 0] * xs[d, 0] + frames[p, m, 1] * xs[d, 1] + frames[p, m, 2] * xs[d, 2]
        turn[0, 1] = turn[1, 2] * turn[2, 0] - turn[2, 2] * turn[1, 0]
        turn[1, 1] = turn[2, 2] * turn[0, 0] - turn[0, 2] * turn[2, 0]
        turn[2, 1] = turn[0, 2] * turn[1, 0] - turn[1, 2] * turn[0, 0]
        for m in range(3):
            x, y = turn[m, 0], turn[m, 1]
            turn[m, 0] = rolls[r, 0] * x + rolls[r, 1] * y
            turn[m, 1] = rolls[r, 0] * y - rolls[r, 1] * x
        room = torch_room(
            nodes, meta, tris, owner, spared, nobody, points[p], turn, nozzle, starts, ends, radii, most, best,
            nearest[r],
        )  # fmt: skip
        if room > best + 1e-6:
            best = room
            chosen = c
            if best >= most:
                break
    return chosen, best
