"""What a person holds: shop card, section and plan, picture, cautions, print sheet. The door: ask, result, and what lies on which plate."""

from strickle.card.ask import CardAsk
from strickle.card.packing import Body, Placed, Plate, bodies_of, plates
from strickle.card.result import Card

__all__ = ["Body", "Card", "CardAsk", "Placed", "Plate", "bodies_of", "plates"]
