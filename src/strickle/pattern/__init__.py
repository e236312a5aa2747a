"""Draw direction, parting, contraction, printed halves. The door: ask and result only."""

from strickle.pattern.ask import PatternAsk
from strickle.pattern.joint import Apart, Cut, Joint, JointAsk, Plate
from strickle.pattern.result import Pattern

__all__ = ["Apart", "Cut", "Joint", "JointAsk", "Pattern", "PatternAsk", "Plate"]
