"""What a person holds: shop card, section and plan, picture, cautions. The door: ask and result only."""

from strickle.card.ask import CardAsk
from strickle.card.result import Card

__all__ = ["Card", "CardAsk"]
