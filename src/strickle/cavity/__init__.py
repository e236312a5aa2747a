"""The mould closed: one tagged grid, lift, weights, sand. The door: ask and result only."""

from strickle.cavity.ask import CavityAsk
from strickle.cavity.result import Cavity, FLOW_OFF, INGATE, METAL_TAGS, NECK, Named, PART, RISER, RUNNING, SAND

__all__ = ["Cavity", "CavityAsk", "FLOW_OFF", "INGATE", "METAL_TAGS", "NECK", "Named", "PART", "RISER", "RUNNING", "SAND"]
