"""Forces on the closed mould against published worked examples, and whose cell a cell is."""

from __future__ import annotations

import math
from types import SimpleNamespace

import manifold3d
import numpy as np
import pytest

from strickle.base import Mesh
from strickle.cavity import NECK, PART, RISER, rules, steps

POUND_FORCE = 4.4482216152605
INCH = 0.0254


def test_a10_core_lift():
    """Examination page, core of 100 x 100 mm in aluminium, densities 2600 and 1600: net buoyancy 7.7 N."""
    assert rules.core_lift(math.pi / 4.0 * 0.1**3, 2600.0, 1600.0) == pytest.approx(7.7, rel=5e-3)


def test_a11_pipe_mould():
    """Rao, Manufacturing Technology: Foundry, Forming and Welding: iron pipe, core 10 cm, outside 12.5 cm, 180 cm long, head 20 cm."""
    metal, sand = 0.0771e6 / rules.GRAVITY, 0.0165e6 / rules.GRAVITY  # from N/cm3
    volume = math.pi / 4.0 * 0.10**2 * 1.80
    assert volume * 1e6 == pytest.approx(14137.2, rel=1e-5)
    core = rules.core_lift(volume, metal, sand)
    cope = rules.metal_lift(0.125 * 1.80, 0.20, metal)
    assert core == pytest.approx(856.7, rel=1e-3)
    assert cope == pytest.approx(3469.5, rel=1e-3)
    assert core + cope == pytest.approx(4326.7, rel=1e-3)
    assert rules.hold_down_weight(cope, core, 2.0 * 0.25 * 0.20 * 0.0165e6, 1.0) == pytest.approx(2676.7, rel=1e-3)


def test_a12_pressure_and_lift_of_iron():
    """Shop Practice vol. 1, Moulding work: iron of 0.26 lb/in3, gate 6 in high: 1.56 lb/in2, 78.4 lb on 50.266 in2."""
    density = 0.26 * 0.45359237 / INCH**3
    force = rules.metal_lift(50.266 * INCH**2, 6.0 * INCH, density)
    standard = 9.80665 / rules.GRAVITY
    assert force * standard / POUND_FORCE == pytest.approx(78.4, rel=5e-3)
    assert force * standard / POUND_FORCE / 50.266 == pytest.approx(1.56, rel=5e-3)


def _mesh(solid):
    mesh = solid.to_mesh64()
    return Mesh(vertices=np.array(mesh.vert_properties[:, :3]), faces=np.array(mesh.tri_verts, dtype=np.int32))


def test_a_body_that_reaches_into_the_part_takes_none_of_its_cells():
    part = manifold3d.Manifold.cube((0.040, 0.040, 0.020))
    neck = manifold3d.Manifold.cube((0.020, 0.010, 0.010)).translate((0.030, 0.015, 0.005))  # half of it inside the part
    riser = manifold3d.Manifold.cube((0.020, 0.020, 0.040)).translate((0.048, 0.010, 0.0))
    cell, shape, origin = 1e-3, (72, 44, 44), np.array([-2e-3, -2e-3, -2e-3])
    casting = _mesh(part + neck + riser)
    rigging = SimpleNamespace(
        regions=(
            SimpleNamespace(name="riser-1", kind="riser", mesh=_mesh(riser)),
            SimpleNamespace(name="neck-1", kind="neck", mesh=_mesh(neck)),
        )
    )
    fraction = steps._fractions(casting, origin, cell, shape)
    tags, bodies, names = steps._tagged(fraction >= 0.5, SimpleNamespace(cavity=_mesh(part)), rigging, origin, cell)
    assert np.count_nonzero(tags == PART) == 40 * 40 * 20
    assert np.count_nonzero(tags == NECK) > 0
    assert np.count_nonzero(tags == RISER) > 0
    assert not bodies[tags == PART].any()
    assert {named.name for named in names} == {"riser-1", "neck-1"}
