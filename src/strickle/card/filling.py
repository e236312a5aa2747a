"""Pictures of a solved filling: moments of it, when, how hot and how fast the metal comes, and all of it moving."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from strickle.base import Array, Finding, Mesh
from strickle.card.came import BARE, CAME, EMPTY, NOT_SOLVED, NOT_YET, UNSOLVED, Filled, Pane, Scale, degrees
from strickle.card.film import film, pngs
from strickle.card.lettering import wide
from strickle.card.picture import camera
from strickle.card.pins import ROUND, Pin, Stand, lines, medal, pins_of, stick
from strickle.card.png import png
from strickle.card.section import Bodies
from strickle.card.slices import Plane, half
from strickle.card.svg import Sheet, path
from strickle.card.tell import accounted
from strickle.card.words import qty, say
from strickle.cavity import Cavity
from strickle.metal import Metal
from strickle.pattern import Pattern
from strickle.pour import Pour
from strickle.rigging import Rigging

DOTS = 200.0  # pixels an inch of the stills
WIDE, EDGE = 212.0, 6.0  # mm
STILL = (98.0, 74.0)  # mm, one view of a still
TILE = (66.0, 50.0)
MOMENTS = 6
STUB = 0.12  # share of its height over the solved metal that is left of risers and sprue
CLEAR = 5e-4  # m beside a riser that is taken off with it, so that no splinter stays
WORTH = 1.15  # as many times as high the casting is before they are taken off
TITLE, SIZE, SMALL, FOOT, LINE = 5.0, 3.1, 2.7, 2.4, 3.9
BAR, DEEP = 74.0, 3.6  # mm, a legend's colours
GREY = "#5d6266"
FILM_DOTS, FILM_WIDE, VIEW = 127.0, 200.0, (480, 365)  # 1000 pixels across; pixels of a view
FRAMES, LEAST_EACH, MOST_EACH = 36, 60, 250  # ms
TOLD = {
    "arrival": ("When the metal comes", "filling-arrival.png"),
    "warmth": ("How hot the metal is as it comes", "filling-temperature.png"),
    "speed": ("How fast the metal is as it comes", "filling-speed.png"),
}


@dataclass(frozen=True, slots=True)
class Look:
    """What the pictures are drawn from: the casting, whole and cut, as far up as it was solved, and what is said of it."""

    pour: Pour
    filled: Filled
    metal: Metal
    plane: Plane
    whole: Mesh
    cut: Mesh | None
    is_trimmed: bool
    pins: tuple[Pin, ...]
    title: str
    units: str

    def panes(self, across: int, down: int) -> list[Pane]:
        """The casting seen whole, and cut where it could be, each as high as it takes and no higher than ``down`` [pixels]."""
        sides = [(self.whole, camera(self.plane, math.radians(28.0), math.radians(30.0)))]
        sides += [] if self.cut is None else [(self.cut, camera(self.plane, math.radians(14.0), math.radians(20.0)))]
        return [Pane(mesh, turn, self.filled, across, _needed(mesh, turn, across, down)) for mesh, turn in sides]

    def stands(self, panes: Sequence[Pane], places: Sequence[tuple[float, float]], across: float) -> list[Stand]:
        """Panes as they stand on a sheet, ``across`` [mm] wide."""
        cuts = [None, (self.plane.at, self.plane.toward)]
        return [Stand(p, x, y, across, across * p.down / p.across, cut=cut) for p, (x, y), cut in zip(panes, places, cuts, strict=False)]

    def say(self, text: str) -> str:
        """In the person's spelling."""
        return say(text, self.units)


def filling_files(
    pour: Pour | None, metal: Metal, pattern: Pattern | None, rigging: Rigging | None, cavity: Cavity | None, bodies: Bodies | None,
    plane: Plane | None, findings: Sequence[Finding], title: str, units: str,
) -> dict[str, bytes]:  # fmt: skip
    """Stills and an animated file of the filling by name; none where it was not solved."""
    if pour is None or pattern is None or rigging is None or cavity is None or plane is None:
        return {}
    filled = Filled.of(pour, cavity, units)
    if filled is None:
        return {}
    whole, cut, is_trimmed = _shapes(rigging, bodies, plane, filled)
    look = Look(pour, filled, metal, plane, whole, cut, is_trimmed, tuple(pins_of(pour, pattern, findings, units)), title, units)
    panes = look.panes(*_pixels(STILL))
    sheets = {name: _still(look, panes, key) for key, (_, name) in TOLD.items()}
    sheets["filling.png"] = _moments(look)
    made = dict(zip(sheets, pngs(list(sheets.values()), DOTS), strict=True))
    return {**made, "filling.gif": _moving(look)}


def _needed(mesh: Mesh, turn: Array, across: int, most: int) -> int:
    """Pixels down that a mesh takes which fills a picture ``across`` wide."""
    wide_, high, _ = np.ptp(mesh.vertices @ turn.T, axis=0)
    return int(min(most, max(math.ceil(across * high / max(float(wide_), 1e-12)), across // 4)))


def _pixels(size: tuple[float, float]) -> tuple[int, int]:
    return round(size[0] / 25.4 * DOTS), round(size[1] / 25.4 * DOTS)


def _shapes(rigging: Rigging, bodies: Bodies | None, plane: Plane, filled: Filled) -> tuple[Mesh, Mesh | None, bool]:
    """The casting and its half, without most of what stands over the solved metal where that is much; risers stand over the part's."""
    mesh = rigging.casting
    body = bodies.casting if bodies is not None else None
    if bodies is None or body is None:
        return mesh, None, False
    low, high = float(mesh.vertices[:, 2].min()), float(mesh.vertices[:, 2].max())
    stub, is_trimmed = STUB * (filled.part_top - low), False
    if high - low > WORTH * (filled.top + stub - low):
        body, is_trimmed = body.trim_by_plane((0.0, 0.0, -1.0), -(filled.top + stub)), True
    for _, kind, region in bodies.regions:
        if kind == "riser" and region is not None and region.bounding_box()[5] > filled.part_top + WORTH * stub:
            over = region.trim_by_plane((0.0, 0.0, 1.0), filled.part_top + stub).project().offset(CLEAR)
            body, is_trimmed = body - over.extrude(2.0 * (high - low)).translate((0.0, 0.0, filled.part_top + stub)), True
    if is_trimmed:
        made = body.to_mesh64()
        mesh = Mesh(vertices=np.asarray(made.vert_properties, dtype=np.float64)[:, :3], faces=np.asarray(made.tri_verts, dtype=np.int64))
    return mesh, half(body, plane), is_trimmed


def _head(sheet: Sheet, look: Look, title: str) -> None:
    """Title, and under it whose filling it is."""
    sheet.text(EDGE, 6.6, look.say(title), TITLE, bold=True)
    s = look.pour.solution
    assert s is not None
    full = f"part full after {qty(s.fill_time, 's', look.units, 'fine')}" if math.isfinite(s.fill_time) else "the part does not come full"
    sheet.text(EDGE, 12.2, look.say(f"{look.title} · {look.metal.name} · {full}"), SIZE, fill=GREY)


def _foot(look: Look) -> str:
    """What was solved, and how well it adds up."""
    s = look.pour.solution
    assert s is not None
    over = "; what stands over the metal that was solved is cut off" if look.is_trimmed else ""
    return look.say(
        f"Solved on cells of {qty(s.cell, 'm', look.units, 'fine')}{over}. Metal accounted for {accounted(s.metal_balance, look.units)}, "
        f"heat {accounted(s.heat_balance, look.units)}. Times count from the first metal in the sprue."
    )


def _hex(colour: Array | tuple[float, ...]) -> str:
    r, g, b = (round(255 * float(v)) for v in colour)
    return f"#{r:02x}{g:02x}{b:02x}"


def _legend(sheet: Sheet, scale: Scale, x: float, y: float, says: str, bar: float = BAR) -> None:
    """The bands of a scale with the figures between them."""
    each = bar / scale.bands
    for i in range(scale.bands):
        colour = scale.colours(np.array([scale.low + (i + 0.5) * scale.step]))[0]
        sheet.box(x + i * each, y, each, DEEP, fill=_hex(colour), thick=0.18, r=0.0)
    told = scale.ends()
    every = 1 if all(wide(text, SMALL) < 0.85 * each for text in told) else 2
    for i, text in enumerate(told):
        if i % every == 0:
            sheet.text(x + i * each, y + DEEP + 2.4, text, SMALL, anchor="middle")
    sheet.text(x + bar + 4.0, y + 0.5 * DEEP, says, SIZE)


def _swatches(sheet: Sheet, x: float, y: float, items: Sequence[tuple[tuple[float, float, float] | None, str]]) -> None:
    """Squares of colour with what they mean, in a row; None is a hatched one."""
    for colour, says in items:
        sheet.box(x, y - 1.7, 3.4, 3.4, fill="#ffffff" if colour is None else _hex(colour), thick=0.18, r=0.0)
        if colour is None or colour == BARE:
            bars = [((x + a, y + 1.7), (x + a + 1.0, y - 1.7)) for a in (0.3, 1.2, 2.1)]
            sheet.shape(path(bars, close=False), thick=0.3)
        sheet.text(x + 4.6, y, says, SMALL)
        x += 4.6 + wide(says, SMALL) + 6.0


def _greys(look: Look, panes: Sequence[Pane]) -> list[tuple[tuple[float, float, float] | None, str]]:
    """What of the metal is neither coloured nor hatched, for the legend."""
    out: list[tuple[tuple[float, float, float] | None, str]] = []
    if any(pane.has(UNSOLVED) for pane in panes):
        out.append((NOT_SOLVED, look.say("not solved: fills before or after")))
    if any(pane.has(EMPTY) for pane in panes):
        out.append((BARE, look.say("stays empty")))
    return out


def _hatch(look: Look, pane: Pane, key: str) -> tuple[Array | None, str]:
    """Which samples of a picture are hatched besides, and what that means."""
    came = pane.state == CAME
    if key == "warmth":
        limit = float(look.metal.liquidus)
        figure = float(degrees(np.array(limit), look.units))
        return came & (pane.warmth < figure), f"under {qty(limit, 'K', look.units)}, where {look.metal.name} begins to freeze"
    if key == "speed" and math.isfinite(look.pour.critical_speed):
        limit = look.pour.critical_speed
        figure = limit / 0.3048 if look.units == "us" else limit
        return came & (pane.speed > figure), f"above {qty(limit, 'm/s', look.units)}, from which a front tears its skin"
    return None, ""


def _says(look: Look, key: str, scale: Scale) -> str:
    return {
        "arrival": f"s after the first metal in the sprue; a line every {scale.step:g} s",
        "warmth": f"{scale.unit}, of the metal as it reaches each place",
        "speed": f"{scale.unit}, as the metal reaches each place",
    }[key]


def _still(look: Look, panes: Sequence[Pane], key: str) -> Sheet:
    """One field over the casting, whole and cut, with its legend and its pins."""
    scale = look.filled.scales[key]
    mine = [(i, pin) for i, pin in enumerate(look.pins, start=1) if key in pin.on]
    top, across = 16.0, STILL[0]
    tall = max(across * pane.down / pane.across for pane in panes)
    places = [(EDGE, top), (WIDE - EDGE - across, top)] if len(panes) > 1 else [(0.5 * (WIDE - across), top)]
    stands = look.stands(panes, [(x, top + 0.5 * (tall - across * p.down / p.across)) for p, (x, _) in zip(panes, places, strict=True)], across)
    rows = _told(mine, stick(Sheet(WIDE, top + tall, ""), stands, mine), look)
    about = lines(_foot(look), FOOT, WIDE - 2 * EDGE)
    high = top + tall + 21.0 + sum(map(_deep, rows)) + 5.0 + 3.4 * len(about)
    sheet = Sheet(WIDE, high, TOLD[key][0])
    sheet.box(0, 0, WIDE, high, thick=0.0, r=0.0)
    _head(sheet, look, TOLD[key][0])
    hatch = ""
    for stand in stands:
        marks, meant = _hatch(look, stand.pane, key)
        hatch = meant if marks is not None and np.count_nonzero(marks) > 2e-3 * marks.size else hatch
        sheet.picture(stand.x, stand.y, stand.wide, stand.high, png(stand.pane.field(key, marks), 1))
    if len(panes) > 1:
        sheet.text(WIDE - EDGE, top + tall + 1.0, look.say("cut open on A–A of the card"), SMALL, anchor="end", fill=GREY)
    y = top + tall + 5.0
    _legend(sheet, scale, EDGE + 2.0, y, look.say(_says(look, key, scale)))
    items = [*_greys(look, panes), *([(None, look.say(hatch))] if hatch else [])]
    _swatches(sheet, EDGE + 2.0, y + 10.8, items)
    stick(sheet, stands, mine)
    y += 16.0
    for row in rows:
        for k, (number, weight, text) in enumerate(row):
            x = EDGE + 2.0 + k * 0.5 * (WIDE - 2 * EDGE)
            medal(sheet, x + ROUND, y + ROUND, number, weight)
            for n, line in enumerate(text):
                sheet.text(x + 2 * ROUND + 2.2, y + ROUND + LINE * n, line, SMALL)
        y += _deep(row)
    _at_foot(sheet, about)
    return sheet


def _told(pins: Sequence[tuple[int, Pin]], behind: set[int], look: Look) -> list[list[tuple[int, str, list[str]]]]:
    """What the pins say in two columns, as number, weight and lines; ``behind`` are those that metal hides."""
    room = 0.5 * (WIDE - 2 * EDGE) - 2 * ROUND - 6.0
    told = [(i, pin.weight, lines(pin.says + (look.say(" (behind metal)") if i in behind else ""), SMALL, room)) for i, pin in pins]
    return [told[i : i + 2] for i in range(0, len(told), 2)]


def _deep(row: Sequence[tuple[int, str, list[str]]]) -> float:
    """Height [mm] of a row of what the pins say."""
    return max(LINE * max(len(text) for _, _, text in row), 2 * ROUND) + 1.6


def _at_foot(sheet: Sheet, about: Sequence[str]) -> None:
    for n, line in enumerate(about):
        sheet.text(EDGE, sheet.height - 3.4 * (len(about) - n), line, FOOT, fill=GREY)


def _moments(look: Look) -> Sheet:
    """Six moments of the filling, whole over cut."""
    panes = look.panes(*_pixels(TILE))
    times = [look.filled.end * (i + 1) / MOMENTS for i in range(MOMENTS)]
    tall = [TILE[0] * pane.down / pane.across for pane in panes]
    row, about = 8.5 + sum(tall) + 2.0 * len(tall), lines(_foot(look), FOOT, WIDE - 2 * EDGE)
    high = 17.0 + 2 * row + 13.5 + 3.4 * len(about)
    sheet = Sheet(WIDE, high, "How it fills")
    sheet.box(0, 0, WIDE, high, thick=0.0, r=0.0)
    _head(sheet, look, "How it fills")
    step = (WIDE - 2 * EDGE) / 3
    for i, time in enumerate(times):
        x, y = EDGE + step * (i % 3) + 0.5 * (step - TILE[0]), 17.0 + row * (i // 3)
        if i % 3 == 0:
            sheet.rule(EDGE, y, WIDE - EDGE, y, thick=0.2)
        clock = f"{_clock(time)} s"
        sheet.text(x, y + 4.4, clock, 4.2, bold=True)
        sheet.text(x + wide(clock, 4.2, bold=True) + 2.5, y + 4.6, _how_full(look, time), SMALL, fill=GREY)
        y += 8.0
        for pane, deep in zip(panes, tall, strict=True):
            sheet.picture(x, y, TILE[0], deep, png(pane.moment(time), 1))
            y += deep + 2.0
    y = 17.0 + 2 * row + 1.5
    scale = look.filled.scales["warmth"]
    _legend(sheet, scale, EDGE + 4.0, y, look.say(_says(look, "warmth", scale)), bar=58.0)
    _swatches(sheet, EDGE + 4.0 + 58.0 + 4.0, y + 6.6, [(NOT_YET, look.say("not reached yet")), *_greys(look, panes)])
    _at_foot(sheet, about)
    return sheet


def _how_full(look: Look, time: float) -> str:
    s = look.pour.solution
    assert s is not None
    full = math.isfinite(s.fill_time) and time >= s.fill_time - 1e-9
    return look.say("the part is full" if full else f"{min(round(100 * look.filled.share(time)), 99):d}% of the part reached")


def _clock(time: float) -> str:
    return f"{time:.1f}" if time < 100.0 else f"{time:.0f}"


def _moving(look: Look) -> bytes:
    """All of the filling as an animated file; a pin stands from when its matter has come about."""
    panes = look.panes(*VIEW)
    per = 25.4 / FILM_DOTS
    across, top, most = VIEW[0] * per, 14.0, max(pane.down for pane in panes)
    lefts = [15, round(FILM_WIDE / per) - VIEW[0] - 15] if len(panes) > 1 else [round((0.5 * FILM_WIDE / per) - 0.5 * VIEW[0])]
    corners = [(left, round(top / per) + (most - pane.down) // 2) for left, pane in zip(lefts, panes, strict=True)]
    times = [look.filled.end * i / (FRAMES - 1) for i in range(FRAMES)]
    each = int(min(max(10 * round(100.0 * look.filled.end / FRAMES), LEAST_EACH), MOST_EACH))
    rate = look.filled.end / (FRAMES * each * 1e-3)
    pace = (
        "at its true pace"
        if abs(rate - 1.0) < 0.12
        else f"{rate:.2g} times as fast as it is"
        if rate > 1.0
        else f"{1.0 / rate:.2g} times slower than it is"
    )
    stands = look.stands(panes, [(x * per, y * per) for x, y in corners], across)
    sheets, under = [], []
    for i, time in enumerate(times):
        sheets.append(_frame(look, stands, time, pace, last=i == FRAMES - 1))
        under.append([(pane.moment(time), x, y) for pane, (x, y) in zip(panes, corners, strict=True)])
    return film(pngs(sheets, FILM_DOTS, clear=True), under, each)


def _frame(look: Look, stands: Sequence[Stand], time: float, pace: str, *, last: bool) -> Sheet:
    """What lies over the pictures at a moment: title, clock, pins, and how far it is."""
    foot = max(stand.y + stand.high for stand in stands)
    sheet = Sheet(FILM_WIDE, foot + 25.0, "How it fills")
    _head(sheet, look, "How it fills")
    sheet.text(FILM_WIDE - EDGE, 7.0, look.say(f"shown {pace}"), SMALL, anchor="end", fill=GREY)
    y, end = foot + 6.0, look.filled.end
    sheet.text(EDGE, y - 0.3, f"{_clock(time)} s", 6.2, bold=True)
    x0, x1 = EDGE + 26.0, FILM_WIDE - EDGE - 36.0
    sheet.box(x0, y - 1.6, x1 - x0, 3.2, fill=_hex(NOT_YET), thick=0.2, r=0.4)
    sheet.box(x0, y - 1.6, max((x1 - x0) * min(time / max(end, 1e-9), 1.0), 0.05), 3.2, fill="#14181c", thick=0.0, r=0.4)
    sheet.text(FILM_WIDE - EDGE, y, _how_full(look, time), SMALL, anchor="end")
    mine = [(i, pin) for i, pin in enumerate(look.pins, start=1) if "arrival" in pin.on and (last or pin.time <= time) and pin.time > 0.0]
    stick(sheet, stands, mine)
    scale = look.filled.scales["warmth"]
    says = look.say(_says(look, "warmth", scale))
    _legend(sheet, scale, EDGE + 3.0, foot + 12.5, says, bar=52.0)
    x = FILM_WIDE - EDGE
    for kind in reversed(list(dict.fromkeys(pin.kind for _, pin in mine))):
        told = f"{', '.join(str(i) for i, pin in mine if pin.kind == kind)}  {look.say(kind)}"
        sheet.text(x, foot + 14.3, told, SMALL, anchor="end")
        x -= wide(told, SMALL) + 6.0
    _swatches(sheet, EDGE + 3.0 + 52.0 + 4.0, foot + 20.0, [(NOT_YET, look.say("not reached yet")), *_greys(look, [s.pane for s in stands])])
    return sheet
