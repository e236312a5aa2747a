"""STEP, where the extra that reads it is installed: solids as fine triangles in millimetres, and the round holes their faces tell of."""

from __future__ import annotations

import io
from typing import Any, NamedTuple

import numpy as np

from strickle.base import Array, BadInput
from strickle.part.edges import joined
from strickle.part.raw import Bore, Raw, counted, stem

DEFLECTION = 0.05  # mm, how far triangles may leave the true surface at most
SHARE = 2e-3  # of the solid's size, the same for small solids
BEND = 0.1  # rad between neighbouring triangles of a round face
SAME = 1e-6  # share of a solid's size within which corners of neighbouring faces are one
ROUND = 0.98  # share of the full turn from which the faces of a cylinder make a hole and not a fillet
MOST_SOLIDS = 200
MISSING = (
    "STEP is read only with an extra that is not installed",
    "make step in strickle's folder (pip install '.[step]'), or export the part as STL or 3MF",
)


def read_step(data: bytes, name: str) -> tuple[Raw, ...]:
    """The solids of a STEP file. Raises BadInput where the extra is missing or the file holds no solid."""
    if b"ISO-10303-21" not in data[:2000]:
        raise BadInput(f"{name} is not a STEP file: it does not begin with ISO-10303-21", "Export the part again, or as STL or 3MF")
    if b"END-ISO-10303-21" not in data[-2000:]:
        raise BadInput(f"{name} is cut short: a STEP file ends with END-ISO-10303-21", "Export or copy the file again")
    try:
        from OCP.STEPControl import STEPControl_Reader
    except ImportError:
        raise BadInput(f"{name}: {MISSING[0]}", MISSING[1]) from None
    from OCP.IFSelect import IFSelect_ReturnStatus

    reader = STEPControl_Reader()
    try:
        status = reader.ReadStream(stem(name), io.BytesIO(data))
        if status == IFSelect_ReturnStatus.IFSelect_RetDone:
            reader.TransferRoots()
        shape = reader.OneShape()
    except Exception as trouble:  # the reader's own errors come in many kinds
        raise BadInput(f"{name} is damaged: it cannot be read as STEP", "Export the part again, or as STL or 3MF") from trouble
    solids = _explored(shape, "SOLID") if not shape.IsNull() else []
    if not solids:
        raise BadInput(f"{name} holds no solid", "Export the part as a solid, not as surfaces or an assembly of links")
    if len(solids) > MOST_SOLIDS:
        raise BadInput(f"{name} holds {len(solids)} solids, more than the {MOST_SOLIDS} that are read", "Export one part")
    out = [_solid(solid, stem(name) if len(solids) == 1 else f"solid {i}", name) for i, solid in enumerate(solids, 1)]
    counted(sum(len(raw.faces) for raw in out), name)
    return tuple(out)


def _explored(shape: Any, kind: str) -> list[Any]:
    """The solids or faces of a shape, in its order."""
    from OCP.TopAbs import TopAbs_ShapeEnum
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS

    cast = getattr(TopoDS, kind.title(), None) or getattr(TopoDS, f"{kind.title()}_s")
    explorer, out = TopExp_Explorer(shape, getattr(TopAbs_ShapeEnum, f"TopAbs_{kind}")), []
    while explorer.More():
        out.append(cast(explorer.Current()))
        explorer.Next()
    return out


def _size(shape: Any) -> float:
    """Diagonal of the shape's bounding box [mm]."""
    from OCP.Bnd import Bnd_Box
    from OCP.BRepBndLib import BRepBndLib

    box = Bnd_Box()
    BRepBndLib.Add_s(shape, box)
    return float(np.sqrt(box.SquareExtent()))


def _solid(solid: Any, title: str, name: str) -> Raw:
    """Triangles of one solid, corners on the edges of its faces made one."""
    from OCP.BRepMesh import BRepMesh_IncrementalMesh

    size = _size(solid)
    BRepMesh_IncrementalMesh(solid, min(DEFLECTION, SHARE * size), False, BEND, False)
    points, faces, offset = [], [], 0
    surfaces = _explored(solid, "FACE")
    for face in surfaces:
        own, triangles = _triangles(face, name)
        points.append(own)
        faces.append(triangles + offset)
        offset += len(own)
    counted(sum(len(own) for own in faces), name)
    vertices, whole, _ = joined(np.vstack(points), np.vstack(faces), SAME * size)
    return Raw(title, vertices, whole, "millimeter", 1e-3, _bores(solid, surfaces))


def _triangles(face: Any, name: str) -> tuple[Array, Array]:
    """Points and outward triangles of one face."""
    from OCP.BRep import BRep_Tool
    from OCP.TopAbs import TopAbs_Orientation
    from OCP.TopLoc import TopLoc_Location

    place = TopLoc_Location()
    mesh = BRep_Tool.Triangulation_s(face, place)
    if mesh is None:
        raise BadInput(f"{name}: a face of it cannot be turned into triangles", "Mend it in the program that made it, or export it as STL")
    turn = place.Transformation()
    points = [mesh.Node(i).Transformed(turn) for i in range(1, mesh.NbNodes() + 1)]
    faces = np.array([mesh.Triangle(i).Get() for i in range(1, mesh.NbTriangles() + 1)], np.int64).reshape(-1, 3) - 1
    if (face.Orientation() == TopAbs_Orientation.TopAbs_REVERSED) != bool(turn.IsNegative()):
        faces = faces[:, ::-1]
    return np.array([(p.X(), p.Y(), p.Z()) for p in points]), faces


class _Wall(NamedTuple):
    """One cylindrical face with metal outside it."""

    axis: Array  # (3,) unit, first large part positive
    foot: Array  # (3,) point of the axis nearest the origin
    radius: float
    low: float  # along the axis, from the foot
    high: float
    turn: float  # rad


def _wall(face: Any) -> _Wall | None:
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.GeomAbs import GeomAbs_SurfaceType
    from OCP.TopAbs import TopAbs_Orientation

    surface = BRepAdaptor_Surface(face)
    if surface.GetType() != GeomAbs_SurfaceType.GeomAbs_Cylinder:
        return None
    cylinder = surface.Cylinder()
    frame = cylinder.Position()
    if (face.Orientation() == TopAbs_Orientation.TopAbs_REVERSED) != bool(frame.Direct()):
        return None  # metal inside: a boss
    way, spot = frame.Direction(), frame.Location()
    axis, at = np.array([way.X(), way.Y(), way.Z()]), np.array([spot.X(), spot.Y(), spot.Z()])
    low, high = float(at @ axis) + surface.FirstVParameter(), float(at @ axis) + surface.LastVParameter()
    foot = at - (at @ axis) * axis
    if axis[int(np.argmax(np.abs(axis) > 0.1))] < 0.0:
        axis, low, high = -axis, -high, -low
    return _Wall(axis, foot, float(cylinder.Radius()), low, high, float(surface.LastUParameter() - surface.FirstUParameter()))


def _bores(solid: Any, faces: list[Any]) -> tuple[Bore, ...]:
    """Cylindrical holes: faces of one axis and radius that follow each other and go once round."""
    near = SAME * max(_size(solid), 1e-9)
    runs: list[list[_Wall]] = []
    for wall in sorted((w for face in faces if (w := _wall(face))), key=lambda w: w.low):
        for run in runs:
            one = run[-1]
            same = abs(one.radius - wall.radius) < near and np.abs(one.axis - wall.axis).max() < 1e-6 and np.abs(one.foot - wall.foot).max() < near
            if same and wall.low <= max(w.high for w in run) + near:
                run.append(wall)
                break
        else:
            runs.append([wall])
    out = []
    for run in runs:
        low, high = min(w.low for w in run), max(w.high for w in run)
        covered = sum(w.turn * (w.high - w.low) for w in run) / (2.0 * np.pi * max(high - low, 1e-12))
        if covered >= ROUND:
            out.append(_bore(solid, run[0], low, high))
    return tuple(out)


def _bore(solid: Any, wall: _Wall, low: float, high: float) -> Bore:
    """The hole with its mouth at the end that is open, and whether both are."""
    from OCP.BRepClass3d import BRepClass3d_SolidClassifier
    from OCP.gp import gp_Pnt
    from OCP.TopAbs import TopAbs_State

    def shut(end: float, out: float) -> bool:
        """Metal on the axis just beyond the wall's end, or behind the cone that a drill leaves."""
        spots = [wall.foot + (end + out * step * wall.radius) * wall.axis for step in (0.02, 1.2)]
        return any(BRepClass3d_SolidClassifier(solid, gp_Pnt(*map(float, spot)), 1e-7).State() == TopAbs_State.TopAbs_IN for spot in spots)

    at_low, at_high = shut(low, -1.0), shut(high, 1.0)
    from_high = at_low and not at_high
    mouth = wall.foot + (high if from_high else low) * wall.axis
    return Bore(mouth, -wall.axis if from_high else wall.axis, wall.radius, high - low, not (at_low or at_high))
