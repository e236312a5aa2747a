"""What the cavity room gives. Tags: see PART ... GRAPHITE below; CHILL is a steel one, GRAPHITE one of that."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Array, Grid, Outcome, Record, si, word

PART, RISER, NECK, INGATE, RUNNING, FLOW_OFF, SAND, AIR, CHILL, SLEEVE, GRAPHITE = 1, 2, 3, 4, 5, 6, 10, 11, 12, 13, 14
METAL_TAGS = (PART, RISER, NECK, INGATE, RUNNING, FLOW_OFF)
INSERTS = (CHILL, SLEEVE, GRAPHITE)
"""Media that lie in the sand."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Named(Record):
    """Cells of one named rigging body."""

    name: str = word("as in rigging.regions")
    kind: str = word("running | ingate | riser | neck | flow-off")
    number: int = word("value in Cavity.bodies")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cavity(Outcome):
    """The mould closed: one tagged grid over the flask's inside, from drag floor to cope top."""

    cell: float = si("m", "cell edge")
    cells: int = word("cells in the grid")
    metal_cells: int = word("cells of metal")
    metal_volume: float = si("m3", "metal in the grid by cell fractions")
    mesh_volume: float = si("m3", "metal by the solids")
    voxel_area: float = si("m2", "staircase surface of the metal")
    mesh_area: float = si("m2", "surface of the solids")
    lift: float = si("N", "upward force on the cope when just full")
    hold_down_mass: float = si("kg", "weight to lay on, cope's own sand counted, with its factor")
    sand_mass: float = si("kg", "rammed sand in the flask")
    least_sand_margin: float = si("m", "least sand between metal and flask")
    metal_mass: float = si("kg", "liquid metal that fills the mould")
    grid: Grid = word("tagged grid", inner=True)
    fraction: Array = si("1", "metal fraction of each cell", shape="(nx, ny, nz)")
    bodies: Array = si("1", "number of the rigging body each cell belongs to, 0 none", shape="(nx, ny, nz)")
    names: tuple[Named, ...] = word("which number is which body", inner=True)
    core_lift: float = si("N", "of it, upward force of the cores on the cope, their own weight taken off", default=0.0)
