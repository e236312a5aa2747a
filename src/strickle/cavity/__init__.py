"""The mould closed: one tagged grid, lift, weights, sand. The door: ask and result only."""

from strickle.cavity.ask import CavityAsk
from strickle.cavity.result import AIR, FLOW_OFF, INGATE, METAL_TAGS, NECK, PART, RISER, RUNNING, SAND, Cavity, Named

__all__ = ["AIR", "Cavity", "CavityAsk", "FLOW_OFF", "INGATE", "METAL_TAGS", "NECK", "Named", "PART", "RISER", "RUNNING", "SAND"]
