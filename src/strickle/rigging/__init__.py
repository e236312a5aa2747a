"""Basin, sprue, runner, ingates, risers, vents as real solids. The door: ask and result only."""

from strickle.rigging.ask import Chill, RiggingAsk, RiserWish, VentWish
from strickle.rigging.result import Basin, ChillSet, Ingate, Neck, OpenPour, Region, Rigging, Riser, Runner, Sleeve, Sprue, Vent

__all__ = [
    "Basin",
    "Chill",
    "ChillSet",
    "Ingate",
    "Neck",
    "OpenPour",
    "Region",
    "Rigging",
    "RiggingAsk",
    "Riser",
    "RiserWish",
    "Runner",
    "Sleeve",
    "Sprue",
    "Vent",
    "VentWish",
]
