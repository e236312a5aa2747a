"""STEP: the same part as its mesh, its solids listed, its round holes kept. Skipped where the extra is not installed."""

from __future__ import annotations

import pytest

from strickle.base import BadInput, MissingChoice, quiet
from strickle.part import PartAsk, formats
from strickle.part.health import bodies
from strickle.part.steps import examine

pytest.importorskip("OCP")
pytestmark = pytest.mark.validate  # the extra is installed by make validate


def read(data: bytes, name: str):
    return bodies(formats.read(data, name), name)


def written(*solids, folder) -> bytes:
    from OCP.BRep import BRep_Builder
    from OCP.STEPControl import STEPControl_StepModelType, STEPControl_Writer
    from OCP.TopoDS import TopoDS_Compound

    whole, builder = TopoDS_Compound(), BRep_Builder()
    builder.MakeCompound(whole)
    for solid in solids:
        builder.Add(whole, solid)
    writer = STEPControl_Writer()
    writer.Transfer(whole, STEPControl_StepModelType.STEPControl_AsIs)
    path = folder / "made.step"
    writer.Write(str(path))
    return path.read_bytes()


def drilled():
    """A block of 60 x 40 x 20 mm with a hole of 10 mm through it, one of 6 mm 8 mm deep, and a round boss."""
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut, BRepAlgoAPI_Fuse
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox, BRepPrimAPI_MakeCylinder
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt

    def rod(x, y, z, radius, height):
        return BRepPrimAPI_MakeCylinder(gp_Ax2(gp_Pnt(x, y, z), gp_Dir(0, 0, 1)), radius, height).Shape()

    block = BRepAlgoAPI_Fuse(BRepPrimAPI_MakeBox(60.0, 40.0, 20.0).Shape(), rod(50.0, 20.0, 10.0, 7.0, 20.0)).Shape()
    return BRepAlgoAPI_Cut(BRepAlgoAPI_Cut(block, rod(15.0, 20.0, -5.0, 5.0, 40.0)).Shape(), rod(30.0, 20.0, 12.0, 3.0, 20.0)).Shape()


def test_a_part_drawn_in_inches_is_the_same_as_its_mesh(parts_folder):
    (solid,) = read((parts_folder / "featuretype.step").read_bytes(), "featuretype.step")
    (mesh,) = read((parts_folder / "featuretype_inch.stl").read_bytes(), "featuretype_inch.stl")
    assert solid.volume == pytest.approx(mesh.volume * 25.4**3, rel=1e-3)
    assert solid.mended == ()
    assert len(solid.holes) >= 16
    assert sum(abs(hole.radius - 3.3782) < 1e-3 for hole in solid.holes) == 8  # the screw holes, all through
    assert mesh.holes == ()


def test_a_small_part_with_fillets_keeps_its_volume(parts_folder):
    (solid,) = read((parts_folder / "foot_structure.step").read_bytes(), "foot_structure.step")
    assert solid.volume == pytest.approx(3172.3, rel=3e-3)  # by the integral over its true faces
    assert solid.deep.patches == 0


def test_holes_are_told_with_place_depth_and_whether_they_go_through(tmp_path, bench_metal, bench_stores):
    ask = PartAsk(data=written(drilled(), folder=tmp_path), name="made.step", cells=3000)
    part = examine(ask, bench_metal, bench_stores, quiet)
    assert part.unit == "millimeter"
    assert part.mended_volume_change == 0.0
    blind, through = sorted(part.holes, key=lambda hole: hole.radius)
    assert (blind.radius, blind.depth, blind.through) == (pytest.approx(3e-3), pytest.approx(8e-3), False)
    assert blind.at == pytest.approx([0.030, 0.020, 0.020])
    assert blind.axis == pytest.approx([0.0, 0.0, -1.0])
    assert (through.radius, through.depth, through.through) == (pytest.approx(5e-3), pytest.approx(20e-3), True)
    assert through.at[:2] == pytest.approx([0.015, 0.020])


def test_several_solids_are_listed(tmp_path, bench_metal, bench_stores):
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox
    from OCP.gp import gp_Pnt

    data = written(drilled(), BRepPrimAPI_MakeBox(gp_Pnt(100.0, 0.0, 0.0), 20.0, 20.0, 20.0).Shape(), folder=tmp_path)
    with pytest.raises(MissingChoice, match="2 bodies") as caught:
        examine(PartAsk(data=data, name="made.step"), bench_metal, bench_stores, quiet)
    assert "--body 2: solid 2, 20 mm x 20 mm x 20 mm" in str(caught.value)
    part = examine(PartAsk(data=data, name="made.step", body="solid 2", cells=2000), bench_metal, bench_stores, quiet)
    assert part.volume == pytest.approx(8e-6)
    assert part.holes == ()


def test_a_damaged_file_is_refused_in_one_line(parts_folder):
    data = (parts_folder / "featuretype.step").read_bytes()
    for broken in (data[:5000] + b"\nENDSEC;\nEND-ISO-10303-21;\n", data.replace(b"MANIFOLD_SOLID_BREP", b"MANIFOLD_SOLID_GONE")):
        with pytest.raises(BadInput) as caught:
            formats.read(broken, "a.step")
        assert "\n" not in str(caught.value)
