"""Scalar rules of the part room.

>>> plausible(0.029, 0.016, 0.015), plausible(0.737, 0.417, 246.0)
(True, False)
"""

from __future__ import annotations

LEAST_LONGEST, MOST_LONGEST = 0.008, 1.5  # m, longest extent of a part that is cast in a one-person shop: our own line
LEAST_SHORTEST = 0.001  # m, least extent
LEAST_MASS, MOST_MASS = 0.0005, 60.0  # kg of cold metal

FED = 0.92  # time at the pass over the spot's own from which a thicker neighbour feeds it: choice, tried on the bodies of the tests
FED_DOUBT = (0.88, 0.96)
LOSS = 0.3e-3  # m per face from which a loss is worth feeding: choice
LOSS_DOUBT = (0.2e-3, 0.4e-3)
THICKER = 1.5  # a spot this much thicker than the median wall is worth feeding from ...: choice, tried on the bodies of the tests
LOSS_THICKER = 0.15e-3  # m ... a smaller loss


def plausible(longest: float, shortest: float, mass: float) -> bool:
    """Whether a part of these extents [m] and this mass [kg] is one that a person casts alone."""
    return LEAST_LONGEST <= longest <= MOST_LONGEST and shortest >= LEAST_SHORTEST and LEAST_MASS <= mass <= MOST_MASS


def unlike(longest: float, shortest: float, mass: float) -> str:
    """What speaks against a part of these extents [m] and this mass [kg], in one word; empty if it is plausible.

    >>> unlike(0.002, 0.001, 1e-5), unlike(2.0, 1.0, 10.0), unlike(0.05, 0.025, 0.2)
    ('too small', 'too large', '')
    """
    if plausible(longest, shortest, mass):
        return ""
    if longest > MOST_LONGEST:
        return "too large"
    if longest < LEAST_LONGEST:
        return "too small"
    if shortest < LEAST_SHORTEST:
        return "too thin"
    return "too heavy" if mass > MOST_MASS else "too light"


def loss_depth(shrinkage: float, radius: float) -> float:
    """Shrinkage loss as a depth per face [m] if nothing feeds a spot of this inscribed ``radius`` [m]: a plate of that half thickness
    gives up ``shrinkage`` of it.

    >>> round(loss_depth(0.067, 0.0045) * 1e3, 3)
    0.301
    """
    return shrinkage * radius


def worth_feeding(loss: float, radius: float, median_wall: float) -> bool:
    """Whether a spot that no neighbour feeds is worth a riser: it loses much, or it is thick among its neighbours and loses some.

    >>> worth_feeding(0.12e-3, 1.9e-3, 4e-3), worth_feeding(0.84e-3, 12.6e-3, 8e-3), worth_feeding(0.26e-3, 3.9e-3, 8e-3)
    (False, True, False)
    """
    return loss >= LOSS or (2.0 * radius >= THICKER * median_wall and loss >= LOSS_THICKER)


def doubtful(saddle: float, loss: float, radius: float, median_wall: float) -> bool:
    """Whether a spot lies so near a line that a bare yes or no would be a coin toss.

    ``saddle`` 0 means it is the hottest.  A spot counts as doubtful when its pass lies in the band of doubt while its loss would be
    worth feeding, or when it is surely not fed and its loss lies in the band.

    >>> doubtful(0.94, 0.8e-3, 12e-3, 8e-3), doubtful(0.63, 0.8e-3, 12e-3, 8e-3), doubtful(0.0, 0.30e-3, 4.5e-3, 8e-3)
    (True, False, True)
    """
    if saddle > FED_DOUBT[1]:
        return False
    if saddle >= FED_DOUBT[0]:
        return loss >= LOSS_DOUBT[0] or worth_feeding(loss, radius, median_wall)
    return LOSS_DOUBT[0] <= loss <= LOSS_DOUBT[1]
