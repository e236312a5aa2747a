"""A part cut by planes into pieces that are cast each in its own mould, with stock and bevels at the splices. Millimetres inside."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import manifold3d
import numpy as np

from strickle.base import Array, BadInput, Mesh, tell
from strickle.pattern.directions import basis, solid
from strickle.pattern.groove import Groove, groove
from strickle.pattern.readable import solid_of, written
from strickle.pattern.splice import Apart, Cut, Plate, Splice, SpliceAsk
from strickle.pattern.undercut import plain
from strickle.stores import machining_stock

CRUMB = 1.0  # mm3: smaller shards are left out, and a casting so small is none
LEAST_FACE = 1.0  # mm2: smaller contacts are no splice
NEAR = 1e-3  # mm off the cut at which its face is looked at
HAIR = 1e-5  # mm
LAP = 0.01  # mm that stock reaches into its casting, so that the two are one
MOST_CASTINGS = 12
KEPT = 0.97  # share of a splice face whose wall is said to be as thin as this at the least
COARSE = 0.05  # mm, an outline's corners may move by this before bevel and plate are laid round it
MOST_EDGES = 240  # of an outline that is bevelled
ROUND = 32  # sides of the cones that make a bevel
GRADE, LONGEST = "G", 0.63  # machining grade, the middle of F to H for light metal in sand moulded by hand (common practice), and its table's end
PINS = (6.0, 5.0, 4.0, 3.0)  # mm, drills for the pins of a splice
ROUND_PIN = 2.0  # mm of metal left beside a pin at the least
PLATE = 3.0  # mm, thickness of a marking plate


class _Face(NamedTuple):
    """A splice face seen along the cut's normal: x, y of ``turn``, the cut at height ``level``. Pieces ``over`` and ``under`` it."""

    cut: int
    turn: Array
    level: float
    over: int
    under: int
    section: manifold3d.CrossSection


def apart(mesh: Mesh, cuts: Sequence[Cut], ask: SpliceAsk, least: float) -> Apart:
    """The castings that the cuts leave, with their splices; ``least`` is the thinnest section that the sand fills [m].

    Raises BadInput for no cut, one that misses the part or has no direction, a casting under a cubic millimetre, or too many castings.
    """
    if ask.kind not in ("weld", "bolt"):
        raise BadInput(f"join {ask.kind!r} is not known", "Give weld or bolt")
    if ask.bevel not in ("filed", "cast"):
        raise BadInput(f"bevel {ask.bevel!r} is not known", "Give filed or cast")
    whole = one_solid(mesh)
    pieces, crumbs = split(whole, cuts)
    names = [f"casting-{number}" for number in range(1, len(pieces) + 1)]
    faces = [face for number, cut in enumerate(cuts) for face in _faces(pieces, cut, number)]
    size = min(float(np.ptp(mesh.vertices, axis=0).max()), LONGEST)
    stock = machining_stock(size, GRADE) if ask.stock is None else ask.stock
    splices, plates = [], []
    for number, face in enumerate(faces, 1):
        walls = _walls(face.section)
        hollow = _hollow(face.section)
        edge = groove(walls[0] * 1e-3, hollow, least, ask.kind)
        edge = edge if ask.bevel == "cast" else edge._replace(cast=0.0)
        removed, added = 0.0, 0.0
        for which, side in ((face.over, 1.0), (face.under, -1.0)):
            pieces[which], out, on = _prepared(pieces[which], face, side, edge, stock * 1e3)
            removed, added = removed + out, added + on
        splice, plate = _splice(f"splice-{number}", face, names, walls, edge, stock, removed, added)
        splices.append(splice)
        plates.append(plate)
    return Apart(
        names=tuple(names),
        meshes=tuple(_mesh(piece) for piece in pieces),
        splices=tuple(splices),
        plates=tuple(plates),
        volume=float(whole.volume()) * 1e-9,
        crumbs=crumbs * 1e-9,
    )


def one_solid(mesh: Mesh) -> manifold3d.Manifold:
    """The part as one solid in millimetres. Raises BadInput where it makes none."""
    whole = solid(mesh)
    if whole.is_empty() or whole.volume() <= 0:
        raise BadInput("the part's mesh does not make a solid", "Mend it where it was drawn and export it again")
    shells = whole.decompose()
    return whole if len(shells) == 1 else manifold3d.Manifold.batch_boolean(shells, manifold3d.OpType.Add)


def split(whole: manifold3d.Manifold, cuts: Sequence[Cut]) -> tuple[list[manifold3d.Manifold], float]:
    """The pieces, largest first, and the volume of the shards left out [mm3]. Raises BadInput as ``apart`` does."""
    if not cuts:
        raise BadInput("no cut is given", 'Give one with --at, such as "0 mm, 0 mm, 40 mm: 0,0,1", or leave it out to have cuts looked for')
    pieces, crumbs = [whole], 0.0
    for number, cut in enumerate(cuts, 1):
        normal, level = _normal(cut, number)
        made: list[manifold3d.Manifold] = []
        parted = False
        for piece in pieces:
            over, under = (_side(piece, side * normal, side * level) for side in (1.0, -1.0))
            shards = [shard for half in (over, under) if not half.is_empty() for shard in half.decompose()]
            fit = [shard for shard in shards if shard.volume() >= CRUMB]
            crumbs += sum(float(shard.volume()) for shard in shards if shard.volume() < CRUMB)
            parted |= len(fit) > 1 and float(over.volume()) >= CRUMB and float(under.volume()) >= CRUMB
            made += fit
        if not parted:
            raise BadInput(
                f"cut {number} misses the part, or takes off less than a cubic millimetre of it",
                "Give a point inside the part: strickle look tells its size",
            )
        pieces = made
    if len(pieces) > MOST_CASTINGS:
        raise BadInput(f"the cuts leave {len(pieces)} castings", f"Take fewer cuts: {MOST_CASTINGS} castings are the most")
    pieces.sort(key=lambda piece: (-round(float(piece.volume()), 3), piece.bounding_box()))
    return pieces, crumbs


def _side(piece: manifold3d.Manifold, normal: Array, level: float) -> manifold3d.Manifold:
    """What of a piece lies over a plane, cut a hair off it and drawn back to it: a face of the piece in the plane would stay as a sheet."""
    half = piece.trim_by_plane(tuple(float(v) for v in normal), level + HAIR)
    if half.is_empty():
        return half
    vertices, faces = plain(half)
    off = vertices @ normal - level
    vertices[off < 1.01 * HAIR] -= off[off < 1.01 * HAIR, None] * normal
    return solid_of(vertices, faces)


def _normal(cut: Cut, number: int) -> tuple[Array, float]:
    """Unit normal, and the cut's height along it [mm]."""
    length = float(np.linalg.norm(cut.normal))
    if not 0 < length < np.inf or not np.isfinite(cut.at).all():
        raise BadInput(f"cut {number} has no direction", 'Give a point and three numbers, such as "0 mm, 0 mm, 40 mm: 0,0,1"')
    normal = np.asarray(cut.normal, dtype=float) / length
    return normal, float(normal @ cut.at) * 1e3


def _turned(piece: manifold3d.Manifold, turn: Array, level: float) -> manifold3d.Manifold:
    """The piece with the cut at z = 0."""
    return piece.transform(np.column_stack([turn, [0.0, 0.0, -level]]))


def _back(body: manifold3d.Manifold, turn: Array, level: float) -> manifold3d.Manifold:
    return body.transform(np.column_stack([turn.T, turn.T @ [0.0, 0.0, level]]))


def _faces(pieces: Sequence[manifold3d.Manifold], cut: Cut, number: int) -> list[_Face]:
    """Where two pieces meet in the cut, each patch by itself."""
    normal, level = _normal(cut, number + 1)
    turn = basis(normal)
    above: list[tuple[int, manifold3d.CrossSection]] = []
    below: list[tuple[int, manifold3d.CrossSection]] = []
    for which, piece in enumerate(pieces):
        laid = _turned(piece, turn, level)
        low, high = laid.bounding_box()[2], laid.bounding_box()[5]
        if low > -NEAR and low < NEAR:
            above.append((which, laid.slice(NEAR)))
        elif high > -NEAR and high < NEAR:
            below.append((which, laid.slice(-NEAR)))
    found = []
    for over, own in above:
        for under, other in below:
            patches = [patch for patch in (own ^ other).decompose() if patch.area() > LEAST_FACE]
            found += [_Face(number, turn, level, over, under, patch) for patch in patches]
    return found


def _hollow(section: manifold3d.CrossSection) -> bool:
    """Whether the face goes round a hole, whose edge no torch reaches from inside."""
    return any(_signed(ring) < 0 for ring in section.to_polygons())


def _signed(ring: Array) -> float:
    x, y = ring[:, 0], ring[:, 1]
    return 0.5 * float(x @ np.roll(y, -1) - y @ np.roll(x, -1))


def _walls(section: manifold3d.CrossSection) -> tuple[float, float]:
    """Thin and thick of a face [mm]: the wall that most of it has at the least, and its thickest place."""
    x0, y0, x1, y1 = section.bounds()
    area, most = section.area(), min(x1 - x0, y1 - y0)

    def kept(reach: float) -> float:
        inset = section.offset(-reach, manifold3d.JoinType.Round)
        return inset.offset(reach, manifold3d.JoinType.Miter, 4.0).area() / area if not inset.is_empty() else 0.0

    def last(test: Callable[[float], bool]) -> float:
        low, high = 0.0, most / 2
        for _ in range(24):
            middle = (low + high) / 2
            low, high = (middle, high) if test(middle) else (low, middle)
        return 2 * low

    return last(lambda r: kept(r) >= KEPT), last(lambda r: not section.offset(-r, manifold3d.JoinType.Round).is_empty())


def _outlines(section: manifold3d.CrossSection, outside: bool) -> list[Array]:
    """The face's rings to bevel, with few corners."""
    coarse = COARSE
    while True:
        rings = [ring for ring in section.simplify(coarse).to_polygons() if not outside or _signed(ring) > 0]
        if sum(map(len, rings)) <= MOST_EDGES or coarse > 1.0:
            return rings
        coarse *= 2


def _bevel(section: manifold3d.CrossSection, edge: Groove) -> manifold3d.Manifold:
    """What is taken off over z = 0 along the face's outline: a cone rolled along it, as deep as is cast on."""
    deep = edge.cast * 1e3
    high = deep * float(np.tan(edge.angle / 2))
    turn = np.linspace(0.0, 2 * np.pi, ROUND, endpoint=False)
    foot = deep * (1 + LAP / high)
    cone = np.vstack([np.column_stack([foot * np.cos(turn), foot * np.sin(turn), np.full(ROUND, -LAP)]), [0.0, 0.0, high]])
    tools = []
    for ring in _outlines(section, edge.edge == "bevel outside"):
        for a, b in zip(ring, np.roll(ring, -1, axis=0), strict=True):
            tools.append(manifold3d.Manifold.hull_points(np.vstack([cone + np.append(a, 0.0), cone + np.append(b, 0.0)])))
    return manifold3d.Manifold.batch_boolean(tools, manifold3d.OpType.Add)


def _prepared(piece: manifold3d.Manifold, face: _Face, side: float, edge: Groove, stock: float) -> tuple[manifold3d.Manifold, float, float]:
    """The piece with its bevel and stock, and the volumes taken off and put on [mm3]; ``side`` +1 over the cut, -1 under it."""
    laid = _turned(piece, face.turn, face.level)
    removed = added = 0.0
    if edge.cast > 0:
        tool = _bevel(face.section, edge)
        tool = tool if side > 0 else tool.mirror((0, 0, 1))
        removed = float((laid ^ tool).volume())
        laid = laid - tool
    if stock > 0:
        land = laid.slice(side * NEAR) ^ face.section
        slab = land.extrude(stock + LAP).translate((0, 0, -stock if side > 0 else -LAP))
        added = float(land.area()) * stock
        laid = laid + slab
    return _back(laid, face.turn, face.level), removed, added


def _splice(
    name: str, face: _Face, names: Sequence[str], walls: tuple[float, float], edge: Groove, stock: float, removed: float, added: float
) -> tuple[Splice, Plate]:
    rings = face.section.to_polygons()
    points = np.vstack(rings)
    pin, ends = _pins(face.section, edge.depth * 1e3)

    def placed(at: Array) -> Array:
        return np.asarray(face.turn.T @ [at[0], at[1], face.level]) * 1e-3

    splice = Splice(
        name=name,
        cut=face.cut + 1,
        castings=(names[face.over], names[face.under]),
        at=placed(_middle(rings)),
        normal=face.turn[2],
        area=float(face.section.area()) * 1e-6,
        outline=sum(float(np.linalg.norm(ring - np.roll(ring, -1, axis=0), axis=1).sum()) for ring in rings) * 1e-3,
        span=float(_longest(points)) * 1e-3,
        thin=walls[0] * 1e-3,
        thick=walls[1] * 1e-3,
        edge=edge.edge,
        angle=edge.angle,
        root=edge.root,
        depth=edge.depth,
        cast_depth=edge.cast,
        stock=stock,
        stock_volume=added * 1e-9,
        bevel_volume=removed * 1e-9,
        pin=pin * 1e-3,
        first_pin=placed(ends[0]) if pin else None,
        second_pin=placed(ends[1]) if pin else None,
    )
    body = face.section.extrude(PLATE)
    for at in ends:
        body = body - manifold3d.Manifold.cylinder(PLATE + 2, pin / 2, circular_segments=48).translate((float(at[0]), float(at[1]), -1.0))
    low = np.array(body.bounding_box()[:3])
    return splice, Plate(name=f"{name}-plate", mesh=_mesh(body.translate(tuple(-low))))


def _middle(rings: Sequence[Array]) -> Array:
    """Middle of the area inside rings."""
    total, at = 0.0, np.zeros(2)
    for ring in rings:
        after = np.roll(ring, -1, axis=0)
        cross = ring[:, 0] * after[:, 1] - after[:, 0] * ring[:, 1]
        total += float(cross.sum()) / 2
        at = at + ((ring + after) * cross[:, None]).sum(axis=0) / 6
    return at / total


def _longest(points: Array) -> float:
    """Largest size across points (n, 2), by directions three degrees apart."""
    turn = np.radians(np.arange(0.0, 180.0, 3.0))
    return float(np.ptp(points @ np.stack([np.cos(turn), np.sin(turn)]), axis=0).max())


def _pins(section: manifold3d.CrossSection, depth: float) -> tuple[float, list[Array]]:
    """Drill [mm] and places (2,) of two pins as far apart as may be in the land behind bevels ``depth`` deep; nothing where there is no room."""
    for pin in PINS:
        rings = section.offset(-(depth + pin / 2 + ROUND_PIN), manifold3d.JoinType.Round).to_polygons()
        if not rings:
            continue
        points = np.vstack(rings)
        turn = np.radians(np.arange(0.0, 180.0, 3.0))
        along = points @ np.stack([np.cos(turn), np.sin(turn)])
        best = int(np.argmax(np.ptp(along, axis=0)))
        first, second = points[int(np.argmin(along[:, best]))], points[int(np.argmax(along[:, best]))]
        if np.linalg.norm(first - second) > 3 * pin:
            return pin, [first, second]
    return 0.0, []


def _mesh(body: manifold3d.Manifold) -> Mesh:
    vertices, faces = written(body)
    return Mesh(vertices=vertices * 1e-3, faces=faces)


def told(splice: Splice) -> str:
    """A splice's edge in words."""
    if splice.edge == "square":
        return "square edges"
    degrees = tell(float(np.degrees(splice.angle)), "1")
    return f"{splice.edge}, {tell(splice.depth, 'm')} deep to a groove of {degrees} degrees, {tell(splice.root, 'm')} of land"
