"""The cooling curves of the pegs, drawn to be laid beside what a thermocouple wrote down."""

from __future__ import annotations

import math
from string import ascii_uppercase

import numpy as np

from strickle.base import ICE_POINT, Array, shown
from strickle.card.lettering import wide
from strickle.card.palette import nice_step
from strickle.card.svg import Sheet, path
from strickle.card.words import qty, say
from strickle.metal import Metal
from strickle.sound import Peg, Sound

WIDTH, HIGH = 180.0, 92.0  # mm, sheet and plot
LEFT, RIGHT, TOP, FOOT = 15.0, 29.0, 11.0, 13.0
GREY, PALE = "#8a8d91", "#d9dadc"
SIZE, SMALL, ROW = 3.0, 2.6, 5.0
DASHES = ("", "3 1.2", "0.9 0.9", "5 1.2 0.9 1.2", "6 2", "2 2")
MINUTES = 240.0  # from here on the axis counts in minutes
MARK = 1.75  # mm, round of a letter on its curve


def curves(sound: Sound, metal: Metal, units: str) -> bytes | None:
    """The plot as SVG in the person's units; None without pegs. Each curve has a dash and a letter of its own, so black and white will do."""
    if not sound.pegs or sound.peg_times.size < 2:
        return None
    return _Plot(sound, metal, units).drawn()


class _Plot:
    """One plot: time across, temperature up."""

    def __init__(self, sound: Sound, metal: Metal, units: str) -> None:
        self.pegs, self.metal, self.units = sound.pegs, metal, units
        last = float(sound.peg_times[-1])
        self.per, self.unit = (60.0, "min") if last >= MINUTES else (1.0, "s")
        self.times = sound.peg_times / self.per
        self.values = _degrees(sound.peg_temperatures, units)
        self.end = last / self.per
        self.step_x = nice_step(self.end, 10)
        top = float(np.nanmax(self.values))
        self.step_y = nice_step(top, 8)
        self.top = math.ceil(top / self.step_y - 1e-9) * self.step_y
        self.sheet = Sheet(WIDTH, TOP + HIGH + FOOT + ROW * (len(self.pegs) + 1) + 2.0, say("Cooling curves", units))

    def at(self, time: float, value: float) -> tuple[float, float]:
        """Place on the sheet."""
        return LEFT + (WIDTH - LEFT - RIGHT) * time / self.end, TOP + HIGH * (1.0 - value / self.top)

    def drawn(self) -> bytes:
        """The whole sheet."""
        sheet = self.sheet
        sheet.box(0, 0, sheet.width, sheet.height, thick=0, r=0)
        sheet.text(LEFT, 4.4, say("Cooling at the pegs, from a mould just full", self.units), 3.8, bold=True)
        self._axes()
        self._levels()
        for number in range(len(self.pegs)):
            self._curve(number)
        self._letters()
        self._legend()
        return sheet.written()

    def _axes(self) -> None:
        sheet, (x0, y0), (x1, y1) = self.sheet, self.at(0, 0), self.at(self.end, self.top)
        for i in range(int(self.end / self.step_x + 1e-9) + 1):
            x, _ = self.at(i * self.step_x, 0)
            sheet.rule(x, y0, x, y1, thick=0.12, stroke=PALE)
            sheet.text(x, y0 + 3.4, f"{i * self.step_x:g}", SMALL, anchor="middle")
        for i in range(round(self.top / self.step_y) + 1):
            _, y = self.at(0, i * self.step_y)
            sheet.rule(x0, y, x1, y, thick=0.12, stroke=PALE)
            sheet.text(x0 - 1.4, y, f"{i * self.step_y:g}", SMALL, anchor="end")
        sheet.shape(path([[(x0, y1), (x0, y0), (x1, y0)]], close=False), thick=0.3)
        sheet.text(x1, y0 + 8.0, say(f"time after the mould is full, {self.unit}", self.units), SIZE, anchor="end")
        sheet.text(x0 - 11.0, y1, f"temperature, {shown(300.0, 'K', self.units)[1]}", SIZE, anchor="end", up=True)

    def _levels(self) -> None:
        """Liquidus and solidus across the plot, named right of it."""
        _, solidus = self.at(self.end, float(_degrees(np.array(self.metal.solidus), self.units)))
        x, liquidus = self.at(self.end, float(_degrees(np.array(self.metal.liquidus), self.units)))
        apart = max(0.0, 3.6 - (solidus - liquidus)) / 2
        for y, value, name, side in ((liquidus, self.metal.liquidus, "liquidus", -apart), (solidus, self.metal.solidus, "solidus", apart)):
            self.sheet.rule(LEFT, y, x, y, thick=0.2, stroke=GREY, dash="0.5 0.8")
            self.sheet.text(x + 1.5, y + side, f"{name} {qty(value, 'K', self.units)}", SMALL, fill="#54585d")

    def _points(self, number: int) -> Array:
        """The curve on the sheet (k, 2), only as many points as can be seen."""
        points: Array = np.array([self.at(float(t), float(v)) for t, v in zip(self.times, self.values[number], strict=True)])
        kept = [0]
        for i in range(1, len(points)):
            if i == len(points) - 1 or np.hypot(*(points[i] - points[kept[-1]])) > 0.35:
                kept.append(i)
        return np.asarray(points[kept])

    def _curve(self, number: int) -> None:
        points = [(float(x), float(y)) for x, y in self._points(number)]
        self.sheet.shape(path([points], close=False), thick=_thick(self.pegs[number]), dash=DASHES[number % len(DASHES)])

    def _letters(self) -> None:
        """Each curve's letter twice on it, where it stands clear of other curves and letters."""
        lines = [self._points(number) for number in range(len(self.pegs))]
        taken: list[tuple[float, float]] = []
        axis_line = np.column_stack([np.full(60, LEFT), np.linspace(TOP, TOP + HIGH, 60)])
        for number, own in enumerate(lines):
            others = np.concatenate([line for i, line in enumerate(lines) if i != number] or [np.full((1, 2), np.inf)])
            along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(own, axis=0).T))])
            for first, last in ((0.12, 0.5), (0.55, 0.95)):
                shares = np.linspace(first, last, 15) * along[-1]
                places = np.column_stack([np.interp(shares, along, own[:, axis]) for axis in (0, 1)])
                rivals = np.concatenate([others, axis_line, np.array(taken).reshape(-1, 2)])
                free = np.hypot(*(places[:, None, :] - rivals[None, :, :]).transpose(2, 0, 1)).min(axis=1)
                best = places[int(np.argmax(np.minimum(free, 4.0 * MARK)))]
                taken.append((float(best[0]), float(best[1])))
                self._mark(*taken[-1], number)

    def _mark(self, x: float, y: float, number: int) -> None:
        self.sheet.circle(x, y, MARK, thick=0.25, fill="#ffffff")
        self.sheet.text(x, y, ascii_uppercase[number], SMALL, bold=True, anchor="middle")

    def _legend(self) -> None:
        """Letter, line, name, material, highest temperature of each peg."""
        y = TOP + HIGH + FOOT + 1.5
        for number, peg in enumerate(self.pegs):
            self._mark(LEFT + MARK, y, number)
            self.sheet.rule(LEFT + 6, y, LEFT + 22, y, thick=_thick(peg), dash=DASHES[number % len(DASHES)])
            self.sheet.text(LEFT + 25, y, say(peg.name, self.units), SIZE, bold=True)
            ends = LEFT + 25 + wide(say(peg.name, self.units), SIZE, True) + 2.5
            self.sheet.text(ends, y, f"in the {peg.material}, {self._place(peg)}{self._highest(peg)}", SIZE)
            y += ROW
        says = "Places are the part's own coordinates. Computed for a mould that is full at once; a sheathed thermocouple lags by seconds."
        self.sheet.text(LEFT, y, say(says, self.units), SMALL, fill="#54585d")

    def _place(self, peg: Peg) -> str:
        figures = ", ".join(shown(float(v), "m", self.units, "fine")[0] for v in peg.at_part)
        return f"at x, y, z = {figures} {shown(0.1, 'm', self.units, 'fine')[1]}"

    def _highest(self, peg: Peg) -> str:
        return (
            ""
            if peg.material.startswith("metal")
            else f", at most {qty(peg.highest, 'K', self.units)} after {qty(peg.highest_time, 's', self.units)}"
        )


def _thick(peg: Peg) -> float:
    """Metal is drawn heavier than sand."""
    return 0.55 if peg.material.startswith("metal") else 0.35


def _degrees(kelvin: Array, units: str) -> Array:
    """Temperatures in degrees Celsius or Fahrenheit."""
    celsius = np.asarray(kelvin) - ICE_POINT
    return np.asarray(celsius * 1.8 + 32.0 if units == "us" else celsius)
