"""Does it freeze soundly. The door: ask and result only."""

from strickle.sound.ask import PegAt, SoundAsk
from strickle.sound.result import Back, Corner, Corners, Criteria, Extreme, Late, NeckJudged, Peg, Sound, Swing, Weak

__all__ = [
    "Back", "Corner", "Corners", "Criteria", "Extreme", "Late", "NeckJudged", "Peg", "PegAt", "Sound", "SoundAsk", "Swing", "Weak",
]  # fmt: skip
