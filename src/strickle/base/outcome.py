"""What every stage gives: facts, findings, sources, key."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base.fields import Array, close_arrays, si, word
from strickle.base.findings import Finding
from strickle.base.sources import Source


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Record:
    """A frozen record whose arrays are closed on creation. Nested parts of results derive from it."""

    def __post_init__(self) -> None:
        close_arrays(self)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outcome(Record):
    """A stage's result: facts plus ``findings``, the ``sources`` really used and the cache ``key`` (set by the job)."""

    findings: tuple[Finding, ...] = word("what the person must know", inner=True, default=())
    sources: tuple[Source, ...] = word("rules and data really used", inner=True, default=())
    key: str = word("content key: ask, earlier keys, records used, stage version", inner=True, default="")

    @property
    def stops(self) -> tuple[Finding, ...]:
        """The findings that stop the plan."""
        return tuple(f for f in self.findings if f.weight == "STOP")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Span(Record):
    """An uncertain quantity without a fixed unit of its own: value with low and high; the field that holds it declares the unit."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mesh(Record):
    """A triangle mesh: plain arrays, no library object."""

    vertices: Array = si("m", "corner positions", shape="(n, 3)")
    faces: Array = si("1", "corner numbers of each triangle, outward by the right-hand rule", shape="(m, 3)")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PrintPart(Record):
    """One of the parts in which a piece larger than the printer's bed is printed; glued, they are the piece. Mould frame, metres."""

    name: str = word("the piece's name with a letter, and the file's, e.g. drag-pattern-a")
    mesh: Mesh = word("the printed solid with its spigots and sockets, mould frame", inner=True)
    volume: float = si("m3", "volume of the printed solid")
    extents: Array = si("m", "bounding size", shape="(3,)")
    spigots: int = word("tapered spigots on it, glued into the sockets of its neighbours", default=0)
    sockets: int = word("sockets in it for its neighbours' spigots", default=0)
    plain_joints: int = word("faces glued flat, the print being too thin for a spigot", default=0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Piece(Record):
    """A solid the printer makes and the moulder draws from the sand. Mould frame: z up, parting at z = 0, metres."""

    name: str = word("name for the moulder and the file, e.g. cope-pattern")
    role: str = word("pattern | former | gauge | plate | board | loose piece | core box")
    half: str = word("the sand it leaves: cope | drag | both")
    mesh: Mesh = word("the printed solid, mould frame", inner=True)
    draw: Array = si("1", "direction it is drawn in, mould frame", shape="(3,)")
    order: int = word("place in the order of drawing, 1 first; equal numbers are drawn as one")
    touches_sand: bool = word("whether sand is rammed against it", default=True)
    volume: float = si("m3", "volume of the printed solid")
    extents: Array = si("m", "bounding size", shape="(3,)")
    lift_point: Array | None = si("m", "where it is lifted: at its lifting screw, or midway between several; mould frame", shape="(3,)", default=None)
    rap_point: Array | None = si("m", "where the rapping bar goes, mould frame", shape="(3,)", default=None)
    note: str = word("what the moulder should know of it", default="")
    parts: tuple[PrintPart, ...] = word("what it is printed in where the bed cannot hold it whole; none where it can", default=())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grid(Record):
    """A tagged voxel grid. tags (nx, ny, nz) uint8 in index order x, y, z; cell edge and origin (corner of cell 0,0,0) in metres."""

    tags: Array = si("1", "material tag of each cell", shape="(nx, ny, nz)")
    cell: float = si("m", "edge of a cell")
    origin: Array = si("m", "corner of the first cell", shape="(3,)")
