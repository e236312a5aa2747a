"""The point of a triangle nearest to a point."""

from __future__ import annotations

from numba import njit


@njit(cache=True, nogil=True)
def foot(x, y, z, ux, uy, uz, vx, vy, vz):
    """Shares (s, t) of the edges u and v from a triangle's first corner to its point nearest to (x, y, z), all told from that corner.

    By the region of the plane that the foot falls in (Ericson, Real-time collision detection, 2005, section 5.1.5).
    """
    d1, d2 = ux * x + uy * y + uz * z, vx * x + vy * y + vz * z
    uu, vv, uv = ux * ux + uy * uy + uz * uz, vx * vx + vy * vy + vz * vz, ux * vx + uy * vy + uz * vz
    d3, d4, d5, d6 = d1 - uu, d2 - uv, d1 - uv, d2 - vv
    if d1 <= 0.0 and d2 <= 0.0:
        return 0.0, 0.0
    if d3 >= 0.0 and d4 <= d3:
        return 1.0, 0.0
    if d6 >= 0.0 and d5 <= d6:
        return 0.0, 1.0
    va, vb, vc = d3 * d6 - d5 * d4, d5 * d2 - d1 * d6, d1 * d4 - d3 * d2
    if vc <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
        return (d1 / (d1 - d3) if d1 != d3 else 0.0), 0.0
    if vb <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
        return 0.0, (d2 / (d2 - d6) if d2 != d6 else 0.0)
    if va <= 0.0 and d4 >= d3 and d5 >= d6:
        total = (d4 - d3) + (d5 - d6)
        t = (d4 - d3) / total if total != 0.0 else 0.0
        return 1.0 - t, t
    total = va + vb + vc
    if total == 0.0:
        return 0.0, 0.0
    return vb / total, vc / total
