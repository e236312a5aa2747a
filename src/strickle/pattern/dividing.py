"""The doors of cutting a part apart: cuts worth trying, the castings they leave, and what a cut comes near."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from strickle.base import Array, Finding, Margin, Mesh, Source, Watch, Where, tell
from strickle.part import Part
from strickle.pattern import apart as shop
from strickle.pattern import cuts as places
from strickle.pattern.ask import Mark
from strickle.pattern.facets import facets_of
from strickle.pattern.groove import LAND, MATHERS
from strickle.pattern.holes import found as holes_found
from strickle.pattern.marks import distances, marked
from strickle.pattern.rules import HOUSE, PRACTICE
from strickle.pattern.splice import Apart, Cut, Splice, SpliceAsk
from strickle.stores import Stores

OPEN = 0.5e-3  # m of a splice's middle that may stay unwelded without a word
LEAST = 3e-3  # m, section that sand fills where the stores name none


def look_for_cuts(part: Part, fixed: Sequence[Cut], clear: Array, watch: Watch, marks: Sequence[Mark] = ()) -> tuple[tuple[Cut, str, float], ...]:
    """Cuts worth a closer look, best first, each with why and the area of its faces [m2]; ``fixed`` are made already.

    ``clear`` (n, 3) [m] are places no cut may come near, beside those that freeze late and the faces that ``marks`` mean.
    Raises BadInput for marks that mean no face.
    """
    return tuple((one.cut, one.why, one.area) for one in places.candidates(part.mesh, fixed, _kept(part, clear, marks)[0], watch))


def marks_of(meshes: Sequence[Mesh], marks: Sequence[Mark]) -> tuple[tuple[Mark, ...], ...]:
    """The marks that lie on each casting: every mark goes to the one its point is nearest to."""
    out: list[list[Mark]] = [[] for _ in meshes]
    corners = [mesh.vertices[mesh.faces] for mesh in meshes]
    for mark in marks:
        away = [float(distances(np.asarray(mark.at, dtype=float), three).min()) for three in corners]
        out[int(np.argmin(away))].append(mark)
    return tuple(tuple(own) for own in out)


def cut_apart(part: Part, cuts: Sequence[Cut], ask: SpliceAsk, family: str, stores: Stores) -> Apart:
    """The castings that cuts leave, with stock and bevels. Raises BadInput for cuts that cannot be made."""
    least = stores.constants.get(f"section.min_{family}_sand")
    return shop.apart(part.mesh, cuts, ask, LEAST if least is None else least.value)


def cut_findings(
    part: Part, cuts: Sequence[Cut], made: Apart, clear: Array, ask: SpliceAsk, marks: Sequence[Mark] = ()
) -> tuple[Finding, ...]:  # fmt: skip
    """What cuts come near that they should not, and what the splices are to be minded for. Raises BadInput for marks that mean no face."""
    whole = shop.one_solid(part.mesh)
    kept, names = _kept(part, clear, marks)
    found: list[Finding] = []
    for number, cut in enumerate(cuts, 1):
        faces, turn = places.section(whole, cut)
        near: dict[str, int] = {}
        for place in places.near(cut, faces, turn, kept):
            near.setdefault(names[place] or str(place), int(place))
        found += [_near(number, kept.at[place], names[place]) for place in near.values()]
        if ask.kind == "weld" and (count := places.shut(faces)):
            found.append(_shut(number, count, cut))
    if ask.kind == "bolt":
        found.append(_bolted(made))
    if ask.kind == "weld":
        thin = [splice for splice in made.splices if splice.thin < places.LEAST_WELD]
        found += [_thin(thin[0], len(thin))] if thin else []
        deep = [splice for splice in made.splices if splice.edge != "square" and _unwelded(splice) > OPEN]
        found += [_not_through(max(deep, key=_unwelded))] if deep else []
    return tuple(found)


def splice_sources() -> tuple[Source, ...]:
    """Where the splices' figures come from."""
    return MATHERS, PRACTICE, HOUSE


def _kept(part: Part, clear: Array, marks: Sequence[Mark]) -> tuple[places.Kept, tuple[str, ...]]:
    """Places that cuts keep off, and of each the mark it belongs to; "late" for one that freezes late, nothing for one asked for."""
    spots = [spot for spot in part.hot_spots if spot.needs_feed]
    at = np.array([spot.at for spot in spots]).reshape(-1, 3)
    radius = np.array([spot.radius for spot in spots])
    faces = _marked(part, marks)
    names = ["late"] * len(at) + [""] * len(clear) + [name for name, own in faces for _ in own]
    every = np.vstack([at, np.reshape(clear, (-1, 3)), *(own for _, own in faces)])
    return places.Kept(every, np.append(radius, np.full(len(every) - len(at), places.CLEAR))), tuple(names)


def _marked(part: Part, marks: Sequence[Mark]) -> list[tuple[str, Array]]:
    """Points (n, 3) [m] all over each marked face, so near to each other that no cut passes between two of them; and its mark's name."""
    if not marks:
        return []
    mesh = facets_of(part.mesh.vertices * 1e3, part.mesh.faces)
    holes = holes_found(mesh, [(hole.at * 1e3, hole.axis, hole.radius * 1e3, hole.depth * 1e3) for hole in part.holes])
    return [(f"the face marked {one.name!r}", _spread(part.mesh.vertices[part.mesh.faces[one.faces]])) for one in marked(mesh, marks, holes)]


def _spread(corners: Array) -> Array:
    """Points over triangles (k, 3, 3), each cut in as many strips both ways as keeps them within what cuts keep off."""
    out = []
    for three in corners:
        long = float(np.linalg.norm(np.roll(three, -1, axis=0) - three, axis=1).max())
        count = max(1, int(np.ceil(long / places.CLEAR)))
        i, j = np.meshgrid(np.arange(count + 1), np.arange(count + 1))
        first, second = i[i + j <= count] / count, j[i + j <= count] / count
        out.append(three[0] + first[:, None] * (three[1] - three[0]) + second[:, None] * (three[2] - three[0]))
    return np.unique(np.round(np.concatenate(out), 6), axis=0)


def _unwelded(splice: Splice) -> float:
    """Thickness that the weld does not reach at the splice's thickest place [m]; the land between the bevels is reached."""
    sides = 1 if splice.edge == "bevel outside" else 2
    return splice.thick - sides * splice.depth - LAND


def _where(at: Array) -> tuple[float, float, float]:
    return float(at[0]), float(at[1]), float(at[2])


def _near(number: int, at: Array, of: str) -> Finding:
    """Of a cut beside a place that freezes late, one kept clear, or a marked face by its name."""
    what = {"late": "a place that freezes last", "": "a place that was to be kept clear"}.get(of, of)
    why = (
        "A late place may hold pores, and a weld run into pores blows holes; the heat of the splice also falls where the metal is thickest"
        if of == "late"
        else "Stock, bevel and weld reach a few millimetres beyond the cut, and the heat warps what lies beside it"
    )
    return Finding(
        code="pattern.cut_near",
        weight="MIND",
        says=f"Cut {number} comes near {what}",
        because=why,
        do="Move the cut with --at, or look at that place on the sawn casting before you weld",
        where=Where(point=_where(at)),
        source="common practice",
    )


def _thin(splice: Splice, many: int) -> Finding:
    more = f", and {many - 1} more" if many > 1 else ""
    return Finding(
        code="pattern.splice_thin",
        weight="MIND",
        says=f"The wall at {splice.name} is {tell(splice.thin, 'm')} thick{more}",
        because=f"Cast walls under {tell(places.LEAST_WELD, 'm')} burn through before the bead runs",
        do="Move the cut to thicker metal with --at, or thicken the wall there in the drawing",
        where=Where(point=_where(splice.at)),
        margin=Margin(value=splice.thin / places.LEAST_WELD, unit="1", of="wall over the thinnest that is welded by hand"),
        source="common practice",
    )


def _bolted(made: Apart) -> Finding:
    return Finding(
        code="pattern.splice_bolted",
        weight="MIND",
        says="Bolts, flanges or straps of the splices are not reckoned: they are yours to draw and to judge",
        because="The faces are left square, and two pins only set them to one another",
        do="Give the part flanges or bosses where the bolts go before it is cut, thick enough for them and away from its edges",
        where=Where(point=_where(made.splices[0].at)) if made.splices else None,
        source="Common practice",
    )


def _shut(number: int, count: int, cut: Cut) -> Finding:
    return Finding(
        code="pattern.splice_shut",
        weight="MIND",
        says=f"Cut {number} goes through walls round {count} openings: the walls between them cannot be welded",
        because="A torch reaches a splice from outside; inside a lattice it comes to nothing, and what is not welded carries nothing",
        do="Move the cut so that it runs between the openings, or cast the part as one",
        where=Where(point=_where(cut.at)),
        margin=Margin(value=float(count), unit="1", of="openings that are walled in; none is asked for"),
        source="Common practice",
    )


def _not_through(splice: Splice) -> Finding:
    return Finding(
        code="pattern.splice_not_through",
        weight="MIND",
        says=f"{splice.name} is up to {tell(splice.thick, 'm')} thick and welded {tell(splice.depth, 'm')} deep all round; its middle stays open",
        because="What the weld does not reach carries nothing and ends in a sharp notch from which cracks start",
        do="Count on the welded rim alone, bevel deeper by hand where the section is thick, or move the cut to a thinner section with --at",
        where=Where(point=_where(splice.at)),
        source="choice of this program",
    )
