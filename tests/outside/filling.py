"""Sections C and D: filling with a free surface against experiments, closed solutions and the hydraulic calculator, through the public door."""

from __future__ import annotations

import numpy as np

from flows import GRAVITY, METAL, T, Z, dam, jump, kept, late, pipe, shift, slot, slot_share, swing
from outside import Row, case
from rigs import RIGS, filled
from slotted_disk import turned


@case("D1", "Martin & Moyce, Phil. Trans. R. Soc. A 244, 1952, 312-324 (as digitised in two open repositories)")
def column_on_a_dry_floor() -> list[Row]:
    """The front of a column twice as high as wide, a wide; T = t sqrt(2 g / a): its start is not known, so one shift is fitted and one is fixed."""
    rows = []
    for per in (12, 24, 48):
        (mean, fitted), _, errors, (when, at) = shift(kept(dam(per, deep=2)), per, T, Z)
        cells = f"{per} cells in a"
        rows.append(Row(f"{cells}: front off by, mean, time shifted to fit", 0.0, mean, 0.05, "a"))
        rows.append(Row(f"{cells}: that shift of T", 0.2, fitted, 0.1))
        rows.append(Row(f"{cells}: front off by, most, Z = 1.44 at T = 1.19", 0.0, float(np.abs(errors).max()), 0.12, "a"))
        # Ritter, Die Fortpflanzung der Wasserwellen, Z. VDI 36 (1892) 947-954 (from memory): x = a + 2 t sqrt(g h0) bounds every front
        rows.append(Row(f"{cells}: least that it lags behind Ritter's bound", 0.0, float((1.0 + 2.0 * when - at).min()), 0.0, "a", at_least=True))
    return rows


@case("C12", "Bélanger's relation, (sqrt(1 + 8 Fr²) - 1) / 2 (common practice)")
def bore_into_still_water() -> list[Row]:
    return [
        Row(f"Fr {froude:g}, {across} cells deep: depth behind a bore over that before it", ratio, jump(froude, ratio, across), 0.03, relative=True)
        for froude, ratio in ((2.0, 2.372281), (3.0, 3.772002))
        for across in (10, 16)
    ]


@case("D5", "linear waves, 2 pi / sqrt(g k tanh(k h)) (common practice)")
def sloshing() -> list[Row]:
    k = np.pi / 0.2
    exact = 2.0 * np.pi / np.sqrt(GRAVITY * k * np.tanh(k * 0.1))
    return [Row("sloshing, tank 200 mm long, 100 mm deep: period", exact, swing(0.0025), 0.01, "s", relative=True)]


@case("pipe", "short tube with a sharp entry, 0.78 to 0.85 of a free fall (common practice)")
def square_pipe() -> list[Row]:
    rows = []
    for across, cell in ((4, 0.0025), (8, 0.00125)):
        told, ideal = pipe(across, True, cell)
        rows.append(Row(f"square pipe, {across} cells across: discharge", 0.815, late(kept(told)) / ideal, 0.035))
    return rows


@case("C12", "slot t wide of what does not wet it, 2 gamma / t (common practice)")
def slot_holds() -> list[Row]:
    """Under nine tenths of that head the slot stays empty, over eleven tenths metal runs in."""
    rows = []
    for gamma in (1.0, 2.0):
        head = 2.0 * gamma / 0.003 / (METAL.density * GRAVITY)
        held, gone = (slot_share(kept(slot(part * head, gamma))) for part in (0.9, 1.1))
        rows.append(Row(f"slot of 3 mm, {gamma:g} N/m: share filled at 0.9 of the head", 0.0, held, 0.01))
        rows.append(Row(f"slot of 3 mm, {gamma:g} N/m: share filled at 1.1 of the head", 0.5, gone, 0.0, at_least=True))
    return rows


@case("D3", "Rudman, Int. J. Numer. Meth. Fluids 24, 1997, 671-691 (figures from memory): Youngs' planes 1.09e-2")
def slotted_disk() -> list[Row]:
    error, drift, _, most, _ = turned(200)
    return [
        Row("slotted disk, 200 x 200, one turn: error", 0.0, error, 1.5e-2),
        Row("slotted disk: volume lost", 0.0, drift, 1e-10),
        Row("slotted disk: fullest cell", 1.0, most, 0.01),
    ]


@case("rigs", "Bell et al., fluids 1.3.1, losses of published fittings, and Borda and Carnot's law, the same for all rigs")
def three_rigs() -> list[Row]:
    """A plate 160 x 10 x 80 mm gated at its bottom by runner and tapered sprue, basin kept full; on the faces of cells of 1.8 mm, the widest
    choke once more 0.3 and 0.4 of a cell aside, and on cells of 2.5 mm.
    """
    rows = []
    for head, choke in RIGS:
        rows += _rig(head, choke, 1.8, (0.0, 0.0), "on")
    return rows + _rig(*RIGS[0], 1.8, (0.3, 0.4), "aside of") + _rig(*RIGS[0], 2.5, (0.0, 0.0), "on")


def _rig(head: float, choke: float, cell: float, moved: tuple[float, float], lies: str) -> list[Row]:
    told, time = filled(head, choke, 1e-3 * cell, moved)
    kept(told)
    what = f"rig {lies} the faces of cells of {cell:g} mm, head {head} mm, choke {choke:g} mm2"
    return [
        Row(f"{what}: fill time", time, told.full_time, 0.10, "s", relative=True),
        Row(f"{what}: metal not accounted for", 0.0, told.metal_balance, 1e-6),
    ]
