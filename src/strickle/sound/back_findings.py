"""What the back says to the person: how deep it sinks against what is there to be machined, and what hides under it."""

from __future__ import annotations

from strickle.base import Array, Finding, Margin, Value, Where, tell
from strickle.metal import Metal
from strickle.sound.result import Back

THIN = Value(
    value=0.5, low=0.3, high=0.7, unit="1", source="house", mark="guess",
    note="share of the metal under the back that may sink away where nothing was meant to be machined",
)  # fmt: skip
HIDDEN = Value(value=0.02, low=0.01, high=0.05, unit="1", source="house", mark="guess", note="share of the loss under the skin that is let be")


def back_findings(back: Back, metal: Metal, stock: float) -> tuple[Finding, ...]:
    """Sink and hollow; ``stock`` [m] is what was meant to be machined off."""
    out = [_sinks(back, metal, stock)]
    if back.hollow_volume > HIDDEN.value * back.lost_volume:
        out.append(_hollow(back))
    return tuple(out)


def back_weight(back: Back, stock: float) -> str:
    """STOP where the face that is meant to be machined does not clean up, or where half the metal sinks away under a back left as poured."""
    deep = back.deepest
    if stock > 0:
        return "STOP" if deep.value > back.allowance else "MIND" if deep.high > back.allowance else "NOTE"
    return "STOP" if deep.value > THIN.value * back.under else "MIND"


def _sinks(back: Back, metal: Metal, stock: float) -> Finding:
    weight, deep = back_weight(back, stock), back.deepest
    band = f"{tell(deep.value, 'm', 'fine')} at the deepest, {tell(deep.low, 'm', 'fine')} to {tell(deep.high, 'm', 'fine')}"
    proud = back.allowance - stock
    room = f"{tell(back.allowance, 'm', 'fine')} over the finished face" + (
        f", {tell(proud, 'm', 'fine')} of it poured proud" if proud > 1e-6 else ""
    )
    ends = {
        "NOTE": f"within the {room}",
        "MIND": f"near the {room}" if stock > 0 else "and stays so: no stock was left on it to be machined",
        "STOP": f"deeper than the {room}: it does not clean up" if stock > 0 else f"out of {tell(back.under, 'm')} of metal there",
    }
    do = {
        "NOTE": "Machine the back down to the drawing; it stays dished until the tool has passed the deepest place",
        "MIND": ("Leave more" if stock > 0 else "If the back must be flat, leave")
        + " stock on it (--stock), pour proud, or lay a dry insulating cover on it",
        "STOP": "Leave more stock on the back (--stock), or turn the part so that a thinner or hidden side is poured",
    }
    return Finding(
        code="sound.back_sinks",
        weight=weight,  # type: ignore[arg-type]
        says=f"The back sinks {band}, {tell(back.mean, 'm', 'fine')} on average, {ends[weight]}",
        because=f"{metal.name} loses {tell(back.lost_volume, 'm3')} from the pour till it is solid, and all that freezes while the back is still"
        f" open, till {tell(back.closes, 's')}, is drawn down from it; the deepest place freezes last",
        do=do[weight],
        where=_place(back.at_part),
        margin=Margin(
            value=back.allowance / deep.value, low=back.allowance / deep.high, high=back.allowance / deep.low, unit="1",
            of="metal over the finished face over the deepest sink",
        ),
        source="computed from the freezing; the metal's shrinkage and its range from the stores; how a mush shares it out is a model",
    )  # fmt: skip


def _hollow(back: Back) -> Finding:
    share = back.hollow_volume / back.lost_volume
    return Finding(
        code="sound.hollow_under_back",
        weight="MIND",
        says=f"{tell(back.hollow_volume, 'm3')}, {tell(share, '1', '%')} of what the metal loses, may stay hollow under the back",
        because="the back closes there before the metal under it, and no air or metal follows through the skin: a chance of a hole or of pores,"
        " or of the skin being drawn in",
        do=("The dry cover is counted in already" if back.covered else "A dry insulating cover on the back after the pour (--cover dry) may help")
        + "; do not bore or mill deep there without a look",
        where=_place(back.hollow_at_part),
        margin=Margin(value=HIDDEN.value / share, unit="1", of="share of the loss let be under the skin over the share found"),
        source="house",
    )


def _place(point: Array) -> Where:
    return Where(point=(float(point[0]), float(point[1]), float(point[2])))
