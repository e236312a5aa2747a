"""The mould closed: one tagged grid, lift, weights, sand. The door: ask and result only."""

from strickle.cavity.ask import CavityAsk
from strickle.cavity.result import (
    AIR,
    CHILL,
    FLOW_OFF,
    GRAPHITE,
    INGATE,
    INSERTS,
    METAL_TAGS,
    NECK,
    PART,
    RISER,
    RUNNING,
    SAND,
    SLEEVE,
    Cavity,
    Named,
)

__all__ = [
    "AIR",
    "CHILL",
    "Cavity",
    "CavityAsk",
    "FLOW_OFF",
    "GRAPHITE",
    "INGATE",
    "INSERTS",
    "METAL_TAGS",
    "NECK",
    "Named",
    "PART",
    "RISER",
    "RUNNING",
    "SAND",
    "SLEEVE",
]
