"""A metal, a kit and a part to sum with; made up for the tests from reference values, no store needed."""

from __future__ import annotations

import dataclasses

import numpy as np

from strickle.base import Mesh, Span
from strickle.cavity import Cavity
from strickle.metal import Metal
from strickle.mould import FlaskChosen, Mould
from strickle.part import HotSpot, Part
from strickle.stores import Crucible, Flask, Furnace, Kit, Stores


def a356(**changes) -> Metal:
    """Al-7Si-0.35Mg: Scheil curve and heats computed with COST 507 (Ansara, Dinsdale, Rand 1998)."""
    celsius = [614.5, 610.5, 604.6, 601.0, 597.0, 586.8, 577.0, 575.2, 573.8, 572.8, 571.2, 566.5, 558.0, 557.2]
    solid = [0.0, 0.10, 0.20, 0.25, 0.30, 0.40, 0.472, 0.50, 0.60, 0.70, 0.80, 0.90, 0.95, 1.0]
    metal = Metal(
        metal="a356",
        name="A356",
        family="aluminium",
        liquidus=887.65,
        solidus=830.35,
        coherency=874.15,
        curve_temperature=np.array(celsius) + 273.15,
        curve_solid=np.array(solid),
        curve_is_rough=False,
        latent_heat=450e3,
        solid_heat_temperature=np.array([373.15, 573.15, 743.15]),
        solid_heat=np.array([935.0, 1050.0, 1227.0]),
        liquid_heat=1160.0,
        solid_conductivity_temperature=np.array([298.15, 830.0]),
        solid_conductivity=np.array([150.0, 155.0]),
        liquid_conductivity=67.0,
        density_cold=2680.0,
        density_solidus=2560.0,
        density_liquidus=2390.0,
        density_slope=-0.27,
        viscosity=0.00115,
        surface_tension=0.86,
        emissivity=0.3,
        shrinkage=0.056,
        contraction=Span(value=0.013, low=0.010, high=0.018),
        contraction_why="test",
        free_contraction=0.0137,
        pour_low=953.15,
        pour_high=1033.15,
    )
    return dataclasses.replace(metal, **changes)


def kit(**changes) -> Kit:
    """A shop in the open with one gas furnace, three pots and an electric furnace."""
    shop = Kit(
        place="outdoors",
        ventilated=False,
        crucibles=(
            Crucible(name="small pot", volume=0.75e-3, opening=0.09, mass=1.6),
            Crucible(name="middle pot", volume=1.9e-3, opening=0.12, mass=3.2),
            Crucible(name="large pot", volume=3.8e-3, opening=0.15, mass=5.0),
        ),
        furnaces=(
            Furnace(name="gas furnace", kind="gas", power=20e3, efficiency_low=0.05, efficiency_high=0.12),
            Furnace(name="kiln", kind="electric", power=2e3, efficiency_low=0.35, efficiency_high=0.55),
        ),
        flasks=(Flask(name="flask", length=0.3, width=0.25, cope=0.1, drag=0.1),),
        builds_flasks=True,
        bed=np.array([0.22, 0.22, 0.25]),
        layer=2e-4,
        print_error=0.0,
        rapping=2e-4,
        sand="oil-bonded",
        sand_mass=60.0,
        metal_mass=10.0,
        fuel_mass=8.0,
        weights=20.0,
        thermometer=True,
        lift_limit=15.0,
        tongs_mass=1.5,
        pour_rate_low=0.15,
        pour_rate_high=0.6,
        heel=0.1,
        ambient=293.15,
    )
    return dataclasses.replace(shop, **changes)


def stores(shop: Kit | None = None) -> Stores:
    """Stores without metals: the rooms fall back on nothing here, the metal comes ready."""
    return Stores(metals={}, sands={}, constants={}, sources={}, kit=shop or kit())


def mould(**changes) -> Mould:
    """Oil-bonded silica sand in a small flask."""
    box = np.array([-0.15, 0.15, -0.125, 0.125, -0.1, 0.1])
    made = Mould(
        kind="two-part",
        flask=FlaskChosen(name="flask", length=0.3, width=0.25, cope=0.1, drag=0.1),
        box=box,
        side_margin=0.04,
        deep_margin=0.04,
        between_margin=0.012,
        room_for_rigging=box,
        sand="oil-bonded",
        sand_name="oil-bonded sand",
        sand_conductivity=0.6,
        sand_density=1600.0,
        sand_heat=1080.0,
        contact=600.0,
        bodies=(),
    )
    return dataclasses.replace(made, **changes)


def spot(modulus: float = 0.005) -> HotSpot:
    """A hot spot that wants feeding."""
    return HotSpot(at=np.zeros(3), time=100.0, modulus=modulus, radius=1.2 * modulus, saddle=0.0, needs_feed=True, why="test", loss=0.0005)


def part(volume: float = 150e-6, wall: float = 0.006, spots: tuple[HotSpot, ...] = ()) -> Part:
    """A part known by its volume and walls alone."""
    return Part(
        file="block.stl",
        unit="mm",
        body="only",
        mesh=Mesh(vertices=np.zeros((3, 3)), faces=np.array([[0, 1, 2]])),
        extents=np.array([0.1, 0.06, 0.025]),
        volume=volume,
        area=0.02,
        triangles=1,
        watertight=True,
        mended_volume_change=0.0,
        least_wall=wall,
        median_wall=1.2 * wall,
        least_wall_at=np.array([0.01, 0.0, 0.0]),
        face_wall=np.array([wall]),
        modulus=volume / 0.02,
        hot_spots=spots,
        bare_times=np.zeros((1, 1, 1)),
        bare_cell=0.002,
        bare_origin=np.zeros(3),
    )


def cavity(mass: float = 0.6) -> Cavity:
    """A closed mould known by its metal alone."""
    from strickle.base import Grid

    tags = np.zeros((1, 1, 1), dtype=np.uint8)
    return Cavity(
        cell=0.002,
        cells=1,
        metal_cells=1,
        metal_volume=mass / 2370.0,
        mesh_volume=mass / 2370.0,
        voxel_area=0.03,
        mesh_area=0.03,
        lift=50.0,
        hold_down_mass=3.0,
        sand_mass=20.0,
        least_sand_margin=0.03,
        metal_mass=mass,
        grid=Grid(tags=tags, cell=0.002, origin=np.zeros(3)),
        fraction=np.zeros((1, 1, 1)),
        bodies=np.zeros((1, 1, 1), dtype=np.uint8),
        names=(),
    )
