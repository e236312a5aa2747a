"""Still pictures: a depth-buffer renderer for triangle meshes, orthographic, 2 x 2 samples a pixel.

The loops keep, for each sample, the nearest triangle and its depth; colour, light, crease lines and shade in corners follow from
those two, so a field can be sampled at every pixel and not only at the corners of large triangles.
Arrays are [row, column], row 0 at the top. Colours are red, green, blue in 0..1.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

SAMPLES = 2
CREASE = 0.88  # cosine between the faces beyond which a line is drawn
FAR = -1e30
PITCH, THICK = 22, 6  # samples from one stripe of a hatch to the next, and across it


@njit(cache=True, nogil=True)
def cover(vertices, faces, depth, owner):
    """Nearest triangle of every sample.

    vertices (n, 3)  x, y in samples (y down), z toward the eye
    faces (m, 3)     corner numbers
    depth, owner (h, w)  out: z of the nearest triangle (FAR where none), its number (-1 where none)
    """
    height, width = depth.shape
    for f in range(faces.shape[0]):
        ax, ay, az = vertices[faces[f, 0]]
        bx, by, bz = vertices[faces[f, 1]]
        cx, cy, cz = vertices[faces[f, 2]]
        area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if abs(area) < 1e-12:
            continue
        left = max(0, math.ceil(min(ax, bx, cx) - 0.5))
        right = min(width - 1, math.floor(max(ax, bx, cx) - 0.5))
        top = max(0, math.ceil(min(ay, by, cy) - 0.5))
        foot = min(height - 1, math.floor(max(ay, by, cy) - 0.5))
        for row in range(top, foot + 1):
            py = row + 0.5
            for col in range(left, right + 1):
                px = col + 0.5
                u = ((bx - px) * (cy - py) - (by - py) * (cx - px)) / area
                v = ((cx - px) * (ay - py) - (cy - py) * (ax - px)) / area
                w = 1.0 - u - v
                if u < -1e-9 or v < -1e-9 or w < -1e-9:
                    continue
                z = u * az + v * bz + w * cz
                if z > depth[row, col]:
                    depth[row, col] = z
                    owner[row, col] = f


@njit(cache=True, nogil=True)
def face_normals(vertices, faces, normals):
    """Unit normals (m, 3) of the faces by the right-hand rule; zero for a face without area."""
    for f in range(faces.shape[0]):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        ux = vertices[b, 0] - vertices[a, 0]
        uy = vertices[b, 1] - vertices[a, 1]
        uz = vertices[b, 2] - vertices[a, 2]
        vx = vertices[c, 0] - vertices[a, 0]
        vy = vertices[c, 1] - vertices[a, 1]
        vz = vertices[c, 2] - vertices[a, 2]
        nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        size = math.sqrt(nx * nx + ny * ny + nz * nz)
        if size < 1e-300:
            normals[f, 0] = normals[f, 1] = normals[f, 2] = 0.0
        else:
            normals[f, 0], normals[f, 1], normals[f, 2] = nx / size, ny / size, nz / size


@njit(cache=True, nogil=True)
def edges(depth, owner, normals, step, line):
    """Mark samples on a crease or outline.

    normals (m, 3)  screen-space face normals, z toward the eye
    step            depth jump [samples] counted as an outline beyond what the slope explains
    line (h, w)     out: 0 none, 1 crease, 2 outline
    """
    height, width = depth.shape
    for row in range(height - 1):
        for col in range(width - 1):
            f = owner[row, col]
            for side in range(2):
                r, c = (row, col + 1) if side == 0 else (row + 1, col)
                g = owner[r, c]
                if f == g:
                    continue
                if f < 0 or g < 0:
                    line[row, col] = line[r, c] = 2
                    continue
                slope = max(1.0, 1.0 / max(normals[f, 2], 0.08), 1.0 / max(normals[g, 2], 0.08))
                if abs(depth[row, col] - depth[r, c]) > step * slope:
                    line[row, col] = line[r, c] = 2
                    continue
                same = normals[f, 0] * normals[g, 0] + normals[f, 1] * normals[g, 1] + normals[f, 2] * normals[g, 2]
                if same < CREASE and line[row, col] == 0:
                    line[row, col] = 1


@njit(cache=True, nogil=True)
def isolines(owner, band, line):
    """Mark samples where the band number changes on one surface.

    band (h, w) int64  number of the band each sample lies in
    line (h, w)        in: creases and outlines; out: 3 on a line between bands
    """
    height, width = owner.shape
    for row in range(height - 2):
        for col in range(width - 2):
            if owner[row, col] < 0 or line[row, col] != 0:
                continue
            here = band[row, col]
            for side in range(2):
                r, c = (row, col + 2) if side == 0 else (row + 2, col)
                between = line[row, col + 1] if side == 0 else line[row + 1, col]
                if owner[r, c] >= 0 and line[r, c] in (0, 3) and between != 2 and band[r, c] != here:
                    line[row, col] = 3


@njit(cache=True, nogil=True)
def hatched(owner, marked, pitch, thick, colour):
    """Stripes over marked samples: dark on what is light, light on what is dark, so that they show without colour too.

    marked (h, w) uint8; pitch, thick [samples]; colour (h, w, 3) changed
    """
    height, width = owner.shape
    for row in range(height):
        for col in range(width):
            if owner[row, col] < 0 or marked[row, col] == 0 or (row + col) % pitch >= thick:
                continue
            light = 0.3 * colour[row, col, 0] + 0.59 * colour[row, col, 1] + 0.11 * colour[row, col, 2]
            ink = 0.06 if light > 0.42 else 0.97
            for k in range(3):
                colour[row, col, k] = ink


@njit(cache=True, nogil=True)
def corners(depth, owner, normals, reach, shade):
    """Screen-space shade in corners, one value a pixel (2 x 2 samples).

    reach           radius looked at [samples]
    shade (h/2, w/2)  out: 0 open .. 1 shut in
    """
    height, width = depth.shape
    for row in range(shade.shape[0]):
        for col in range(shade.shape[1]):
            y, x = 2 * row, 2 * col
            f = owner[y, x]
            if f < 0:
                continue
            turn = ((row % 4) * 4 + (col % 4)) * (math.pi / 64.0)
            shut = 0.0
            for spoke in range(8):
                dx = math.cos(turn + spoke * math.pi / 4)
                dy = math.sin(turn + spoke * math.pi / 4)
                most = 0.0
                for k in range(1, 5):
                    far = reach * (k - 0.5 * ((row + col) % 2) * 0.5) / 4.0
                    r, c = int(y + dy * far), int(x + dx * far)
                    if r < 0 or c < 0 or r >= height or c >= width or owner[r, c] < 0:
                        continue
                    vx, vy, vz = c - x, -(r - y), depth[r, c] - depth[y, x]
                    size = math.sqrt(vx * vx + vy * vy + vz * vz) + 1e-9
                    rise = (vx * normals[f, 0] + vy * normals[f, 1] + vz * normals[f, 2]) / size
                    fade = 1.0 / (1.0 + (size / reach) ** 2)
                    most = max(most, (rise - 0.12) * fade)
                shut += most
            shade[row, col] = min(1.0, shut / 8.0 * 1.6)


@njit(cache=True, nogil=True)
def smooth(shade, owner, out):
    """Mean of ``shade`` over 4 x 4 pixels of metal, to hide the turned sampling pattern."""
    height, width = shade.shape
    for row in range(height):
        for col in range(width):
            if owner[2 * row, 2 * col] < 0:
                continue
            total, count = 0.0, 0
            for r in range(max(0, row - 2), min(height, row + 2)):
                for c in range(max(0, col - 2), min(width, col + 2)):
                    if owner[2 * r, 2 * c] >= 0:
                        total += shade[r, c]
                        count += 1
            out[row, col] = total / max(count, 1)


@njit(cache=True, nogil=True)
def grown(values, seen, out):
    """One ring of cells beyond the known ones gets the mean of its known neighbours; returns how many were filled.

    values, out (nx, ny, nz); seen (nx, ny, nz) uint8, 1 where known; out and seen are updated
    """
    nx, ny, nz = values.shape
    count = 0
    for i in range(nx):
        for j in range(ny):
            for k in range(nz):
                if seen[i, j, k] == 1:
                    continue
                total, n = 0.0, 0
                for a in range(max(0, i - 1), min(nx, i + 2)):
                    for b in range(max(0, j - 1), min(ny, j + 2)):
                        for c in range(max(0, k - 1), min(nz, k + 2)):
                            if seen[a, b, c] == 1:
                                total += values[a, b, c]
                                n += 1
                if n:
                    out[i, j, k] = total / n
                    seen[i, j, k] = 2
                    count += 1
    for i in range(nx):
        for j in range(ny):
            for k in range(nz):
                if seen[i, j, k] == 2:
                    seen[i, j, k] = 1
    return count


@njit(cache=True, nogil=True)
def sample(values, seen, origin, cell, points, out):
    """Trilinear value of a cell-centred field at points, over known cells only; NaN where none of the eight is known.

    values, seen (nx, ny, nz); origin (3,) corner of cell 0,0,0 [m]; points (n, 3) [m]; out (n,)
    """
    nx, ny, nz = values.shape
    for p in range(points.shape[0]):
        x = (points[p, 0] - origin[0]) / cell - 0.5
        y = (points[p, 1] - origin[1]) / cell - 0.5
        z = (points[p, 2] - origin[2]) / cell - 0.5
        i, j, k = math.floor(x), math.floor(y), math.floor(z)
        total, weight = 0.0, 0.0
        for a in range(2):
            for b in range(2):
                for c in range(2):
                    ia, jb, kc = i + a, j + b, k + c
                    if ia < 0 or jb < 0 or kc < 0 or ia >= nx or jb >= ny or kc >= nz or seen[ia, jb, kc] != 1:
                        continue
                    w = (x - i if a else 1.0 - (x - i)) * (y - j if b else 1.0 - (y - j)) * (z - k if c else 1.0 - (z - k))
                    total += w * values[ia, jb, kc]
                    weight += w
        out[p] = total / weight if weight > 1e-9 else np.nan


@njit(cache=True, nogil=True)
def paint(owner, normals, colour, line, shade, picture):
    """Light, lines and the mean of 2 x 2 samples.

    colour (h, w, 3) float32 of each sample; line (h, w); shade (h/2, w/2); picture (h/2, w/2, 4) uint8 out, alpha = share covered
    """
    lx, ly, lz = -0.45, 0.65, 0.61
    for row in range(picture.shape[0]):
        for col in range(picture.shape[1]):
            red, green, blue, full = 0.0, 0.0, 0.0, 0
            dim = 1.0 - 0.62 * shade[row, col]
            for a in range(2):
                for b in range(2):
                    y, x = 2 * row + a, 2 * col + b
                    f = owner[y, x]
                    mark = line[y, x]
                    if f < 0 and mark == 0:
                        continue
                    full += 1
                    if mark == 2:
                        red += 0.09
                        green += 0.10
                        blue += 0.12
                        continue
                    lit = max(0.0, normals[f, 0] * lx + normals[f, 1] * ly + normals[f, 2] * lz)
                    light = (0.66 + 0.34 * lit) * dim
                    if mark == 1:
                        light *= 0.62
                    elif mark == 3:
                        own = 0.3 * colour[y, x, 0] + 0.59 * colour[y, x, 1] + 0.11 * colour[y, x, 2]
                        ink = 0.20 if own > 0.42 else 0.85
                        red += ink
                        green += ink
                        blue += ink
                        continue
                    red += colour[y, x, 0] * light
                    green += colour[y, x, 1] * light
                    blue += colour[y, x, 2] * light
            if full:
                picture[row, col, 0] = np.uint8(min(255.0, 255.0 * red / full + 0.5))
                picture[row, col, 1] = np.uint8(min(255.0, 255.0 * green / full + 0.5))
                picture[row, col, 2] = np.uint8(min(255.0, 255.0 * blue / full + 0.5))
                picture[row, col, 3] = np.uint8(255 * full // 4)


@njit(cache=True, nogil=True)
def tint(owner, faces, colours, depth, vertices, colour):
    """Colour of every sample from colours at the corners (n, 3), by its place in its triangle. vertices as for ``cover``."""
    height, width = owner.shape
    for row in range(height):
        for col in range(width):
            f = owner[row, col]
            if f < 0:
                continue
            a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
            ax, ay, bx, by = vertices[a, 0], vertices[a, 1], vertices[b, 0], vertices[b, 1]
            cx, cy = vertices[c, 0], vertices[c, 1]
            area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
            px, py = col + 0.5, row + 0.5
            u = ((bx - px) * (cy - py) - (by - py) * (cx - px)) / area
            v = ((cx - px) * (ay - py) - (cy - py) * (ax - px)) / area
            for k in range(3):
                colour[row, col, k] = u * colours[a, k] + v * colours[b, k] + (1.0 - u - v) * colours[c, k]
