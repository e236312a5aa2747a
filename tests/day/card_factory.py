# ruff: noqa: E501
"""Results made up for the card's own tests: the demo bracket with plain boxes and cones as rigging and a field drawn by formula.

Every number here is invented; nothing of it leaves the tests.
"""

from __future__ import annotations

import dataclasses
import math

import manifold3d as m3
import numpy as np

from strickle.base import Finding, Grid, Margin, Mesh, Piece, Source, Span, Verdict, Where, tell
from strickle.cavity import INGATE, PART, RISER, RUNNING, SAND, Cavity
from strickle.job.demo import bracket
from strickle.melt import Melt
from strickle.metal import Metal
from strickle.mould import FlaskChosen, Mould
from strickle.part import HotSpot, Part
from strickle.pattern import Pattern
from strickle.pour import Pour
from strickle.rigging import Basin, Ingate, Neck, Region, Rigging, Riser, Runner, Sprue, Vent
from strickle.sound import Late, NeckJudged, Peg, Sound, Weak
from strickle.stores import Crucible, Flask, Furnace, Kit

SCALE = 1.013
HERE = Source(key="invented", says="Nobody, Numbers made up for a test, 2000, nowhere", mark="guess")


def mesh(body: m3.Manifold) -> Mesh:
    raw = body.to_mesh64()
    return Mesh(vertices=np.asarray(raw.vert_properties, dtype=float)[:, :3], faces=np.asarray(raw.tri_verts, dtype=np.int64))


def _bodies() -> dict[str, m3.Manifold]:
    v, f = bracket()
    part = m3.Manifold(m3.Mesh64(v * 1e-3 * SCALE, f.astype(np.uint64))).translate((-0.02, 0.0, 0.0))
    cone = lambda x, y, z0, z1, r0, r1: m3.Manifold.cylinder(z1 - z0, r0, r1, 64).translate((x, y, z0))  # noqa: E731
    cube = lambda x0, x1, y0, y1, z0, z1: m3.Manifold.cube((x1 - x0, y1 - y0, z1 - z0)).translate((x0, y0, z0))  # noqa: E731
    return {
        "part": part,
        "sprue": cone(-0.105, -0.055, 0.0, 0.100, 0.0075, 0.0105),
        "basin": cube(-0.130, -0.080, -0.080, -0.035, 0.080, 0.100),
        "well": cone(-0.105, -0.055, -0.018, 0.0, 0.014, 0.014),
        "runner": cube(-0.105, 0.060, -0.063, -0.047, -0.012, 0.0),
        "ingate-1": cube(-0.030, -0.010, -0.056, -0.0185, -0.002, 0.005),
        "ingate-2": cube(0.025, 0.045, -0.056, -0.009, -0.002, 0.005),
        "neck-1": cone(-0.02, 0.0, 0.031, 0.042, 0.013, 0.014),
        "riser-1": cone(-0.02, 0.0, 0.042, 0.100, 0.020, 0.024),
        "neck-2": cone(0.0934, 0.0, 0.025, 0.036, 0.009, 0.010),
        "riser-2": cone(0.0934, 0.0, 0.036, 0.100, 0.014, 0.018),
    }


def _kind(name: str) -> str:
    for start, kind in (("riser", "riser"), ("neck", "neck"), ("ingate", "ingate")):
        if name.startswith(start):
            return kind
    return "running"


def _piece(name: str, body: m3.Manifold, half: str, order: int, note: str = "", up: float = 1.0) -> Piece:
    box = body.bounding_box()
    return Piece(
        name=name, role="pattern" if "pattern" in name else "former", half=half, mesh=mesh(body), draw=np.array([0.0, 0.0, up]),
        order=order, volume=body.volume(), extents=np.array([box[3] - box[0], box[4] - box[1], box[5] - box[2]]), note=note,
    )  # fmt: skip


def kit(**changes) -> Kit:
    made = Kit(
        place="outdoors", ventilated=False,
        crucibles=(Crucible(name="middle pot", volume=1.1e-3, opening=0.11, mass=1.9),),
        furnaces=(Furnace(name="gas furnace", kind="gas", power=20e3, efficiency_low=0.1, efficiency_high=0.25),),
        flasks=(Flask(name="board flask", length=0.32, width=0.24, cope=0.10, drag=0.075),), builds_flasks=True,
        bed=np.array([0.22, 0.22, 0.25]), layer=2e-4, print_error=0.0, rapping=3e-4, sand="oil-bonded", sand_mass=60.0, metal_mass=8.0,
        fuel_mass=9.0, weights=40.0, thermometer=True, lift_limit=8.0, tongs_mass=1.2, pour_rate_low=0.1, pour_rate_high=0.6, heel=0.1,
        ambient=293.0,
    )  # fmt: skip
    return dataclasses.replace(made, **changes)


def results(cell: float = 0.003) -> dict:
    b = _bodies()
    rig = m3.Manifold()
    for name, body in b.items():
        if name != "part":
            rig = rig + body
    casting = b["part"] + rig
    raw = mesh(b["part"])
    n = len(raw.faces)
    common = {"sources": (HERE,)}
    metal = Metal(
        metal="a356", name="A356 aluminium", family="aluminium", liquidus=886.0, solidus=823.0, coherency=870.0,
        curve_temperature=np.array([886.0, 823.0]), curve_solid=np.array([0.0, 1.0]), curve_is_rough=True, latent_heat=4e5,
        solid_heat_temperature=np.array([300.0]), solid_heat=np.array([960.0]), liquid_heat=1080.0,
        solid_conductivity_temperature=np.array([300.0]), solid_conductivity=np.array([150.0]), liquid_conductivity=70.0,
        density_cold=2680.0, density_solidus=2560.0, density_liquidus=2400.0, density_slope=-0.25, viscosity=1.1e-3, surface_tension=0.9,
        emissivity=0.2, shrinkage=0.055, contraction=Span(value=0.013, low=0.010, high=0.018), contraction_why="books differ",
        free_contraction=0.0125, pour_low=950.0, pour_high=1030.0, **common,
    )  # fmt: skip
    part = Part(
        file="idler-arm.stl", unit="mm", body="0", mesh=raw, extents=np.array([0.148, 0.082, 0.032]), volume=b["part"].volume(),
        area=b["part"].surface_area(), triangles=n, watertight=True, mended_volume_change=0.0, least_wall=0.009, median_wall=0.010,
        least_wall_at=np.zeros(3), face_wall=np.full(n, 0.01), modulus=0.0047,
        hot_spots=(HotSpot(at=np.array([0.0, 0.0, 0.015]), time=180.0, modulus=0.009, radius=0.014, saddle=0.0, needs_feed=True, why="thick boss", loss=0.001),),
        bare_times=np.full((2, 2, 2), np.nan), bare_cell=0.005, bare_origin=np.zeros(3), **common,
    )  # fmt: skip
    pieces = (
        _piece("cope-pattern", b["part"], "cope", 3, "the flat back lies on the board"),
        _piece("drag-board-dowels", m3.Manifold.cube((0.01, 0.01, 0.01)), "drag", 2, "two sizes, cannot be set wrong way round", -1.0),
    )
    pattern = Pattern(
        draw=np.array([0.0, 0.0, 1.0]), turn=np.eye(3), shift=np.array([-0.02, 0.0, 0.0]), scale=np.full(3, SCALE), print_scale=np.full(3, SCALE),
        parting_level=0.0, undercut_volume=0.0, undercut_faces=(), undrafted_area=0.0, face_draft=np.full(n, 0.04),
        contraction=Span(value=0.013, low=0.010, high=0.018), measure=0.1502, measure_part=0.148, measure_axis="over both bosses",
        cavity=raw, cope_depth=0.0324, drag_depth=0.0, pieces=pieces, **common,
    )  # fmt: skip
    box = np.array([-0.16, 0.16, -0.12, 0.12, -0.075, 0.100])
    mould = Mould(
        kind="two-part", flask=FlaskChosen(name="board flask", length=0.32, width=0.24, cope=0.10, drag=0.075), box=box, side_margin=0.03,
        deep_margin=0.03, between_margin=0.015, room_for_rigging=box, sand="oil-bonded", sand_name="oil-bonded sand", sand_conductivity=0.6,
        sand_density=1550.0, sand_heat=1000.0, contact=1000.0, bodies=(), **common,
    )  # fmt: skip
    ats = {"ingate-1": (-0.02, -0.0185, 0.002), "ingate-2": (0.035, -0.012, 0.002)}
    ingates = tuple(
        Ingate(name=k, at=np.array(v), area=1e-4, width=0.020, height=0.005, half="cope", speed=0.38, fall=0.0, asked=1e-4, contact=1.01e-4)
        for k, v in ats.items()
    )

    def riser(i: int, x: float, d: float, z: float) -> Riser:
        neck = Neck(
            width=0.65 * d,
            height=0.011,
            length=0.011,
            modulus=d / 6,
            area=0.33 * d * d,
            asked=0.33 * d * d,
            contact=0.33 * d * d,
            at=np.array([x, 0, z]),
        )
        return Riser(name=f"riser-{i}", kind="top", spot=i - 1, at=np.array([x, 0.0, z + 0.01]), diameter=d, height=0.09 - z, modulus=d / 5, volume=b[f"riser-{i}"].volume(), neck=neck)  # fmt: skip

    formers = (
        _piece("sprue-former", b["sprue"], "cope", 2, "draws up through the cope top"), _piece("riser-1", b["riser-1"], "cope", 1),
        _piece("riser-2", b["riser-2"], "cope", 1), _piece("neck-1", b["neck-1"], "cope", 4, "stands on the pattern"),
        _piece("neck-2", b["neck-2"], "cope", 4), _piece("runner", b["runner"], "drag", 1, "with its well", 1.0),
        _piece("ingate-1", b["ingate-1"], "cope", 5), _piece("ingate-2", b["ingate-2"], "cope", 5),
    )  # fmt: skip
    rigging = Rigging(
        pour_time=6.1, flow=1.0e-4, head=0.09, choke_area=1.77e-4, discharge=0.8,
        sprue=Sprue(top_area=math.pi * 0.0105**2, base_area=math.pi * 0.0075**2, height=0.1, at=np.array([-0.105, -0.055])),
        basin=Basin(depth=0.02, width=0.045, length=0.05, volume=4.5e-5),
        runner=Runner(width=0.016, depth=0.012, area=1.92e-4, length=0.165, line=np.array([[-0.105, -0.055], [0.06, -0.055]])),
        ingates=ingates, risers=(riser(1, -0.02, 0.040, 0.032), riser(2, 0.0934, 0.028, 0.026)),
        vents=(Vent(name="vent-1", kind="pricked", at=np.array([0.0084, 0.036, 0.009]), diameter=0.002, to_metal=0.006), Vent(name="vent-2", kind="pricked", at=np.array([0.0084, -0.030, 0.009]), diameter=0.002, to_metal=0.006)),
        volume=casting.volume() - b["part"].volume(), yield_=0.34, least_gap=0.016, casting=mesh(casting),
        regions=tuple(Region(name=k, kind=_kind(k), mesh=mesh(v)) for k, v in b.items() if k != "part"), pieces=formers, **common,
    )  # fmt: skip
    shape = np.array(np.round((box[1::2] - box[0::2]) / cell), dtype=int)
    at = np.stack(np.meshgrid(*[box[2 * a] + (np.arange(shape[a]) + 0.5) * cell for a in range(3)], indexing="ij"), axis=-1)
    tags = np.full(shape, SAND, dtype=np.uint8)
    import trimesh

    for name, body in b.items():
        m = mesh(body)
        inside = trimesh.Trimesh(m.vertices, m.faces, process=False).contains(at.reshape(-1, 3)).reshape(shape)
        tag = PART if name == "part" else {"riser": RISER, "neck": 3, "ingate": INGATE, "running": RUNNING}[_kind(name)]
        tags[inside & ((tags == SAND) | (tag == PART))] = tag
    field = np.full(shape, np.nan)
    inside = tags != SAND
    hot = np.exp(-(((at[..., 0] + 0.02) ** 2 + at[..., 1] ** 2) / 0.045**2)) + 0.6 * np.exp(
        -(((at[..., 0] - 0.0934) ** 2 + at[..., 1] ** 2) / 0.03**2)
    )
    field[inside] = (25 + 190 * hot + 900 * np.clip(at[..., 2], 0, None) * hot)[inside]
    cavity = Cavity(
        cell=cell, cells=int(shape.prod()), metal_cells=int(inside.sum()), metal_volume=casting.volume(), mesh_volume=casting.volume(),
        voxel_area=0.06, mesh_area=casting.surface_area(), lift=62.0, hold_down_mass=7.6, sand_mass=19.3, least_sand_margin=0.035, metal_mass=1.23,
        grid=Grid(tags=tags, cell=cell, origin=box[0::2]), fraction=inside.astype(float), bodies=np.zeros(shape, dtype=np.uint8), names=(), **common,
    )  # fmt: skip
    span = lambda v, r=0.15: Span(value=v, low=v * (1 - r), high=v * (1 + r))  # noqa: E731
    melt = Melt(
        charge_mass=1.62, poured_mass=1.23, heel_mass=0.18, loss=Span(value=0.04, low=0.02, high=0.08), pot="middle pot", pot_needed_volume=8.1e-4,
        furnace="gas furnace", fuel="propane", heat=1.8e6, energy=Span(value=1.2e7, low=7e6, high=1.8e7), fuel_mass=Span(value=0.25, low=0.15, high=0.39),
        melt_time=Span(value=1500.0, low=900.0, high=2400.0), lift_temperature=Span(value=1013.0, low=1003.0, high=1023.0),
        pour_temperature=Span(value=993.0, low=978.0, high=1008.0), cooling_rate=0.8, pot_share=0.4, gross_mass=4.7, tray_mass=1.62, **common,
    )  # fmt: skip
    pour = Pour(
        fill_time=span(6.1), pour_time=span(8.4), rate=0.21, gate_speed=0.38, critical_speed=0.5, fall=0.0, fall_speed=0.0, least_pressure=250.0, aspirates=False,
        fluid_time=span(13.0, 0.3), fluid_margin=span(2.1, 0.3), **common,
    )  # fmt: skip
    thin = Finding(
        code="sound.neck", weight="MIND", says=f"The neck of riser-2 stays open only {tell(1.13, '1')} times as long as the boss it feeds",
        because="the rib carries heat off the boss more slowly than the riser's root", do=f"Open the neck to {tell(0.021, 'm')} across",
        where=Where(point=(0.112, 0.0, 0.026)), margin=Margin(value=1.13, unit="1", of="neck freezing time over that of what it feeds", low=1.02, high=1.24), source="computed",
    )  # fmt: skip
    late = Late(at=np.array([-0.02, 0.0, 0.024]), at_part=np.array([0.0, 0.0, 0.024]), time=span(212.0))
    pegs = tuple(
        Peg(name=name, material=material, at=late.at, at_part=late.at_part, why="asked for", highest=993.0, highest_time=0.0)
        for name, material in (("latest metal", "metal"), ("sand", "sand"))
    )
    sound = Sound(
        last_to_freeze=late, others=(), time_to_liquidus=38.0,
        necks=(NeckJudged(riser="riser-1", feeds=0, fed_time=212.0, neck_time=244.0, riser_time=262.0, margin=1.15),), least_niyama=Weak(at=late.at, at_part=late.at_part, value=0.8),
        poor_share=0.04, riser_time=span(262.0, 0.2), knock_out_time=span(1450.0, 0.2), knock_out_temperature=623.0, touch_time=span(15000.0, 0.2), touch_temperature=318.15, balance_error=1e-7,
        time_to_solidus=field, time_to_coherency=field * 0.8, time_lose_superheat=field * 0.2, niyama=field, findings=(thin,),
        pegs=pegs, peg_times=np.linspace(0.0, 240.0, 90), peg_temperatures=np.array([993.0 - 1.5 * np.linspace(0.0, 240.0, 90), 293.0 + np.linspace(0.0, 240.0, 90)]), **common,
    )  # fmt: skip
    note = Finding(
        code="metal.rough_curve",
        weight="MIND",
        says="The freezing curve of this alloy is derived by rule, not published",
        because="no published curve is in the stores",
        do="Treat the times as bands",
        source="common practice",
    )
    metal = dataclasses.replace(metal, findings=(note,))
    return {
        "metal": metal,
        "part": part,
        "pattern": pattern,
        "mould": mould,
        "rigging": rigging,
        "cavity": cavity,
        "melt": melt,
        "pour": pour,
        "sound": sound,
    }


def poured(made: dict, empty: float = 0.0) -> Pour:
    """The pour with a solved filling by formula: metal rises evenly from the runner to the part's top in 5 s and cools as it goes; sprue and
    risers are not solved. ``empty``: share of the part's height that stays empty."""
    from strickle.pour.solution import Empty, LastPlace, Pocket, Seam, Solution

    grid, pattern = made["cavity"].grid, made["pattern"]
    z = grid.origin[2] + (np.arange(grid.tags.shape[2]) + 0.5) * grid.cell
    low, high = -0.02, 0.036
    rise = np.broadcast_to(5.0 * (z - low) / (high - low), grid.tags.shape)
    came = (grid.tags != SAND) & (z < high) & ~((grid.tags == PART) & (z > high - empty * (high - low)))
    arrival = np.where(came, rise, np.nan).astype(np.float32)
    place = lambda x, y, z: {"at": np.array([x, y, z]), "at_part": (np.array([x, y, z]) - pattern.shift) / SCALE}  # noqa: E731
    solution = Solution(
        cell=grid.cell, cells=int(came.sum()), across_wall=3.0, flow_from="law", status="filled", fill_time=5.0 if not empty else math.nan, ratio=0.82,
        gates=(), last=(LastPlace(**place(0.0934, 0.0, 0.024), time=4.4, temperature=940.0), LastPlace(**place(-0.02, 0.0, 0.030), time=4.9, temperature=930.0)),
        seams=(Seam(**place(0.05, 0.0, 0.005), time=2.0, area=2e-4, colder=890.0, warmer=905.0, solid=0.0),),
        pockets=(Pocket(**place(0.0084, 0.036, 0.009), time=2.4, volume=2e-7, left=0.0, through_sand=9.0, vent=1e-3),), empty_volume=1e-6 * bool(empty),
        empty=Empty(**place(-0.02, 0.0, 0.031), volume=1e-6) if empty else None, coldest=890.0, stiffest=0.0, solid=0.0, wall_speed=0.4,
        wall_speed_at=np.zeros(3), sprue_empty=0.0, risen=0.0, metal_balance=1e-9, heat_balance=-2e-3, metal_loss=4e4, steps=500,
    )  # fmt: skip
    seam = solution.seams[0]
    cold = Finding(
        code="pour.cold_shut", weight="MIND", says=f"Two fronts meet here at {tell(seam.colder, 'K')}: there is a chance that they do not knit",
        because="they are cold", do="Pour hotter", where=Where(point=tuple(float(v) for v in seam.at_part)), source="computed",
    )  # fmt: skip
    return dataclasses.replace(
        made["pour"], solution=solution, arrival=arrival, arrival_temperature=(985.0 - 20.0 * arrival).astype(np.float32),
        arrival_speed=np.where(came, 0.6 - 0.1 * arrival, np.nan).astype(np.float32), filling_origin=np.asarray(grid.origin), findings=(cold,),
    )  # fmt: skip


CASTABLE = Verdict(code="castable", says="Castable as it stands")
STOPPED = Verdict(code="not_this_way", says="Not by this way: the pot is too small")


def stop() -> Finding:
    return Finding(
        code="melt.pot_too_small", weight="STOP", says=f"The largest pot holds {tell(4e-4, 'm3')} of the {tell(8.1e-4, 'm3')} this pour needs",
        because="part, rigging, heel and loss together are more than the pot takes below its rim", do="Take a larger pot, or fewer risers after a smaller part",
        margin=Margin(value=0.49, unit="1", of="largest pot over the pot needed"), source="computed",
    )  # fmt: skip
