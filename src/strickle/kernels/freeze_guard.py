"""Before the freezing solver runs: questions that make no sense are refused, and the freezing time is guessed to set the steps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from strickle.kernels.freeze_setup import FILM, OUTER, WALL, Faces
from strickle.kernels.freeze_steps import SIGMA
from strickle.kernels.freeze_tables import Floats, MetalTable, Refused
from strickle.kernels.freeze_types import Contact, FaceSpec, MediumTable


def refuse(
    tags: NDArray[np.uint8],
    cell: float,
    metal: MetalTable | None,
    media: Mapping[int, MediumTable],
    metal_start: Mapping[int, float],
    contact: Mapping[tuple[int, int], float | Contact],
    faces: Sequence[FaceSpec],
    open_faces: Mapping[int, FaceSpec],
    begin: Floats | None = None,
) -> None:
    """Raise Refused, with what is wrong, for a question that cannot be computed."""
    if tags.ndim != 3 or tags.dtype != np.uint8 or tags.size == 0:
        raise Refused("tags must be a three-dimensional uint8 array with at least one cell")
    if not (np.isfinite(cell) and cell > 0.0):
        raise Refused("the cell edge must be a positive number of metres")
    claimed = [*media, *metal_start, *open_faces]
    if len(claimed) != len(set(claimed)):
        raise Refused("a tag can be metal, medium or open surface, not two of them")
    if any(not 0 <= t < OUTER for t in claimed):
        raise Refused(f"tags must lie between 0 and {OUTER - 1}")
    present = np.flatnonzero(np.bincount(tags.reshape(-1), minlength=256))
    unknown = [int(t) for t in present if int(t) not in claimed]
    if unknown:
        raise Refused(f"no material is given for tag {unknown[0]}")
    if metal_start and metal is None:
        raise Refused("metal tags are given but no metal")
    for tag, temperature in metal_start.items():
        _number(temperature, f"starting temperature of tag {tag}", positive=True)
    for tag, medium in media.items():
        for value, name in zip(medium, ("conductivity", "density", "heat capacity", "starting temperature"), strict=True):
            if not isinstance(value, tuple):  # curves are looked at when they are fitted
                _number(value, f"{name} of the medium with tag {tag}", positive=True)
    for (one, two), value in contact.items():
        if one != two and (two, one) in contact and contact[two, one] != value:
            raise Refused(f"contact between tags {one} and {two} is given twice, with unlike values")
        if one not in claimed or two not in claimed:
            raise Refused(f"contact is given for tags {one} and {two}, but one of them has no material")
        both = value if isinstance(value, Contact) else (value, value)
        if one in metal_start and two in metal_start and np.isfinite(both).any():
            raise Refused(f"tags {one} and {two} are the same metal: a contact conductance between them is not computed")
        if np.isnan(both).any() or min(both) <= 0.0:
            raise Refused(f"contact conductance between tags {one} and {two} must be positive")
        if both[1] > both[0]:
            raise Refused(f"contact conductance between tags {one} and {two} must not rise as the gap opens")
        if both[1] != both[0] and one not in metal_start and two not in metal_start:
            raise Refused(f"tags {one} and {two}: a gap opens only where metal freezes")
    if begin is not None:
        if begin.shape != tags.shape:
            raise Refused("the field of starting temperatures must have the shape of the tags")
        if (begin[np.isfinite(begin)] <= 0.0).any() or np.isinf(begin).any():
            raise Refused("every starting temperature must be a positive number of kelvin; leave NaN where the tag's own holds")
    if len(faces) != 6:
        raise Refused("six outer faces are needed: x-, x+, y-, y+, z-, z+")
    for spec in [*faces, *open_faces.values()]:
        if spec.kind not in ("adiabatic", "fixed", "film"):
            raise Refused(f"a face is adiabatic, fixed or film, not {spec.kind!r}")
        _number(spec.temperature, "temperature beyond a face", positive=True)
        _number(spec.h, "film conductance of a face")
        _number(spec.emissivity, "emissivity of a face")
        if spec.emissivity > 1.0:
            raise Refused("emissivity of a face cannot be over 1")


def _number(value: float, name: str, *, positive: bool = False) -> None:
    """Raise Refused unless the value is finite and not negative (or positive)."""
    if not np.isfinite(value) or value < 0.0 or (positive and value == 0.0):
        raise Refused(f"{name} must be a {'positive' if positive else 'non-negative'} number")


def long_axis_last(tags: NDArray[np.uint8], metal_tags: Sequence[int]) -> tuple[int, int, int]:
    """Order of the axes that puts the axis with the longest runs (of metal, else of anything) last."""
    if metal_tags:
        chosen = np.zeros(256, np.bool_)
        chosen[list(metal_tags)] = True
        metal = chosen[tags]
        links = [_links(metal, axis) for axis in range(3)]
    else:
        links = list(tags.shape)
    last = int(np.argmax(np.array(links) + np.array([0, 0.1, 0.2])))
    rest = [a for a in range(3) if a != last]
    return rest[0], rest[1], last


def _links(metal: NDArray[np.bool_], axis: int) -> int:
    """Pairs of neighbouring metal cells along an axis."""
    turned = np.moveaxis(metal, axis, 0)
    return int((turned[1:] & turned[:-1]).sum())


def freezing_time(
    metal: MetalTable, cells: int, cell: float, start: float, faces: Faces, rest: Floats, media: tuple[Floats, Floats, Floats],
    kind: NDArray[np.uint8], ambient: Floats, h: Floats, emissivity: Floats,
) -> float:  # fmt: skip
    """Rough time [s] until the metal's superheat and latent heat have gone into what touches it.

    Each medium takes 2 b dT sqrt(t / pi) a face (b its effusivity), no more than its contact lets through; a film takes h dT t; a
    wall what the Stefan problem without superheat takes.  ``media`` = conductivity, capacity and start by tag.
    """
    conductivity, capacity, begin = media
    melt = 0.5 * (metal.liquidus + metal.solidus)
    heat = max(float(metal.u_at(start)), 0.2 * metal.liquidus_u) * metal.density * metal.heat * cells * cell  # what starts solid only cools
    tag = faces.pair[:, 1]
    drop = np.maximum(melt - begin[tag], 0.0)
    slow = 2.0 * np.sqrt(conductivity[tag] * capacity[tag] / np.pi) * drop
    quick = drop / np.maximum(rest, 1e-30)
    beyond = faces.film_tag
    lin = h[beyond] + emissivity[beyond] * SIGMA * (melt**2 + ambient[beyond] ** 2) * (melt + ambient[beyond])
    films = float((lin * np.maximum(melt - ambient[beyond], 0.0)).sum()) if (kind == FILM).any() else 0.0
    colder = np.maximum(melt - ambient[faces.wall_tag], 0.0)
    latent = metal.density * metal.heat * metal.liquidus_u
    walls = float(np.sqrt(2.0 * float(metal.conductivity.max()) * latent * colder).sum()) if (kind == WALL).any() else 0.0
    low, high = 1e-4, 1e6
    for _ in range(60):
        t = float(np.sqrt(low * high))
        root = float(np.sqrt(t))
        sand = float((slow * root * quick * t / np.maximum(slow * root + quick * t, 1e-30)).sum())
        taken = sand + films * t + walls * root
        low, high = (t, high) if taken < heat else (low, t)
    return low
