"""What we pour: curve, densities, contraction, each with its range. The door: ask and result only."""

from strickle.metal.ask import USES, MetalAsk
from strickle.metal.result import ArmLaw, Metal

__all__ = ["USES", "ArmLaw", "Metal", "MetalAsk"]
