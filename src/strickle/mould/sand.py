"""Does the sand stand the draw: the weakest section of each enclosed sand body against its green strength.

A body enclosed by the pattern in plan (a cod, a finger) is dragged along its walls as the pattern is drawn. Above a level z the pull
F(z) is the drag on all its wall beyond z; it must not exceed the strength of the section at z. In the cope the body hangs, so its own
weight is added. Drag and strength are guessed ranges: the answer is a class, never a promise.
Slots open at one side are not enclosed and are not judged here.
"""

from __future__ import annotations

import numpy as np

from strickle.base import Array, Mesh
from strickle.mould.result import SandBody
from strickle.mould.rules import pull_share

GRAVITY = 9.81
ACROSS, FINEST = 220, 0.8e-3  # cells across the part at the most, finest cell [m]
SMALLEST = 4  # cells of a section below which a body is not seen


def bodies(cavity: Mesh, drag: float, strength: float, density: float) -> tuple[SandBody, ...]:
    """Enclosed sand bodies of both halves, worst first. ``drag`` and ``strength`` [Pa], rammed ``density`` [kg/m3]."""
    from strickle.kernels import raster

    low, high = cavity.vertices.min(axis=0), cavity.vertices.max(axis=0)
    cell = max(FINEST, float((high - low)[:2].max()) / ACROSS)
    below = int(np.ceil(max(-low[2], 0.0) / cell))
    above = int(np.ceil(max(high[2], 0.0) / cell))
    plan = np.ceil((high - low)[:2] / cell).astype(int) + 4
    origin = np.array([low[0] - 2 * cell, low[1] - 2 * cell, -below * cell])
    shape = (int(plan[0]), int(plan[1]), below + above)
    if shape[2] == 0:
        return ()
    fraction = raster.fractions(np.ascontiguousarray(cavity.vertices), np.ascontiguousarray(cavity.faces), origin, cell, shape, 2)
    metal = np.asarray(fraction) >= 0.5
    found: list[SandBody] = []
    if below:
        # layers from the parting down: the draw is up, the root lies at the bottom
        found += _half(metal[:, :, :below][:, :, ::-1], "drag", cell, origin, drag, strength, density)
    if above:
        found += _half(metal[:, :, below:], "cope", cell, origin, drag, strength, density)
    return tuple(sorted(found, key=lambda b: -b.use))


def _half(metal: Array, half: str, cell: float, origin: Array, drag: float, strength: float, density: float) -> list[SandBody]:
    """Bodies of one half; layer 0 lies at the parting, the last one farthest from it, where the bodies are rooted."""
    from scipy import ndimage

    enclosed = np.zeros_like(metal)
    for k in range(metal.shape[2]):
        enclosed[:, :, k] = ndimage.binary_fill_holes(metal[:, :, k]) & ~metal[:, :, k]
    # sand with metal between it and its root is no body of this half: it is an undercut, judged by the pattern room
    beyond = np.flip(np.logical_or.accumulate(np.flip(metal, axis=2), axis=2), axis=2)
    enclosed &= ~beyond
    label, count = ndimage.label(enclosed)
    found = []
    for number, where in enumerate(ndimage.find_objects(label), start=1):
        if count == 0 or where is None or len(where) != 3:
            continue
        x, y, z = where
        body = label[where] == number
        if int(body.any(axis=2).sum()) < SMALLEST:
            continue
        found.append(_body(body, (x, y, z), half, cell, origin, drag, strength, density))
    return found


def _body(
    body: Array, where: tuple[slice, slice, slice], half: str, cell: float, origin: Array, drag: float, strength: float, density: float
) -> SandBody:
    """The worst section of one body: pull of everything nearer the parting than it over its own strength."""
    from scipy import ndimage

    layers = body.shape[2]
    area = body.sum(axis=(0, 1)) * cell**2
    padded = np.pad(body.astype(float), ((3, 3), (3, 3), (0, 0)))
    edge = np.array([float(ndimage.gaussian_gradient_magnitude(padded[:, :, k], 1.0).sum()) * cell for k in range(layers)])
    pull = np.cumsum(edge * cell) * drag
    if half == "cope":
        pull = pull + np.cumsum(area * cell) * density * GRAVITY
    use = np.array([pull_share(float(f), float(a), strength) for f, a in zip(pull, area)])
    worst = int(np.argmax(np.where(np.isfinite(use), use, -1.0)))
    section = body[:, :, worst]
    width = 2.0 * float(ndimage.distance_transform_edt(np.pad(section, 1)).max()) * cell
    root = np.argwhere(body[:, :, -1]) if body[:, :, -1].any() else np.argwhere(section)
    middle = root.mean(axis=0) + 0.5
    away = (where[2].start + layers) * cell
    at = np.array(
        [
            origin[0] + (where[0].start + middle[0]) * cell,
            origin[1] + (where[1].start + middle[1]) * cell,
            away if half == "cope" else -away,
        ]
    )
    return SandBody(at=at, half=half, depth=layers * cell, width=width, neck_area=float(area[worst]), use=float(use[worst]))
