"""Shapes that no flat parting releases, and real parts laid in the mould frame [mm]."""

from __future__ import annotations

import manifold3d
import numpy as np

from pattern_shop import public_part, rod
from strickle.base import Mesh
from strickle.job.demo_wheel import RIM, handwheel
from strickle.pattern.directions import solid
from strickle.pattern.frame import frame
from strickle.pattern.parting import choose


def tapered(width=20.0, height=12.0, length=120.0, draft=3.0) -> manifold3d.Manifold:
    """A bar along x, widest at z = 0 with ``draft`` on both its long sides."""
    half, off = width / 2, np.tan(np.radians(draft)) * height / 2
    right = np.array([[half - off, -height / 2], [half, 0.0], [half - off, height / 2]])
    section = manifold3d.CrossSection([np.vstack([right, right[::-1] * [-1, 1]])])
    return section.extrude(length, int(length / 2)).rotate((90, 0, 90)).translate((-length / 2, 0, 0)).refine(2)


def swept(bar: manifold3d.Manifold, rise: float) -> manifold3d.Manifold:
    """A bar of 120 mm whose right end is lifted by ``rise`` in an even sweep."""
    return bar.warp(lambda p: (p[0], p[1], p[2] + rise * (1 - np.cos(np.pi * (p[0] + 60) / 120)) / 2))


def arm() -> manifold3d.Manifold:
    """A bent arm of a treadle, drawn with draft: its brim rises 15 mm."""
    return swept(tapered(), 15.0)


def saddle() -> manifold3d.Manifold:
    """A round plate bent up along x and down along y."""
    return rod(80, 6, (0, 0, -3)).refine(7).warp(lambda p: (p[0], p[1], p[2] + 0.006 * (p[0] ** 2 - p[1] ** 2)))


def dished(rise=20.0) -> manifold3d.Manifold:
    """The five-spoke handwheel with its hub lifted out of the plane of the rim and the spokes rising to it."""
    return handwheel().warp(lambda p: (p[0], p[1], p[2] + rise * max(0.0, 1.0 - np.hypot(p[0], p[1]) / RIM)))


def spool() -> manifold3d.Manifold:
    """Two tapered discs foot to foot at z = 0: a flat parting serves."""
    return rod(60, 15, top=56) + rod(60, 10, top=56).mirror((0, 0, 1))


def fork() -> manifold3d.Manifold:
    """Two prongs 3 mm apart, one 14 mm over the other, on one back: sand does not stand so steep between them."""
    prong = tapered(12.0, 10.0, 80.0)
    low, high = prong.translate((0, -7.5, 0)), prong.translate((0, 7.5, 14))
    return low + high + manifold3d.Manifold.cube((10, 26, 22)).translate((-48, -13, -4))


def real(name: str) -> manifold3d.Manifold:
    """A public part drawn along z, at the level and the way up that a flat parting would take."""
    part = public_part(name)
    lie = choose(part.mesh, np.array([0.0, 0.0, 1.0]), part.volume, np.zeros((0, 3)), (0.75, 1.25), False, None)[0]
    turn, shift = frame(part.mesh.vertices, lie.draw, lie.level, np.ones(3))
    vertices = part.mesh.vertices @ turn.T + shift
    vertices[np.abs(vertices[:, 2]) < 2e-6, 2] = 0.0
    return solid(Mesh(vertices=vertices, faces=part.mesh.faces))
