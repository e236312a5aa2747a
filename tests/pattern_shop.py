"""Parts and metal for tests of the pattern and mould rooms, made without the rooms before them."""

from __future__ import annotations

import os
from pathlib import Path

import manifold3d
import numpy as np
import pytest
import trimesh

from strickle.base import Mesh, Span
from strickle.metal import Metal
from strickle.part import HotSpot, Part

FIVE = ("pulley_t30", "testbed_base", "sensor_base_plate", "table_attachment", "featuretype_inch")


def part_of(vertices, faces, name="test.stl", spots=()) -> Part:
    """A Part from bare arrays in metres."""
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    return Part(
        file=name, unit="mm", body="", mesh=Mesh(vertices=np.asarray(vertices, float), faces=np.asarray(faces, np.int64)),
        extents=np.ptp(vertices, axis=0), volume=float(mesh.volume), area=float(mesh.area), triangles=len(faces), watertight=True,
        mended_volume_change=0.0, least_wall=4e-3, median_wall=8e-3, least_wall_at=np.zeros(3), face_wall=np.full(len(faces), np.nan),
        modulus=float(mesh.volume / mesh.area),
        hot_spots=tuple(
            HotSpot(at=np.asarray(s, float), time=1.0, modulus=4e-3, radius=5e-3, saddle=0.0, needs_feed=True, why="", loss=0.0)
            for s in spots
        ),
        bare_times=np.zeros((1, 1, 1)), bare_cell=1e-3, bare_origin=np.zeros(3),
    )  # fmt: skip


def part_from(body: manifold3d.Manifold, **more) -> Part:
    """A Part from a manifold3d solid in millimetres."""
    out = body.to_mesh64()
    return part_of(np.array(out.vert_properties[:, :3]) * 1e-3, np.array(out.tri_verts, np.int64), **more)


def public_part(name: str) -> Part:
    """One of the public parts; skipped where the folder is absent, an error where CI is set."""
    home = Path(os.environ.get("STRICKLE_PARTS") or Path(__file__).resolve().parents[2] / "shared" / "parts")
    path = home / f"{name}.stl"
    if not path.exists():
        if os.environ.get("CI") == "true":
            pytest.fail(f"the public part {name} is missing")
        pytest.skip("the folder of public parts is absent")
    mesh = trimesh.load(path)
    return part_of(np.array(mesh.vertices) * (0.0254 if "inch" in name else 1e-3), np.array(mesh.faces), name=path.name)


def aluminium(contraction: Span | None = None) -> Metal:
    """A metal with the fields these rooms read."""
    line = np.array([880.0, 830.0])
    return Metal(
        metal="test", name="test aluminium", family="aluminium", liquidus=880.0, solidus=830.0, coherency=870.0, curve_temperature=line,
        curve_solid=np.array([0.0, 1.0]), curve_is_rough=True, latent_heat=4e5, solid_heat_temperature=line[::-1],
        solid_heat=np.array([1000.0, 1000.0]), liquid_heat=1100.0, solid_conductivity_temperature=line[::-1],
        solid_conductivity=np.array([150.0, 150.0]), liquid_conductivity=70.0, density_cold=2680.0, density_solidus=2550.0,
        density_liquidus=2400.0, density_slope=-0.3, viscosity=1.2e-3, surface_tension=0.8, emissivity=0.3, shrinkage=0.056,
        contraction=contraction or Span(value=0.013, low=0.010, high=0.018), contraction_why="", free_contraction=0.0137,
        pour_low=953.0, pour_high=1033.0,
    )  # fmt: skip


def box(x, y, z, at=(0.0, 0.0, 0.0)) -> manifold3d.Manifold:
    """A box of the given size [mm] with its least corner at ``at``."""
    return manifold3d.Manifold.cube((x, y, z)).translate(at)


def rod(diameter, height, at=(0.0, 0.0, 0.0), top=None) -> manifold3d.Manifold:
    """An upright round bar [mm], its foot's middle at ``at``; ``top`` is its diameter at the top."""
    body = manifold3d.Manifold.cylinder(height, diameter / 2, (top or diameter) / 2, circular_segments=64)
    return body.translate(at)


def bracket() -> manifold3d.Manifold:
    """A plate 120 x 70 x 10 with a drafted boss, a rib and two bolt holes: flat on its back, nothing undercut."""
    body = box(120, 70, 10) + rod(40, 30, (35, 35, 9), top=36) + box(60, 8, 18, (50, 31, 9))
    return body - rod(20, 60, (35, 35, -10)) - rod(9, 30, (105, 12, -10)) - rod(9, 30, (105, 58, -10))


def mushroom() -> manifold3d.Manifold:
    """A stem on a plate with a wider cap: the ring under the cap is undercut in a flat-parted mould."""
    return box(80, 60, 8) + rod(20, 22, (40, 30, 7.5)) + rod(32, 6, (40, 30, 29))
