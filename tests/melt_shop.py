"""A metal, a kit and a part to sum with; made up for the tests from reference values, the stores' constants come from the stores."""

from __future__ import annotations

import dataclasses

import numpy as np

from strickle.base import Grid, Mesh, Span
from strickle.cavity import PART, RUNNING, SAND, Cavity
from strickle.metal import Metal
from strickle.mould import FlaskChosen, Mould
from strickle.part import HotSpot, Part
from strickle.pattern import Pattern
from strickle.rigging import Basin, Ingate, Rigging, Runner, Sprue
from strickle.stores import Crucible, Flask, Furnace, Kit, Stores
from strickle.stores.load import load


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
    """A shop in the open with two furnaces, three pots and more of everything than is needed."""
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
    """The published stores under this shop."""
    return load(shop or kit())


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
    """A block 60 x 40 x 20 mm standing on the parting with a runner beside it, on 5 mm cells; its metal weighs ``mass``."""
    tags = np.full((20, 12, 8), SAND, dtype=np.uint8)
    tags[2:14, 2:10, 2:6] = PART
    tags[15:18, 2:10, 0:2] = RUNNING
    return Cavity(
        cell=0.005,
        cells=tags.size,
        metal_cells=int(np.count_nonzero(tags != SAND)),
        metal_volume=mass / 2390.0,
        mesh_volume=mass / 2390.0,
        voxel_area=0.03,
        mesh_area=0.03,
        lift=50.0,
        hold_down_mass=3.0,
        sand_mass=20.0,
        least_sand_margin=0.03,
        metal_mass=mass,
        grid=Grid(tags=tags, cell=0.005, origin=np.array([-0.05, -0.03, -0.01])),
        fraction=(tags != SAND).astype(float),
        bodies=np.zeros(tags.shape, dtype=np.uint8),
        names=(),
    )


def rigging(
    *, top: float = 176e-6, base: float = 69e-6, height: float = 0.06, depth: float = 0.03, gates: float = 200e-6, fall: float = 0.0
) -> Rigging:
    """A running system by its sections [m2], sprue height, basin depth and fall [m]."""
    none = Mesh(vertices=np.zeros((3, 3)), faces=np.array([[0, 1, 2]]))
    gate = Ingate(
        name="ingate-1",
        at=np.array([0.01, 0.02, 0.003]),
        area=gates,
        width=gates / 0.006,
        height=0.006,
        half="cope",
        speed=0.4,
        fall=fall,
        asked=gates,
        contact=gates,
    )
    return Rigging(
        pour_time=2.0,
        flow=6e-5,
        head=0.08,
        choke_area=base,
        discharge=0.74,
        sprue=Sprue(top_area=top, base_area=base, height=height, at=np.zeros(2)),
        basin=Basin(depth=depth, width=0.04, length=0.06, volume=depth * 0.04 * 0.06),
        runner=Runner(width=0.012, depth=0.012, area=2 * base, length=0.1, line=np.zeros((2, 2))),
        ingates=(gate,),
        risers=(),
        vents=(),
        volume=1e-4,
        yield_=0.6,
        least_gap=0.012,
        casting=none,
        regions=(),
        pieces=(),
    )


def pattern() -> Pattern:
    """A part lying as it is, one tenth larger, moved by 0.1 m along x."""
    none = Mesh(vertices=np.zeros((3, 3)), faces=np.array([[0, 1, 2]]))
    return Pattern(
        draw=np.array([0.0, 0.0, 1.0]),
        turn=np.eye(3),
        shift=np.array([0.1, 0.0, 0.0]),
        scale=np.full(3, 1.1),
        print_scale=np.full(3, 1.1),
        parting_level=0.0,
        undercut_volume=0.0,
        undercut_faces=(),
        undrafted_area=0.0,
        face_draft=np.zeros(1),
        contraction=Span(value=0.013, low=0.01, high=0.018),
        measure=0.1,
        measure_part=0.1,
        measure_axis="length",
        cavity=none,
        cope_depth=0.02,
        drag_depth=0.0,
        pieces=(),
    )
