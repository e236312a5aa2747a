"""Published data with sources, and the shop's own kit."""

from strickle.stores.records import Crucible, Flask, FreezingCurve, Furnace, Kit, MetalRecord, SandRecord, Stores

__all__ = ["Crucible", "Flask", "FreezingCurve", "Furnace", "Kit", "MetalRecord", "SandRecord", "Stores"]
