"""What the part room gives."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Array, Mesh, Outcome, Record, si, word


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HotSpot(Record):
    """A place that freezes after its neighbours when the bare part freezes in sand."""

    at: Array = si("m", "place, part coordinates", shape="(3,)")
    time: float = si("s", "when it is solid in the bare freeze")
    modulus: float = si("m", "equivalent modulus: that of a plate that freezes in the same time")
    radius: float = si("m", "radius of the largest ball of metal at the spot")
    saddle: float = si("1", "time at the pass to a hotter neighbour over the spot's own; 0 if there is no hotter one")
    needs_feed: bool = word("true where no thicker neighbour feeds it and its loss is worth feeding")
    why: str = word("the reason in plain words")
    loss: float = si("m", "shrinkage loss as a depth per face if nothing feeds it")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hole(Record):
    """A cylindrical hole as the part's file tells it by its own faces; a mesh does not."""

    at: Array = si("m", "middle of its mouth, part coordinates", shape="(3,)")
    axis: Array = si("1", "direction from the mouth into the hole", shape="(3,)")
    radius: float = si("m", "radius")
    depth: float = si("m", "length of its round wall")
    through: bool = word("true where it is open at both ends")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part(Outcome):
    """The part as read and mended, with walls and hot spots. Part coordinates, metres."""

    file: str = word("file read")
    unit: str = word("unit the numbers were taken in")
    body: str = word("body taken")
    mesh: Mesh = word("closed outward mesh", inner=True)
    extents: Array = si("m", "bounding size", shape="(3,)")
    volume: float = si("m3", "solid volume")
    area: float = si("m2", "surface")
    triangles: int = word("triangles")
    watertight: bool = word("closed and outward after mending")
    mended_volume_change: float = si("1", "volume after mending over volume as read, minus one")
    least_wall: float = si("m", "thinnest wall that matters (5 % of the surface is thinner than this at most)")
    median_wall: float = si("m", "half the surface stands on thinner metal")
    least_wall_at: Array = si("m", "where the least wall is", shape="(3,)")
    face_wall: Array = si("m", "wall behind each face; NaN where not measured", shape="(m,)")
    modulus: float = si("m", "volume over surface of the whole part")
    hot_spots: tuple[HotSpot, ...] = word("late places, hottest first")
    bare_times: Array = si("s", "time to solid of the bare coarse freeze, NaN outside metal", shape="(nx, ny, nz)")
    bare_cell: float = si("m", "cell of the bare freeze")
    bare_origin: Array = si("m", "corner of its first cell, part coordinates", shape="(3,)")
    holes: tuple[Hole, ...] = word("cylindrical holes known from the file's own faces; none from a mesh", default=())
