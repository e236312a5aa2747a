"""Basin, sprue, runner, ingates, risers, vents as real solids. The door: ask and result only."""

from strickle.rigging.ask import RiggingAsk, RiserWish
from strickle.rigging.result import Basin, Ingate, Neck, OpenPour, Region, Rigging, Riser, Runner, Sprue, Vent

__all__ = ["Basin", "Ingate", "Neck", "OpenPour", "Region", "Rigging", "RiggingAsk", "Riser", "RiserWish", "Runner", "Sprue", "Vent"]
