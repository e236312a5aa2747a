"""Drag halves with pockets, slots and spokes for the tests of the sand, in millimetres, and the sand of the stores."""

from __future__ import annotations

import math

import manifold3d as m3
import numpy as np

from strickle.base import Mesh
from strickle.mould import draw_chance as chance
from strickle.mould.draw_bodies import Body
from strickle.mould.draw_cake import Cake, plain
from strickle.mould.draw_chance import Sand
from strickle.mould.sand import Stood, stand
from strickle.stores import Kit, load, starter_kit


def sand(kit: Kit | None = None, **median: float) -> Sand:
    """The oil-bonded sand of the stores with a kit; ``median`` overrules single medians."""
    stores = load(starter_kit() if kit is None else kit)
    out = chance.sand_of(stores.sands["oil-bonded"], stores, [])
    return out._replace(median={**out.median, **median})


def mesh(solid: m3.Manifold) -> Mesh:
    made = solid.to_mesh64()
    return Mesh(vertices=np.array(made.vert_properties[:, :3]) * 1e-3, faces=np.array(made.tri_verts, dtype=np.int64))


def tapered(wide: float, long: float, high: float, draft: float) -> m3.Manifold:
    """A block from z = 0 down, growing by ``draft`` degrees on its way; negative: shrinking."""
    add = 2 * math.tan(math.radians(draft)) * high
    section = m3.CrossSection.square((wide, long), True)
    return m3.Manifold.extrude(section, high, 0, 0.0, ((wide + add) / wide, (long + add) / long)).mirror((0, 0, 1))


def plate(size: float, high: float, places, wide: float, draft: float, long: float = 0.0, roof: float = 0.0) -> m3.Manifold:
    """A square plate in the drag with drafted pockets open below, ``roof`` thick over them, ``wide`` at their tip."""
    tool = tapered(wide, long or wide, high - roof, draft).translate((0, 0, -roof))
    tools = [tool.translate((float(x), float(y), 0)) for x, y in places]
    return tapered(size, size, high, -draft) - m3.Manifold.batch_boolean(tools, m3.OpType.Add)


def grid(size: float, many: int, wide: float, high: float, draft: float) -> m3.Manifold:
    """``many`` by ``many`` pockets right through a plate."""
    at = (np.arange(many) - (many - 1) / 2) * size * 0.9 / many
    return plate(size, high, [(x, y) for x in at for y in at], wide, draft)


def wheel(size: float, draft: float) -> m3.Manifold:
    """A wheel of five spokes, a tenth of its width deep, all in the drag; drafted by slices."""
    k, high = size / 300, size / 10
    ring = m3.CrossSection.circle(150 * k, 96) - m3.CrossSection.circle(128 * k, 96)
    spokes = [m3.CrossSection.square((140 * k, 16 * k)).translate((0, -8 * k)).rotate(72 * i) for i in range(5)]
    plan = m3.CrossSection.batch_boolean([ring, m3.CrossSection.circle(25 * k, 48), *spokes], m3.OpType.Add)
    slices, step = 10, high / 10
    made = []
    for i in range(slices):
        inward = -math.tan(math.radians(draft)) * (i + 0.5) * step
        made.append(plan.offset(inward, m3.JoinType.Miter).extrude(step).translate((0, 0, -(i + 1) * step)))
    return m3.Manifold.batch_boolean(made, m3.OpType.Add)


def wheel_cake(size: float) -> Cake:
    k = size / 300
    return plain(0.35 * k, 0.35 * k, 0.08 * k, 0.03 * k, 0.3 * k)


def stood(solid: m3.Manifold, cake: Cake | None = None, own: Sand | None = None) -> Stood:
    return stand(mesh(solid), cake, sand() if own is None else own)


def post(depth: float, wide: float, draft: float, layers: int = 12, half: str = "drag") -> Body:
    """A square body by hand [m]; ``draft`` a tangent, ``wide`` at the root."""
    thick = np.full(layers, depth / layers)
    high = np.cumsum(thick) - thick / 2
    across = wide - 2 * draft * (depth - high)
    return Body(
        half=half, kind="pocket", is_through=True, at=np.zeros(3), own=0, thick=thick, area=across**2, contact=4 * across, side=np.zeros(layers),
        ceiling=np.zeros(layers), draft=np.full(layers, draft), lean=np.full(layers, draft), width=wide, long=1.0, shapes=(),
    )  # fmt: skip
