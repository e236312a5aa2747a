"""Castings planned in memory for the day's tests: made parts, a changed shop, changed asks. Each is planned once in a test run."""

from __future__ import annotations

import dataclasses
import functools

import manifold3d as m3
import numpy as np

from strickle.base import quiet, render
from strickle.job.demo import bracket_stl, stl
from strickle.job.kit import stores_with
from strickle.job.runner import Runner
from strickle.metal import MetalAsk
from strickle.part import PartAsk
from strickle.pattern import PatternAsk
from strickle.pour import PourAsk
from strickle.rigging import RiggingAsk
from strickle.stores import Kit
from strickle.stores.kit import starter_kit
from strickle.trials import steps

_MEMORY: dict = {}  # shared by every runner, as trials share it among variants


def box(x: float, y: float, z: float) -> m3.Manifold:
    """A block [mm] centred in plan, standing on z = 0."""
    return m3.Manifold.cube((x, y, z)).translate((-x / 2, -y / 2, 0))


def dumb_bell(sides: int = 64) -> m3.Manifold:
    """Two balls of 40 mm, 90 mm apart, on a bar of 12 mm."""
    balls = [m3.Manifold.sphere(20.0, sides).translate((x, 0, 0)) for x in (-45.0, 45.0)]
    return balls[0] + balls[1] + m3.Manifold.cylinder(90.0, 6.0, 6.0, 48).rotate((0, 90, 0)).translate((-45, 0, 0))


PARTS = {
    "demo": bracket_stl,
    "dumb-bell": lambda: _stl(dumb_bell()),
    "boss": lambda: _stl(box(100, 80, 8) + m3.Manifold.cylinder(22, 14, 14, 64).translate((20, 10, 7))),
    "thin plate": lambda: _stl(box(120, 80, 4)),
}


def _stl(solid: m3.Manifold) -> bytes:
    mesh = solid.to_mesh()
    return stl(np.asarray(mesh.vert_properties[:, :3], dtype=float), np.asarray(mesh.tri_verts, dtype=np.int64))


class Heard(Runner):
    """A runner that also keeps every freezing it was given, in the order of the solves."""

    def __init__(self, *args, **more) -> None:
        super().__init__(*args, **more)
        self.sounds: list = []

    def run(self, stage, ask=None):
        out = super().run(stage, ask)
        if stage == "sound":
            self.sounds.append(out)
        return out


AS_DRAWN = PatternAsk(draft="none", joint="flat", undercuts="fill", holes="cast")
"""The cavity is the part: these tests are on what comes after it."""


def runner(part: str, kit: Kit | None = None, **asks) -> Heard:
    """A runner for a part by name, as the job makes one; it never touches disk."""
    given = {"part": PartAsk(data=PARTS[part](), name=f"{part}.stl", unit="mm"), "pattern": AS_DRAWN, "pour": PourAsk(filling="none"), **asks}
    return Heard(stores_with(kit or starter_kit()), given, watch=quiet, memory=_MEMORY)


@functools.cache
def planned(part: str, shop: str = "whole", metal: str = "a356", until: str | None = None, preset: str = "rough"):
    """The trail of a part by name in a shop by name (see SHOPS)."""
    made = runner(part, SHOPS[shop](starter_kit()), metal=MetalAsk(metal=metal))
    return through(made, preset=preset, until=until)


def through(made: Runner, *, preset: str = "rough", until: str | None = None, cures: bool = True):
    """The runner's stages gone through."""
    return steps.plan_through(made, until=until, preset=preset, watch=quiet, cures=cures)


def wished(part: str, *wishes):
    """The trail of a part with wishes on its risers, without cures, and the freezings solved on the way."""
    heard = runner(part, rigging=RiggingAsk(risers=wishes))
    return through(heard, cures=False), heard.sounds


def _flasks(kit: Kit, share: float) -> Kit:
    smaller = (dataclasses.replace(f, length=f.length * share, width=f.width * share, cope=f.cope * share, drag=f.drag * share) for f in kit.flasks)
    return dataclasses.replace(kit, flasks=tuple(smaller))


SHOPS = {
    "whole": lambda kit: kit,
    "half the pots": lambda kit: dataclasses.replace(
        kit, crucibles=tuple(dataclasses.replace(c, volume=c.volume / 2) for c in kit.crucibles)
    ),
    "half the flasks": lambda kit: _flasks(kit, 0.5),
    "0.4 of the flasks": lambda kit: _flasks(kit, 0.4),
    "a tenth of the bed": lambda kit: dataclasses.replace(kit, bed=kit.bed / 10),
    "half the sand": lambda kit: dataclasses.replace(kit, sand_mass=kit.sand_mass / 2),
    "a quarter of the sand": lambda kit: dataclasses.replace(kit, sand_mass=kit.sand_mass / 4),
    "a tenth of the sand": lambda kit: dataclasses.replace(kit, sand_mass=kit.sand_mass / 10),
    "a tenth of the pots": lambda kit: dataclasses.replace(
        kit, crucibles=tuple(dataclasses.replace(c, volume=c.volume / 10) for c in kit.crucibles)
    ),
    "a fifth of the pots": lambda kit: dataclasses.replace(
        kit, crucibles=tuple(dataclasses.replace(c, volume=c.volume / 5) for c in kit.crucibles)
    ),
}  # fmt: skip


def codes(trail) -> set[str]:
    return {f.code for f in trail.findings}


def text(finding) -> str:
    return render(f"{finding.says} {finding.because} {finding.do}")
