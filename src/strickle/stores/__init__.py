"""Published data with sources, and the shop's own kit."""

from strickle.stores.kit import read_kit, starter_kit, write_kit
from strickle.stores.load import load
from strickle.stores.records import Crucible, Flask, FreezingCurve, Furnace, Kit, MetalRecord, SandRecord, SandTest, Stores
from strickle.stores.rules import cast_tolerance, machining_stock

__all__ = [
    "Crucible",
    "Flask",
    "FreezingCurve",
    "Furnace",
    "Kit",
    "MetalRecord",
    "SandRecord",
    "SandTest",
    "Stores",
    "cast_tolerance",
    "load",
    "machining_stock",
    "read_kit",
    "starter_kit",
    "write_kit",
]
