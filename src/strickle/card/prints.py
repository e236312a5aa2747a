"""The print sheet: what to print, how it lies on the bed, with which layer, walls and finish, and the list to count the pieces out against."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from importlib.resources import files
from typing import Any

import numpy as np

from strickle.base import Array, Piece, Trouble, figures
from strickle.card.lettering import folder, plain
from strickle.card.packing import Body, Placed, Plate, bodies_of, plates
from strickle.card.pages import PAPERS as SHEETS
from strickle.card.pages import Ends
from strickle.card.png import png
from strickle.card.svg import Sheet
from strickle.card.words import qty, say, size
from strickle.kernels import sight
from strickle.mould import Mould, Printing
from strickle.pattern import is_whole
from strickle.stores import Kit

DOTS = 8.0  # pixels a millimetre of paper
LIGHT = np.array([0.84, 0.85, 0.86])
GRID = {"metric": 0.02, "us": 0.0254}  # m between the lines drawn on the bed
BADGE = 2.7  # mm, figures on a plate
WIDE = {1: 104.0, 2: 90.0, 4: 44.0}  # mm of a plate's picture by how many there are; others stand three in a row
NARROW = 60.0
JOINTS = (
    "Try each joint dry. A spigot has room in its socket: glue fills it, the flat of the joint sets it true. Glue on a flat board, wide face down,"
    " in the order told; back a flat joint with a thin strip where no sand comes. When the glue is hard fill the line and sand it until a"
    " fingernail does not feel it: what is left of it the sand shows."
)
BASIS = (
    "Bed and layer: your kit. Walls, infill, room in the sockets and the gap between prints: choice of this program. Grain, strength and density of"
    " print: from memory, unverified. Skin reckoned as a clamped square plate: S. Timoshenko and S. Woinowsky-Krieger, Theory of Plates and Shells,"
    " 1959. Finish: common practice. The mass is that of a print with these walls; your slicer tells it better, and it alone can tell the time."
)
LAY = (
    "As listed: what draws from sand has no overhang when its wide end lies on the bed, and spigots print without supports. See that the first layer"
    " does not spread: a lip at the parting holds in the sand."
)
PROPPED = (
    " A pattern in one piece hangs over on the side towards the bed: print supports there, break them off, and fill and sand the scars along the"
    " draw. Or cut it in the slicer at a level where both parts lie flat, and glue it with two pins."
)
FINISH = (
    "Glue parts first. Fill the lines, sand along the draw, seal with two thin coats, let each harden, wax, dust with parting before every mould."
    " Dust mask for sanding; paint, filler and solvent outdoors and away from flame, as their labels say; what your local rules say comes first."
)
COUNT = (
    "Count all pieces out against this list before the mould is closed, glued ones as one. A piece forgotten in the sand burns under the"
    " metal: bad fume, gas, and a lost casting."
)


def print_files(
    pieces: Sequence[Piece], mould: Mould | None, kit: Kit, *, title: str, units: str, paper: str, stopped: bool = False, date: str = ""
) -> dict[str, bytes]:
    """The print sheet as prints.pdf and a drawing plate-N.svg of each plate; nothing where nothing is printed.

    ``stopped``: the plan does not stand, which the sheet then says first.
    """
    bodies = bodies_of(pieces, kit.bed)
    if not bodies:
        return {}
    laid = plates(bodies, kit.bed)
    order = [placed.body for plate in laid for placed in plate.placed] + [body for body in bodies if not body.held]
    number = {body.name: i for i, body in enumerate(order, start=1)}
    across = WIDE.get(len(laid), NARROW)
    drawn = {f"{plate.name}.svg": picture(plate, kit.bed, number, across, GRID[units]) for plate in laid}
    printing = mould.printing if mould is not None else None
    masses = [printed_mass(body, printing) for body in order]
    counts = f"{_many(len(pieces), 'piece')} in {_many(len(order), 'print')} on {_many(len(laid), 'plate')}"
    whole = f" · about {_weight(sum(masses), units)} of print" if printing is not None else ""
    data: dict[str, Any] = {
        "paper": SHEETS[paper],
        "title": title,
        "date": plain(date),
        "stopped": stopped,
        "subtitle": f"bed {size(tuple(kit.bed), units)} · {counts}{whole}",
        "unit": "inches" if units == "us" else "mm",
        "across": across,
        "in_row": {1: 1, 2: 2, 4: 4}.get(len(laid), 3),
        "grid": qty(GRID[units], "m", units),
        "of_sand": say("mould", units),
        "plates": [{"file": f"{plate.name}.svg", "says": _plate(plate, units)} for plate in laid],
        "advice": [[say(head, units), say(text, units)] for head, text in advice(printing, units, any(map(is_whole, pieces)))],
        "rows": _rows(order, masses, {placed.body.name: plate.number for plate in laid for placed in plate.placed}, units),
        "glue": [[piece.name, say(glue, units)] for piece in pieces if (glue := _glue(piece))],
        "joints": say(JOINTS, units),
        "count": say(COUNT, units),
        "basis": say(BASIS, units),
        "pieces": _many(len(pieces), "piece"),
    }
    return {"prints.pdf": compose(data, drawn)[0], **drawn}


def _rows(order: Sequence[Body], masses: Sequence[float], on: Mapping[str, int], units: str) -> list[list[str]]:
    """The parts list: number, name, plate, size as it lies, mass, how it lies."""
    out = []
    for number, (body, mass) in enumerate(zip(order, masses, strict=True), start=1):
        box = size(tuple(body.size * 1e-3), units).rsplit(" ", 1)[0]
        weight = "" if math.isnan(mass) else _weight(mass, units)
        out.append([str(number), body.name, str(on.get(body.name, "–")), box, weight, say(_how(body), units)])
    return out


def compose(data: dict[str, Any], pictures: dict[str, bytes]) -> tuple[bytes, int]:
    """The PDF and its number of pages. Raises Trouble when typst refuses the template."""
    import typst

    template = files("strickle.card").joinpath("prints.typ").read_bytes()
    inputs = {"main.typ": template, "data.json": json.dumps(data, ensure_ascii=False).encode(), **pictures}
    try:
        make: Any = typst.compile
        query: Any = typst.query
        pdf = make(inputs, font_paths=[folder()], ignore_system_fonts=True, format="pdf")
        found: Ends = {f["name"]: (int(f["page"]), 0.0) for f in json.loads(query(inputs, "<end>", field="value", font_paths=[folder()]))}
        return bytes(pdf), found["prints"][0]
    except typst.TypstError as trouble:
        raise Trouble("the print sheet could not be set", f"Report this as our fault: {str(trouble).splitlines()[0][:200]}") from trouble


def advice(printing: Printing | None, units: str, whole: bool = False) -> list[tuple[str, str]]:
    """How to print and finish, each with its reason and figures; ``whole`` where the pattern is in one piece."""
    out = []
    if printing is not None:
        heat = f"PLA softens from {qty(printing.softens, 'K', units)}: no warm sand, no sun behind glass, no drying by the furnace."
        out += [("Layer", _layer(printing, units)), ("Walls", _walls(printing, units)), ("Heat", heat)]
    return [*out, ("Lay", LAY + PROPPED if whole else LAY), ("Finish", FINISH)]


def _layer(p: Printing, units: str) -> str:
    """The layer against the sand's grain."""
    told = (
        f"{qty(p.layer, 'm', units)}, the kit's. A sloping face comes out in steps that high, an upright wall rough by"
        f" {_about(p.roughness, 'm', units)} on average; "
    )
    if p.grain is None:
        return told + "the grain of this sand is not in the stores, so fill and sand until a fingernail feels no line."
    grain = f"grains of this sand are about {_about(p.grain, 'm', units)}"
    if p.layer > p.grain:
        return f"{told}{grain} and catch on steps higher than they are: fill and sand slopes until a fingernail feels no line."
    return f"{told}{grain}, larger than a step: a seal coat smooths enough."


def _walls(p: Printing, units: str) -> str:
    """Skin and infill against the ramming."""
    return (
        f"{qty(p.wall, 'm', units)} of solid skin all round, top and bottom too, {qty(p.infill, '1', units, '%')} infill. Hand ramming leaves up to"
        f" {_about(p.pressure, 'Pa', units)} on a level face; over the {qty(p.span, 'm', units)} between lines of infill the skin bears"
        f" {math.floor(p.strength / p.stress)} times that. So the walls are there for sanding and for screws to bite. A blow of the rammer is not"
        " reckoned: press the first sand on by hand and keep the rammer off the print."
    )


def printed_mass(body: Body, printing: Printing | None) -> float:
    """Mass of a print [kg]: its skin solid, the rest as dense as the infill; NaN where that is not known."""
    if printing is None:
        return math.nan
    corners = body.vertices[body.faces]
    area = 0.5 * float(np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1).sum()) * 1e-6
    skin = min(body.volume, area * printing.wall)
    return printing.density * (skin + printing.infill * (body.volume - skin))


def picture(plate: Plate, bed: Array, number: dict[str, int], across: float, grid: float) -> bytes:
    """A plate seen from above, as the slicer shows it, each body with its number in the list; ``across`` [mm] wide, lines every ``grid`` [m]."""
    scale = across / (float(bed[0]) * 1e3)
    high = float(bed[1]) * 1e3 * scale
    sheet = Sheet(across, high, f"{plate.name}, seen from above")
    sheet.box(0.15, 0.15, across - 0.3, high - 0.3, fill="#fbfaf7", thick=0.3, r=0.8)
    for i in range(1, math.ceil(float(bed[0]) / grid - 1e-9)):
        sheet.rule(i * grid * 1e3 * scale, 0.3, i * grid * 1e3 * scale, high - 0.3, thick=0.1, stroke="#dcd9d0")
    for i in range(1, math.ceil(float(bed[1]) / grid - 1e-9)):
        sheet.rule(0.3, high - i * grid * 1e3 * scale, across - 0.3, high - i * grid * 1e3 * scale, thick=0.1, stroke="#dcd9d0")
    shown, (x, y, w, h) = _seen(plate, scale)
    sheet.picture(x, high - y - h, w, h, shown)
    for placed in plate.placed:
        low, top = placed.vertices[:, :2].min(axis=0) * scale, placed.vertices[:, :2].max(axis=0) * scale
        at = _label_at(placed, scale)
        words = str(number[placed.body.name])
        half = 0.32 * BADGE * len(words) + 0.7
        cx = min(max(at[0], low[0] + half), max(top[0] - half, (low[0] + top[0]) / 2))
        sheet.box(cx - half, high - at[1] - 0.62 * BADGE, 2 * half, 1.24 * BADGE, thick=0.18, r=0.9)
        sheet.text(cx, high - at[1], words, BADGE, bold=True, anchor="middle")
    return sheet.written()


def _label_at(placed: Placed, scale: float) -> Array:
    """A place on top of a body [mm of paper]: the middle of its box where print lies under it, else of its largest face."""
    corners = placed.vertices[placed.body.faces]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    middle = (placed.vertices[:, :2].min(axis=0) + placed.vertices[:, :2].max(axis=0)) / 2
    flat = corners[:, :, :2]
    over = cross[:, 2] > 0
    edges = np.roll(flat, -1, axis=1) - flat
    to = middle - flat
    inside = (edges[:, :, 0] * to[:, :, 1] - edges[:, :, 1] * to[:, :, 0] >= -1e-9).all(axis=1) & over
    if inside.any():
        return np.asarray(middle * scale)
    best = int(np.argmax(np.where(over, cross[:, 2], -1.0)))
    return np.asarray(flat[best].mean(axis=0) * scale)


def _seen(plate: Plate, scale: float) -> tuple[bytes, tuple[float, float, float, float]]:
    """The bodies of a plate from above as a PNG and where it lies: x, y, wide, high [mm of paper], y up."""
    vertices = np.concatenate([p.vertices for p in plate.placed])
    starts = np.cumsum([0, *(len(p.vertices) for p in plate.placed[:-1])])
    faces = np.concatenate([p.body.faces + start for p, start in zip(plate.placed, starts, strict=True)])
    low, size_ = vertices[:, :2].min(axis=0) * scale, np.ptp(vertices[:, :2], axis=0) * scale
    wide, high = (max(math.ceil(v * DOTS), 8) for v in size_)
    draw: Any = sight.still
    image = draw(vertices * 1e-3, faces, np.eye(3), wide, high, colours=np.broadcast_to(LIGHT, (len(faces), 3)), margin=0.0)
    spare = (np.array([wide, high]) / DOTS - size_) / 2  # the picture is whole pixels, its mesh in the middle
    return png(image), (float(low[0] - spare[0]), float(low[1] - spare[1]), wide / DOTS, high / DOTS)


def _many(count: int, name: str) -> str:
    return f"{count} {name}" if count == 1 else f"{count} {name}s"


def _weight(mass: float, units: str) -> str:
    """A print's mass in the unit a slicer tells it in: grams, or ounces."""
    return f"{figures(mass / 0.028349523, 2)} oz" if units == "us" else f"{figures(mass * 1e3, 2)} g"


def _about(value: float, unit: str, units: str) -> str:
    """Two figures are all that is known."""
    return qty(float(f"{value:.2g}"), unit, units)


def _plate(plate: Plate, units: str) -> str:
    high = max(float(p.body.size[2]) for p in plate.placed) * 1e-3
    return f"{plate.name}.3mf · {_many(len(plate.placed), 'print')}, up to {qty(high, 'm', units)} high"


def _how(body: Body) -> str:
    """How a body lies, its joints, what it cannot have."""
    spigots, sockets, flat = body.joints
    told = [body.lies]
    told += (
        [", ".join(_many(n, name) for n, name in ((spigots, "spigot"), (sockets, "socket"), (flat, "flat joint")) if n)] if any(body.joints) else []
    )
    told += [] if body.held else ["does not fit the bed"]
    return "; ".join(told)


def _glue(piece: Piece) -> str:
    """The order of glueing of a piece in parts, as its note tells it; empty for a whole one."""
    found = [clause for clause in piece.note.rstrip(".").split("; ") if clause.startswith("printed in ")] if piece.parts else []
    return found[0] if found else ""
