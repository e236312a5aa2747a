"""Where a part is cut so that it is cast in pieces, and the splice that makes it one again. Part coordinates, metres."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Array, Mesh, Record, si, word


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cut(Record):
    """A flat cut right through the part."""

    at: Array = si("m", "a point of the cut, part coordinates", shape="(3,)")
    normal: Array = si("1", "direction square to it", shape="(3,)")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SpliceAsk(Record):
    """How a splice is to be made."""

    kind: str = word("weld | bolt; a bolted splice is left square, its bolts and straps are yours to draw", default="weld")
    stock: float | None = si("m", "stock to dress off each splice face; None = by the size of the part", default=None)
    bevel: str = word("filed | cast; a bevel that is cast on may hang over the sand, as the pattern then lies", default="filed")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Splice(Record):
    """One splice between two castings. The cut face is the finished one: stock stands out over it, a bevel goes back from it."""

    name: str = word("its name, and that of its marking plate")
    cut: int = word("number of the cut it lies in, 1 first")
    castings: tuple[str, ...] = word("the two castings it joins")
    at: Array = si("m", "middle of the splice face, part coordinates", shape="(3,)")
    normal: Array = si("1", "direction from the second casting to the first", shape="(3,)")
    area: float = si("m2", "splice face as cut, before any bevel")
    outline: float = si("m", "length round the splice face: what there is to weld")
    span: float = si("m", "longest size of the splice face")
    thin: float = si("m", "wall that all but a few hundredths of the splice face has at the least")
    thick: float = si("m", "thickest place of the splice face")
    edge: str = word("square | bevel all round | bevel outside")
    angle: float = si("1", "angle of the weld's groove, both bevels together, radians; 0 where the edge is square")
    root: float = si("m", "land left between the bevels")
    depth: float = si("m", "depth of the bevel into the wall, as it is to be for welding")
    cast_depth: float = si("m", "how much of that depth is cast on; the rest is filed, for sand does not fill so thin a land")
    stock: float = si("m", "stock to dress off each face, part scale")
    stock_volume: float = si("m3", "stock on both faces")
    bevel_volume: float = si("m3", "metal left out on both sides for the bevels")
    pin: float = si("m", "drill for two pins that set the faces to one another; 0 where there is no room", default=0.0)
    first_pin: Array | None = si("m", "where the first is drilled, part coordinates", shape="(3,)", default=None)
    second_pin: Array | None = si("m", "where the second is drilled", shape="(3,)", default=None)
    mismatch: float = si("m", "how far the faces may differ along their longest size, by the spread of the contraction", default=0.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plate(Record):
    """A marking plate: the outline of a splice face with the holes for its pins, to print."""

    name: str = word("its name and file")
    mesh: Mesh = word("the plate, flat on the bed", inner=True)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Apart(Record):
    """A part cut into castings, largest first."""

    names: tuple[str, ...] = word("names of the castings")
    meshes: tuple[Mesh, ...] = word("their shapes with stock and bevels, part coordinates", inner=True)
    splices: tuple[Splice, ...] = word("the splices")
    plates: tuple[Plate, ...] = word("marking plates", inner=True)
    volume: float = si("m3", "the part's own volume")
    crumbs: float = si("m3", "shards of the cuts that were left out")
