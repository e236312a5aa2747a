"""The metal's surface carried along: planes in the cells of the skin, whole fluxes elsewhere; what passes each face is kept.

The share of metal in every cell is its old share plus what came in less what went out, so no metal is made or lost; the sweeps along
x, y and z only find what passes.

Source: Weymouth & Yue, Conservative volume-of-fluid method for free-surface simulations on Cartesian grids, J. Comput. Phys. 229 (2010)
2853-2865 (the sweeps' order and the flag that is held through them; details from memory); Youngs' normals from a 27-cell neighbourhood.
"""

# mypy: ignore-errors
from __future__ import annotations

from numba import njit

from strickle.kernels.fill_cells import CAVITY, OPEN, POURED, PRESSED, SOLID
from strickle.kernels.fill_planes import leaving
from strickle.kernels.fill_state import (
    BAND,
    DUST,
    FULL,
    GHOST,
    HEAT_SPRAY,
    INFLOW,
    OUTFLOW,
    SIDES_X,
    SKIN,
    SPRAY,
    WALK,
)  # fmt: skip

SKIN_OF, BULK, RING = 0, 1, 2
WHOLE = 0.8
"""Share of metal down to which an inner cell gives a face's whole flux."""
SLIGHT = 1e-3
"""Excess that is left to the pressure."""
MUCH = 5e-3
"""Excess of an inner cell that is handed on too: pressure moves none of it where the metal is stiff."""
FARTHEST = 6000
"""Cells searched for room."""
NOTHING = 1e-20
"""Share of a cell under which nothing passes a face: products of such numbers fall out of what a computer can hold."""
WISP = 1e-3
"""Share of metal under which a cell without metal beside it goes to the account of spray."""


@njit(cache=True, error_model="numpy")
def find_skin(cells, s):
    """Lists of the skin: cells near the surface, a ring of inner cells round them, their faces, and the wall cells beside them."""
    lists, skin_of, ghost, last = s.lists, s.skin, s.ghost, cells.m - 1
    f, kind, band, kind_of, mark = s.f, cells.kind, s.band, s.kind_of, s.mark
    xm, xp, ym, yp, zm, zp = cells.xm, cells.xp, cells.ym, cells.yp, cells.zm, cells.zp
    for k in range(lists[BAND]):
        c = band[k]
        inner = f[c] > FULL
        if inner:
            for a in (xm[c], xp[c], ym[c], yp[c], zm[c], zp[c]):
                if kind[a] != SOLID and f[a] <= FULL:
                    inner = False
                    break
        kind_of[c] = BULK if inner else SKIN_OF
    skin = 0
    for k in range(lists[BAND]):
        c = band[k]
        if kind_of[c] == BULK:
            for a in (xm[c], xp[c], ym[c], yp[c], zm[c], zp[c]):
                if kind[a] == CAVITY and mark[a] != 0 and kind_of[a] == SKIN_OF:
                    kind_of[c] = RING
                    break
        if kind_of[c] != BULK:
            skin_of[skin] = c
            skin += 1
    lists[SKIN] = skin
    ghosts = 0
    numbers, full, sx, sy = cells.numbers, cells.full, cells.sx, cells.sy
    for k in range(skin):
        c = skin_of[k]
        if f[c] <= 0.0 or f[c] >= 1.0:
            continue
        at = full[c]
        for i in range(-1, 2):
            for j in range(-1, 2):
                for m in range(-1, 2):
                    a = numbers[at + i * sx + j * sy + m]
                    if kind[a] == SOLID and mark[a] == 0 and a != last:
                        mark[a] = 1
                        ghost[ghosts] = a
                        ghosts += 1
    for k in range(ghosts):
        mark[ghost[k]] = 0
    lists[GHOST] = ghosts
    lists[SIDES_X] = _sides(cells, s, 0, cells.ax, xp)
    lists[SIDES_X + 1] = _sides(cells, s, 1, cells.ay, yp)
    lists[SIDES_X + 2] = _sides(cells, s, 2, cells.az, zp)


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _sides(cells, s, axis, opening, hi):
    lists, skin, sides = s.lists, s.skin, s.sides
    kind, mark, kind_of = cells.kind, s.mark, s.kind_of
    found = 0
    for k in range(lists[SKIN]):
        c = skin[k]
        if opening[c] > 0.0:
            sides[axis, found] = c
            found += 1
        p = hi[c]
        if opening[p] > 0.0 and not (kind[p] == CAVITY and mark[p] != 0 and kind_of[p] != BULK):
            sides[axis, found] = p
            found += 1
    return found


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _wall_shares(cells, s):
    """Wall cells beside the skin take the mean of the cavity cells they touch, so that metal meets a wall squarely."""
    lists, ghost = s.lists, s.ghost
    f, kind, numbers, full, sx, sy = s.f, cells.kind, cells.numbers, cells.full, cells.sx, cells.sy
    xm, xp, ym, yp, zm, zp = cells.xm, cells.xp, cells.ym, cells.yp, cells.zm, cells.zp
    for k in range(lists[GHOST]):
        c = ghost[k]
        total, count = 0.0, 0
        for a in (xm[c], xp[c], ym[c], yp[c], zm[c], zp[c]):
            if kind[a] == CAVITY:
                total += f[a]
                count += 1
        if count == 0:
            at = full[c]
            for i in range(-1, 2):
                for j in range(-1, 2):
                    for m in range(-1, 2):
                        a = numbers[at + i * sx + j * sy + m]
                        if kind[a] == CAVITY:
                            total += f[a]
                            count += 1
        f[c] = total / count if count > 0 else 0.0


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _normal(f, numbers, at, sx, sy):
    """From metal to air, any length, from the 27 shares round a cell."""
    nx, ny, nz = 0.0, 0.0, 0.0
    for i in range(-1, 2):
        wi = 2.0 - abs(i)
        for j in range(-1, 2):
            wj = 2.0 - abs(j)
            place = at + i * sx + j * sy
            low, mid, high = f[numbers[place - 1]], f[numbers[place]], f[numbers[place + 1]]
            row = low + 2.0 * mid + high
            nx -= i * wj * row
            ny -= j * wi * row
            nz -= wi * wj * (high - low)
    return nx, ny, nz


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _pass(cells, s, axis, opening, lo, speeds, lam):
    """What passes the skin's faces of one direction in a sub-step, into ``through``."""
    lists, sides, through = s.lists, s.sides, s.through
    f, kind, vol, kind_of, mark = s.f, cells.kind, cells.vol, s.kind_of, s.mark
    numbers, full, sx, sy = cells.numbers, cells.full, cells.sx, cells.sy
    for k in range(lists[SIDES_X + axis]):
        c = sides[axis, k]
        whole = opening[c] * speeds[c] * lam
        if abs(whole) < NOTHING:
            through[c] = 0.0
            continue
        d = lo[c] if whole > 0.0 else c
        share = f[d]
        if kind[d] != CAVITY:
            through[c] = whole if kind[d] == PRESSED or kind[d] == POURED else 0.0
        elif share <= 0.0:
            through[c] = 0.0
        elif share >= 1.0 - 1e-9 or (share > WHOLE and mark[d] != 0 and kind_of[d] != SKIN_OF):
            through[c] = whole
        else:
            nx, ny, nz = _normal(f, numbers, full[d], sx, sy)
            depth = min(abs(whole) / vol[d], 1.0)
            part = vol[d] * leaving(nx, ny, nz, share, axis, whole > 0.0, depth)
            through[c] = part if whole > 0.0 else -part


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _sweep(cells, s, axis, opening, lo, hi, speeds, lam, total):
    """One direction of a sub-step: what passes, and the shares in between."""
    lists, sides, through, skin, held = s.lists, s.sides, s.through, s.skin, s.held
    f, vol = s.f, cells.vol
    _wall_shares(cells, s)
    _pass(cells, s, axis, opening, lo, speeds, lam)
    for k in range(lists[SIDES_X + axis]):
        c = sides[axis, k]
        total[c] += through[c]
    for k in range(lists[SKIN]):
        c = skin[k]
        p = hi[c]
        low = through[c] if opening[c] > 0.0 else 0.0
        high = through[p] if opening[p] > 0.0 else 0.0
        spread = held[c] * lam * (opening[p] * speeds[p] - opening[c] * speeds[c])
        f[c] += (low - high + spread) / vol[c]


@njit(cache=True, error_model="numpy")
def advect(cells, s, lam, parts, turn):
    """Carry the metal over a step in ``parts`` sub-steps; ``turn`` sets which direction comes first."""
    lists, tx, ty, tz, ax, u, ay, v = s.lists, s.tx, s.ty, s.tz, cells.ax, s.u, cells.ay, s.v
    az, w, old, sides, skin, held = cells.az, s.w, s.old, s.sides, s.skin, s.held
    f, band = s.f, s.band
    xm, xp, ym, yp, zm, zp = cells.xm, cells.xp, cells.ym, cells.yp, cells.zm, cells.zp
    for k in range(lists[WALK]):
        c = band[k]
        tx[c] = ax[c] * u[c] * lam
        ty[c] = ay[c] * v[c] * lam
        tz[c] = az[c] * w[c] * lam
    for k in range(lists[BAND]):
        old[band[k]] = f[band[k]]
    for axis in range(3):
        total = tx if axis == 0 else (ty if axis == 1 else tz)
        for k in range(lists[SIDES_X + axis]):
            total[sides[axis, k]] = 0.0
    part = lam / parts
    for sub in range(parts):
        for k in range(lists[SKIN]):
            c = skin[k]
            held[c] = 1.0 if f[c] > 0.5 else 0.0
        first = (turn + sub) % 3
        for way in range(3):
            axis = (first + way) % 3
            if axis == 0:
                _sweep(cells, s, 0, ax, xm, xp, u, part, tx)
            elif axis == 1:
                _sweep(cells, s, 1, ay, ym, yp, v, part, ty)
            else:
                _sweep(cells, s, 2, az, zm, zp, w, part, tz)
        if sub < parts - 1:
            _settle(cells, s, skin, lists[SKIN])
    _settle(cells, s, band, lists[BAND])


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _settle(cells, s, some, count):
    """Shares from what has passed, exactly."""
    tz, ty, tx = s.tz, s.ty, s.tx
    f, old, vol = s.f, s.old, cells.vol
    xp, yp, zp = cells.xp, cells.yp, cells.zp
    for k in range(count):
        c = some[k]
        gain = tx[c] - tx[xp[c]] + ty[c] - ty[yp[c]] + tz[c] - tz[zp[c]]
        f[c] = old[c] + gain / vol[c]


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _beside(cells, c, way):
    """Neighbour ``way`` (0 .. 5: low x, high x, low y ...), the face between, and the sign of metal that goes there through it."""
    if way == 0:
        return cells.xm[c], c, -1.0
    if way == 1:
        return cells.xp[c], cells.xp[c], 1.0
    if way == 2:
        return cells.ym[c], c, -1.0
    if way == 3:
        return cells.yp[c], cells.yp[c], 1.0
    if way == 4:
        return cells.zm[c], c, -1.0
    return cells.zp[c], cells.zp[c], 1.0


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def _hand_on(cells, s, c):
    """Find the nearest cells with room and hand the excess of ``c`` on to them, cell by cell through the faces between."""
    f, vol, kind, mark, near = s.f, cells.vol, cells.kind, s.mark, s.near
    queue, parent, way_of = s.hurry, s.ghost, s.unknown  # free between steps
    queue[0], parent[0], way_of[0] = c, 0, 0
    near[c] = 1
    found, at = 1, 0
    while at < found and f[c] > 1.0:
        here = queue[at]
        for way in range(6):
            a, face, _ = _beside(cells, here, way)
            opening = cells.ax[face] if way < 2 else (cells.ay[face] if way < 4 else cells.az[face])
            if opening <= 0.0 or kind[a] != CAVITY or mark[a] == 0 or near[a] == 1 or found >= FARTHEST:
                continue
            near[a] = 1
            queue[found], parent[found], way_of[found] = a, at, way
            found += 1
            if f[a] < 1.0 and f[c] > 1.0:
                moved = min((f[c] - 1.0) * vol[c], (1.0 - f[a]) * vol[a])
                f[a] += moved / vol[a]
                f[c] -= moved / vol[c]
                back = found - 1
                while back > 0:
                    _, through, sign = _beside(cells, queue[parent[back]], way_of[back])
                    if way_of[back] < 2:
                        s.tx[through] += sign * moved
                    elif way_of[back] < 4:
                        s.ty[through] += sign * moved
                    else:
                        s.tz[through] += sign * moved
                    back = parent[back]
        at += 1
    for k in range(found):
        near[queue[k]] = 0


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def spread_excess(cells, s):
    """Metal over a cell's room goes to the nearest cells that have some, and is counted as passing the faces on its way."""
    f, skin, band = s.f, s.skin, s.band
    for k in range(s.lists[SKIN]):
        if f[skin[k]] > 1.0 + SLIGHT:
            _hand_on(cells, s, skin[k])
    for k in range(s.lists[BAND]):
        if f[band[k]] > 1.0 + MUCH:
            _hand_on(cells, s, band[k])


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def dust(cells, s):
    """Specks and lone wisps go to the account of spray, with their heat."""
    lists, skin, tally, e, kind = s.lists, s.skin, s.tally, s.e, cells.kind
    f, vol = s.f, cells.vol
    xm, xp, ym, yp, zm, zp = cells.xm, cells.xp, cells.ym, cells.yp, cells.zm, cells.zp
    for k in range(lists[SKIN]):
        c = skin[k]
        share = f[c]
        if share == 0.0:
            continue
        gone = share < DUST
        if not gone and share < WISP:
            gone = True
            for a in (xm[c], xp[c], ym[c], yp[c], zm[c], zp[c]):
                if kind[a] != SOLID and f[a] > WISP:
                    gone = False
                    break
        if gone:
            tally[SPRAY] += share * vol[c]
            tally[HEAT_SPRAY] += e[c] * vol[c]
            f[c] = 0.0
            e[c] = 0.0


@njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
def count_ends(cells, s):
    """Metal that came in through given faces and left into the open air, in cells."""
    extra, tx, xp, ty, tz, yp, zp, tally = cells.extra, s.tx, cells.xp, s.ty, s.tz, cells.yp, cells.zp, s.tally
    mark = s.mark
    kind = cells.kind
    for k in range(cells.extra.shape[0]):
        c = extra[k]
        for axis in range(3):
            total = tx if axis == 0 else (ty if axis == 1 else tz)
            hi = xp if axis == 0 else (yp if axis == 1 else zp)
            if kind[c] == OPEN:
                tally[OUTFLOW] += total[c]
                if kind[hi[c]] == CAVITY and mark[hi[c]] != 0:
                    tally[OUTFLOW] -= total[hi[c]]
            elif kind[c] == PRESSED or kind[c] == POURED:
                tally[INFLOW] -= total[c]
                if kind[hi[c]] == CAVITY and mark[hi[c]] != 0:
                    tally[INFLOW] += total[hi[c]]
