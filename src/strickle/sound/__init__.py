"""Does it freeze soundly. The door: ask and result only."""

from strickle.sound.ask import PegAt, SoundAsk
from strickle.sound.result import Back, Criteria, Extreme, Late, NeckJudged, Peg, Sound, Weak

__all__ = ["Back", "Criteria", "Extreme", "Late", "NeckJudged", "Peg", "PegAt", "Sound", "SoundAsk", "Weak"]
