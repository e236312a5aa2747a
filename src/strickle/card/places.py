"""Where things stand in the flask: coordinates from two of its inner walls, and how deep each vent is pricked."""

from __future__ import annotations

import math

import numpy as np

from strickle.card.words import near
from strickle.mould import Mould
from strickle.pattern import Pattern
from strickle.rigging import Rigging, Vent
from strickle.sound import Sound

PEG = "peg "
PRICKED = ("pricked", "core")


def depth(vent: Vent, mould: Mould) -> float:
    """How deep the wire goes below the cope top [m]."""
    return max(float(mould.box[5]) - float(vent.at[2]) - vent.to_metal, 0.0)


def depths(rigging: Rigging, mould: Mould, units: str) -> list[tuple[str, str]]:
    """(vent's name, depth below the cope top) of every vent pricked with wire or rod."""
    return [(v.name, near(depth(v, mould), units)) for v in rigging.vents if v.kind in PRICKED]


def level_from(told: list[tuple[str, str]], mould: Mould) -> str:
    """What the pegs' heights among ``places`` are counted from; nothing where there are none."""
    return f"Pegs: up or down from the {'rim' if mould.kind == 'open-face' else 'parting'}." if any(what.startswith(PEG) for what, _ in told) else ""


def places(pattern: Pattern, mould: Mould, rigging: Rigging, units: str, sound: Sound | None = None) -> list[tuple[str, str]]:
    """(what, "x, y") of everything that is set or pricked, from the flask's left and near inner walls; with it a vent's depth, and how far a peg
    in the sand, where a thermocouple can be put, lies up or down from the parting.
    """
    corners = pattern.cavity.vertices
    found: list[tuple[str, float, float, str]] = []
    middle = (corners.min(axis=0) + corners.max(axis=0)) / 2
    found.append(("pattern's middle", float(middle[0]), float(middle[1]), ""))
    for half in ("drag", "cope"):
        several = [p for p in pattern.pieces if p.role == "pattern" and p.half == half]
        for piece in several if len(several) > 1 else ():
            x, y = (piece.mesh.vertices[:, :2].min(axis=0) + piece.mesh.vertices[:, :2].max(axis=0)) / 2
            found.append((f"{piece.name}'s middle", float(x), float(y), ""))
    line, sprue = np.asarray(rigging.runner.line), np.asarray(rigging.sprue.at)
    under = len(line) > 0 and bool(np.allclose(line[0], sprue, atol=1e-3))
    found.append(("sprue, runner's start" if under else "sprue", float(sprue[0]), float(sprue[1]), ""))
    for what, at in (("runner's start", line[int(under) : 1]), ("runner's end", line[-1:])):
        found += [(what, float(x), float(y), "") for x, y in at]
    found += [(r.name, float(r.at[0]), float(r.at[1]), "") for r in rigging.risers]
    found += [(g.name, float(g.at[0]), float(g.at[1]), "") for g in rigging.ingates]
    found += [(f"chill {c.name}", float(c.at[0]), float(c.at[1]), "") for c in rigging.chills]
    deep = dict(depths(rigging, mould, units))
    for v in rigging.vents:
        found.append((v.name, float(v.at[0]), float(v.at[1]), f", {deep[v.name]} deep" if v.name in deep else ""))
    for peg in sound.pegs if sound is not None else ():
        if peg.material == "sand":
            x, y, z = (float(v) for v in peg.at)
            found.append((f"{PEG}{peg.name}", x, y, f", {near(abs(z), units)} {'up' if z > 0 else 'down'}"))
    left, front = float(mould.box[0]), float(mould.box[2])
    return [(what, f"{near(x - left, units)}, {near(y - front, units)}{more}") for what, x, y, more in found if math.isfinite(x + y)]
