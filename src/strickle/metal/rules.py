"""Trade formulas of the metal: how it shrinks, what the pattern gets, how fine it freezes."""

from __future__ import annotations

import difflib
import math

from strickle.base import BadInput, Input, Output, rule
from strickle.stores import Stores

_ROOM = 293.15
_PERCENT_FROM = 0.5


@rule(
    name="shrunk_length",
    says="Side of a solid after the volume losses of liquid, solidification and solid, with no riser",
    inputs=(
        Input(name="length", unit="m", says="length of the cavity", low=0.0, high=10.0),
        Input(name="solidification", unit="1", says="volume lost on freezing", low=0.0, high=0.1),
        Input(name="solid", unit="1", says="volume lost by the solid down to cold", low=0.0, high=0.1),
        Input(name="liquid", unit="1", says="volume lost by the liquid down to the liquidus", default=0.0, low=0.0, high=0.1),
    ),
    outputs=(
        Output(name="length", unit="m", says="length when cold"),
        Output(name="after_liquid", unit="m", says="length of the same cube at the liquidus"),
        Output(name="after_solidification", unit="m", says="length at the solidus"),
    ),
    formula="length ((1 - liquid) (1 - solidification) (1 - solid))^(1/3), step by step",
    source="Definition; worked in an examination paper of 2011 (cube of 50 mm, read on two pages)",
    example='--length "50 mm" --solidification "4 %" --solid "6 %"',
)
def shrunk_length(length: float, solidification: float, solid: float, liquid: float = 0.0) -> tuple[float, float, float]:
    """Lengths [m] cold, at the liquidus and at the solidus of a body that shrinks alike in all directions.

    >>> round(shrunk_length(0.050, 0.04, 0.06)[0] * 1e3, 2)
    48.32
    """
    for share in (solidification, solid, liquid):
        if share >= 1.0:
            raise BadInput("a share of volume lies below 1", "Give 4 % as 0.04")
    melted = length * (1.0 - liquid) ** (1 / 3)
    frozen = melted * (1.0 - solidification) ** (1 / 3)
    return frozen * (1.0 - solid) ** (1 / 3), melted, frozen


@rule(
    name="pattern_contraction",
    says="Usual linear contraction of a metal for its pattern, less what holds it back",
    inputs=(
        Input(name="metal", unit="text", says="metal key such as a319, or a book's entry such as western.bronze, dooley.brass"),
        Input(name="restraint", unit="1", says="share of length held back by cores or a frame, taken off", default=0.0, low=0.0, high=0.02),
    ),
    outputs=(
        Output(name="contraction", unit="1", says="to enlarge the pattern by"),
        Output(name="low", unit="1", says="least in the books"),
        Output(name="high", unit="1", says="most in the books"),
        Output(name="free", unit="1", says="of a free bar by its expansion; not known for a book's entry"),
    ),
    formula="contraction = the stored allowance - restraint; free = mean expansion (solidus - 20 degC)",
    source="Westermann Tables for the Metal Trade; Dooley, Applied Science for Metal Workers, 1919; Lineham, A Text-book of Mechanical"
    " Engineering; MakeItFrom.com, sheet 319.0-F; each entry with its source in the stores",
    needs_stores=True,
    example="--metal a319",
)
def pattern_contraction(stores: Stores, metal: str, restraint: float = 0.0) -> tuple[float, float, float, float]:
    """Contraction, low, high, free [1] from the stores.

    >>> from strickle.stores import load
    >>> round(pattern_contraction(load(), "a319")[0], 4)
    0.013
    """
    metal = metal.replace("gray", "grey")
    book = stores.constants.get(f"allowance.{metal}")
    record = stores.metals.get(metal)
    if book is not None:
        return book.value - restraint, book.low - restraint, book.high - restraint, math.nan
    if record is None or "contraction" not in record.values:
        books = [key.removeprefix("allowance.") for key in stores.constants if key.startswith("allowance.")]
        close = difflib.get_close_matches(metal, [*stores.metals, *books], 3, 0.4)
        raise BadInput(f"no contraction is stored for {metal!r}", f"Nearest: {', '.join(close)}" if close else "See the list of metals")
    datum, values = record.values["contraction"], record.values
    free = values["expansion"].value * (values["solidus"].value - _ROOM) if "expansion" in values else math.nan
    return datum.value - restraint, datum.low - restraint, datum.high - restraint, free


def _percent(share: float) -> float:
    """Weight per cent of a share by mass; above a half it can only have been meant as per cent."""
    return share if share > _PERCENT_FROM else 100.0 * share


@rule(
    name="arm_spacing",
    says="Secondary dendrite arm spacing of cast aluminium, from freezing time or cooling rate",
    inputs=(
        Input(name="freezing_time", unit="s", says="local freezing time; 0 = not given", default=0.0, low=0.0, high=5000.0),
        Input(name="cooling_rate", unit="K/s", says="cooling rate; 0 = not given", default=0.0, low=0.0, high=50.0),
        Input(name="copper", unit="1", says="copper, share by mass (a number over 0.5 is read as per cent); 0 = A356 is meant", default=0.0, low=0.0),
        Input(name="silicon", unit="1", says="silicon, share by mass (a number over 0.5 is read as per cent)", default=0.07, low=0.0),
    ),
    outputs=(Output(name="spacing", unit="m", says="mean distance of the side arms"),),
    formula="with copper, in um, wt %, s: 34.9 Cu^-0.333 Si^-0.145 t^0.208 or 77.09 Cu^-0.1989 Si^-0.078 rate^-0.252; A356: 39.4 rate^-0.317",
    source="Ronto & Roosz, Int. J. Cast Metals Res. 13, 2001, 337-342; A356: Spear & Gardner, AFS Trans. 71, 1963 (from memory, unverified)",
    example='--freezing_time "60 s" --copper "3.5 %" --silicon "6 %"',
)
def arm_spacing(freezing_time: float = 0.0, cooling_rate: float = 0.0, copper: float = 0.0, silicon: float = 0.07) -> float:
    """Spacing [m].

    >>> round(arm_spacing(cooling_rate=0.5) * 1e6, 1), round(arm_spacing(60.0, copper=0.035, silicon=0.06) * 1e6, 2)
    (49.1, 41.56)
    """
    if (freezing_time > 0) == (cooling_rate > 0):
        raise BadInput("arm_spacing wants a freezing time or a cooling rate, one of the two", "Give freezing_time or cooling_rate")
    if copper <= 0:
        if cooling_rate <= 0:
            raise BadInput("the form for A356 wants a cooling rate", "Give cooling_rate, or copper and silicon with freezing_time")
        return 39.4e-6 * float(cooling_rate**-0.317)
    cu, si = _percent(copper), _percent(silicon)
    if si <= 0:
        raise BadInput("the form with copper needs silicon too", "Give silicon as a share by mass")
    if freezing_time > 0:
        return 34.9e-6 * float(cu**-0.333 * si**-0.145 * freezing_time**0.208)
    return 77.09e-6 * float(cu**-0.1989 * si**-0.078 * cooling_rate**-0.252)
