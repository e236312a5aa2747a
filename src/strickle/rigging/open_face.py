"""Nothing between ladle and part: an open face is poured straight in. How full, and why, is all there is to rig."""

from __future__ import annotations

import math
from dataclasses import dataclass

import manifold3d as m3
import numpy as np

from strickle.base import GRAVITY, BadInput, Finding, Margin, Record, Source, Span, Value, si, tearing_speed, tell
from strickle.metal import Metal
from strickle.part import Part
from strickle.pattern import Pattern
from strickle.rigging.ask import RiggingAsk
from strickle.rigging.result import Basin, OpenPour, Rigging, Runner, Sprue
from strickle.rigging.sizing import ALUMINIUM
from strickle.rigging.solids import Frame, Solid
from strickle.stores import Kit, Stores

ANGLE = Value(value=150.0, low=130.0, high=160.0, unit="1", source="general", mark="memory", note="degrees, liquid metal that does not wet sand")
SURE = Value(value=3.0, low=2.0, high=5.0, unit="1", source="house", mark="guess", note="on the proud height: oxide, a tremor, a chipped rim")
EYE = Value(value=1e-3, low=0.5e-3, high=2e-3, unit="m", source="house", mark="guess", note="how well the eye stops the metal at a level")
SCALE = Value(value=0.05, low=0.02, high=0.08, unit="1", source="house", mark="guess", note="of a weighed charge: dross and what clings to the pot")
LEAST_PROUD = 1e-3
"""m. Less cannot be told from level by eye."""
FIRST_SECTION, HIGHEST_RELIEF, SMALL = 0.2, 8.0, 0.6
"""mm over the lowest face; mm that letters and ribs stand out at most; share of the section beyond that what stands out may fill: choices."""
LIES, REACHES, THIN = 0.7, 0.1, 0.05
"""Component along the draw from which a face lies; share of its wall by which it may miss the back; share of the surface on less."""
WAYS = ("level", "proud")
SOURCES = (
    Source(key="campbell-drop", says="Height of a resting drop: Campbell, Complete Casting Handbook, 2011", mark="memory"),
    Source(key="house", says="Factor on the proud height, eye and scale: choices of this program, to be learned from the log", mark="guess"),
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Facts(Record):
    """What decides how full to pour."""

    area: float = si("m2", "open surface")
    volume: float = si("m3", "impression up to the sand's level")
    depth: float = si("m", "mean depth of the impression")
    stock: float = si("m", "on the back, hot")
    density: float = si("kg/m3", "metal as it is poured")
    loss: float = si("1", "share of the volume lost from the pour to solid")
    stands: float = si("m", "height at which a puddle stands of itself")
    bears: float = si("m", "proud height that the surface bears at a full rim, with its factor")


def drop_height(surface_tension: float, density: float) -> float:
    """Height [m] of a wide resting drop that nothing wets: that of a fall to the tearing speed, twice the capillary length."""
    return tearing_speed(surface_tension, density) ** 2 / (2.0 * GRAVITY)


def stands_height(surface_tension: float, density: float, angle: float) -> float:
    """Height [m] of a wide puddle that meets the sand at ``angle`` [degrees]: the drop height times the sine of half of it.

    A full 180 degrees gives the height of a resting drop that nothing wets (checks C12, 13.398 mm).

    >>> round(stands_height(1.05, 2385.0, 180.0) * 1e3, 3), round(stands_height(0.9, 2390.0, 150.0) * 1e3, 1)
    (13.398, 12.0)
    """
    return drop_height(surface_tension, density) * math.sin(math.radians(angle) / 2.0)


def volume_lost(metal: Metal, pour: float) -> float:
    """Share of the poured volume that is gone when all is solid: contraction of the liquid from ``pour`` [K], then on freezing."""
    hot = metal.density_liquidus + metal.density_slope * (pour - metal.liquidus)
    return 1.0 - hot / metal.density_liquidus * (1.0 - metal.shrinkage)


def poured_wall(part: Part, pattern: Pattern) -> float:
    """Least wall [m] of the part with its stock on the back: walls that end at the back are that much thicker.

    Least as the part's own is: a twentieth of the surface stands on less.
    """
    if pattern.stock <= 0.0:
        return part.least_wall
    corners = part.mesh.vertices[part.mesh.faces]
    across = 0.5 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.linalg.norm(across, axis=1)
    along = (across / np.maximum(area, 1e-300)[:, None]) @ pattern.draw
    height = corners.mean(axis=1) @ pattern.draw
    back = float((part.mesh.vertices @ pattern.draw).max())
    reaches = np.where(along < 0.0, height + part.face_wall * np.abs(along), height)
    ends = (np.abs(along) > LIES) & (back - reaches < REACHES * part.face_wall)
    wall = part.face_wall + np.where(ends, pattern.stock, 0.0)
    good = np.flatnonzero(np.isfinite(wall))
    if not len(good):
        return part.least_wall
    order = good[np.argsort(wall[good], kind="stable")]
    share = np.cumsum(area[order]) / area[order].sum()
    return float(wall[order[min(int(np.searchsorted(share, THIN)), len(order) - 1)]])


def standing_out(casting: Solid) -> tuple[float, float]:
    """Width and height [m] of what stands out on the lowest face of a solid in millimetres; NaN where that face is not a small share.

    The width is twice the radius that, rolled inside the lowest section, no longer reaches half of it: that of a stroke where all are alike.
    """
    low = float(casting.bounding_box()[2])
    reach = min(HIGHEST_RELIEF, 0.5 * (float(casting.bounding_box()[5]) - low))
    first, beyond = casting.slice(low + FIRST_SECTION), casting.slice(low + reach)
    area = float(first.area())
    if not 0.0 < area < SMALL * float(beyond.area()):
        return math.nan, math.nan
    below, above = FIRST_SECTION, reach
    for _ in range(12):
        middle = 0.5 * (below + above)
        below, above = (middle, above) if float(casting.slice(low + middle).area()) < 0.5 * (area + float(beyond.area())) else (below, middle)
    narrow, wide = 0.0, math.sqrt(area)
    for _ in range(14):
        radius = 0.5 * (narrow + wide)
        rolled = float(first.offset(-radius, m3.JoinType.Round).offset(radius, m3.JoinType.Round).area())
        narrow, wide = (radius, wide) if rolled > 0.5 * area else (narrow, radius)
    return 2.0 * narrow * 1e-3, above * 1e-3


def rig_open(part: Part, pattern: Pattern, metal: Metal, stores: Stores, ask: RiggingAsk) -> Rigging:
    """The rigging of an open-face mould: the impression filled to a level, no piece to print. Raises BadInput for a fill not known."""
    if ask.chills or ask.sleeve is not None:
        raise BadInput("chills or sleeves are asked for, and an open-face mould is planned without", "Leave them out, or take --mould two-part")
    frame = Frame(np.zeros(3))
    solid = frame.solid(pattern.cavity)
    facts = _facts(solid, pattern, metal)
    way, why = recommended(facts)
    asked = ask.fill if ask.fill is not None else way
    if isinstance(asked, str) and asked not in (*WAYS, "by weight"):
        raise BadInput(f"a fill {asked!r} is not known", 'Give level, proud, or a mass such as "250 g"')
    level = _level(asked, solid, facts)
    casting = _cast(solid, level)
    volume = float(casting.volume()) * 1e-9
    by_weight = not isinstance(asked, str) or asked == "by weight"
    band = SCALE.value * volume / facts.area if by_weight else EYE.value
    mass = facts.density * volume
    slack = facts.density * facts.area * band
    strokes, relief = standing_out(casting)
    open_pour = OpenPour(
        way="by weight" if by_weight else str(asked),
        recommended=way,
        why=why,
        mass=Span(value=mass, low=mass - slack, high=mass + slack),
        level=Span(value=level, low=level - band, high=level + band),
        depth=volume / facts.area,
        wall=poured_wall(part, pattern),
        strokes=strokes,
        relief=relief,
        area=facts.area,
        stands=facts.stands,
        bears=facts.bears,
        edge=0.5 * drop_height(metal.surface_tension, metal.density_liquidus),
        loss=facts.loss,
    )
    time = _pour_time(volume, stores.kit, ask)
    kept = max(facts.volume - facts.stock * facts.area, 0.0)
    return Rigging(
        pour_time=time,
        flow=volume / time,
        head=math.nan,
        choke_area=math.nan,
        discharge=math.nan,
        sprue=Sprue(top_area=math.nan, base_area=math.nan, height=math.nan, at=np.full(2, np.nan)),
        basin=Basin(depth=math.nan, width=math.nan, length=math.nan, volume=0.0),
        runner=Runner(width=math.nan, depth=math.nan, area=math.nan, length=0.0, line=np.empty((0, 2))),
        ingates=(),
        risers=(),
        vents=(),
        volume=volume - kept,
        yield_=kept / volume,
        least_gap=math.nan,
        casting=frame.mesh(casting),
        regions=(),
        pieces=(),
        open_pour=open_pour,
        findings=_findings(open_pour, facts, ask),
        sources=SOURCES,
    )


def _facts(solid: Solid, pattern: Pattern, metal: Metal) -> Facts:
    pour = 0.5 * (metal.pour_low + metal.pour_high)
    volume = float(solid.volume()) * 1e-9
    area = float(solid.slice(-1e-3).area()) * 1e-6
    stands = stands_height(metal.surface_tension, metal.density_liquidus, ANGLE.value)
    return Facts(
        area=area,
        volume=volume,
        depth=volume / area,
        stock=pattern.stock * float(pattern.scale[2]),
        density=metal.density_liquidus + metal.density_slope * (pour - metal.liquidus),
        loss=volume_lost(metal, pour),
        stands=stands,
        bears=stands / SURE.value,
    )


def recommended(facts: Facts) -> tuple[str, str]:
    """Which way of judging how full is best here, and why in words."""
    sinks = facts.loss * facts.depth
    if facts.depth < facts.stands:
        short = f"the impression is {tell(facts.depth, 'm')} deep on average, and metal that does not wet sand stands {tell(facts.stands, 'm')} high"
        if facts.depth + facts.bears >= facts.stands:
            return "proud", f"{short}: poured proud it is as high as that and lies down into the corners"
        return "by weight", f"{short}: it rises over the rim where it lies before it has reached the corners, so its level tells nothing"
    if sinks > 0.5 * facts.stock > 0:
        return (
            "proud",
            f"the metal loses {tell(sinks, 'm')} of its depth till it is solid, more than half of the stock: what stands proud makes up for it",
        )
    return "level", f"the metal loses {tell(sinks, 'm')} of its depth till it is solid, and the rim is the surest mark there is"


def _level(asked: str | float, solid: Solid, facts: Facts) -> float:
    """Where the hot metal stands over the sand's level [m]."""
    if asked in ("level", "by weight"):
        return 0.0
    if asked == "proud":
        return min(facts.bears, max(facts.loss * facts.depth, facts.stands - facts.depth, LEAST_PROUD))
    wanted = float(asked) / facts.density
    if wanted >= facts.volume:
        return (wanted - facts.volume) / facts.area
    low, high = float(solid.bounding_box()[2]) * 1e-3, 0.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if float(_cast(solid, middle).volume()) * 1e-9 < wanted else (low, middle)
    return 0.5 * (low + high)


def _cast(solid: Solid, level: float) -> Solid:
    """The impression filled to ``level`` [m]; proud metal is carried straight up, its rounded rim left out."""
    if level <= 0.0:
        return solid.trim_by_plane((0.0, 0.0, -1.0), -level * 1e3) if level < 0.0 else solid
    import manifold3d as m3

    top = m3.Manifold.extrude(solid.slice(-1e-3), level * 1e3 + 2e-3).translate((0.0, 0.0, -2e-3))
    return solid + top


def _pour_time(volume: float, kit: Kit, ask: RiggingAsk) -> float:
    """Time [s] a hand takes for it: as asked within the kit's pouring rates, else at their geometric mean."""
    fast, slow = (volume * ALUMINIUM / rate for rate in (kit.pour_rate_high, kit.pour_rate_low))
    return min(max(ask.pour_time, fast), slow) if ask.pour_time is not None else math.sqrt(fast * slow)


def _findings(pour: OpenPour, facts: Facts, ask: RiggingAsk) -> tuple[Finding, ...]:
    level = pour.level.value
    stand = "level with the rim" if level == 0.0 else f"{tell(abs(level), 'm', 'fine')} {'over' if level > 0 else 'under'} the rim"
    chosen = "as recommended" if ask.fill is None or pour.way == pour.recommended else f"as asked; recommended is {pour.recommended}"
    out = [
        Finding(
            code="rigging.open_pour",
            weight="NOTE",
            says=f"Pour {tell(pour.mass.low, 'kg')} to {tell(pour.mass.high, 'kg')}: the metal then stands {stand} ({pour.way}, {chosen})",
            because=pour.why,
            do=f"Stop there; full to the rim it bears {tell(pour.bears, 'm', 'fine')} more, and along the rim it stays round by about"
            f" {tell(pour.edge, 'm', 'fine')}",
            margin=Margin(value=pour.bears - level, unit="m", of="proud height that the surface bears over the height poured"),
            source="resting drop: Campbell, Complete Casting Handbook, 2011 (from memory); factor and angle: guesses of this program",
        )
    ]
    if level > facts.bears + 1e-9:
        out.append(
            Finding(
                code="rigging.overfull",
                weight="STOP" if level > facts.stands else "MIND",
                says=f"{tell(pour.mass.value, 'kg')} stand {tell(level, 'm', 'fine')} over the rim, which bears {tell(facts.bears, 'm', 'fine')}",
                because=f"surface tension alone holds it, {tell(facts.stands, 'm', 'fine')} at the very most, {tell(SURE.value, '1')} times less"
                " reckoned with for an oxide skin, a tremor, a chipped rim",
                do=f"Pour no more than {tell(facts.density * (facts.volume + facts.bears * facts.area), 'kg')}, or give the pattern more stock",
                margin=Margin(value=facts.bears / level, unit="1", of="proud height borne over the height poured"),
            )
        )
    if level < -1e-4:
        short = -level > facts.stock
        out.append(
            Finding(
                code="rigging.short",
                weight="STOP" if short else "MIND",
                says=f"{tell(pour.mass.value, 'kg')} end {tell(-level, 'm', 'fine')} under the rim",
                because=f"the impression takes {tell(facts.density * facts.volume, 'kg')} to its rim, and {tell(facts.stock, 'm')} of that is stock"
                + ("; the finished face is not reached" if short else ""),
                do=f"Pour {tell(facts.density * facts.volume, 'kg')}, or draw the part thinner",
                margin=Margin(value=facts.stock + level, unit="m", of="metal over the finished face as poured"),
            )
        )
    return tuple(out)
