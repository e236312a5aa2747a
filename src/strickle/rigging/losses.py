"""What metal loses between basin and mould: published loss coefficients, each on the velocity head of the section it belongs to."""

from __future__ import annotations

import math

from strickle.base import GRAVITY, Source, tapered_stream

ENTRANCE = 0.57
"""Sharp entrance, basin into sprue."""
CONTRACTION = 0.496
"""Sharp contraction to half the diameter: well into runner, runner into ingate."""
BEND = 0.29
"""Rounded right-angle bend of two diameters: the turn along the runner."""
FRICTION = 0.036
"""Darcy friction factor of a rammed-sand wall (relative roughness 0.005) at Reynolds number 14 000."""

LOSS_SOURCES = (
    Source(key="fluids", says="Loss coefficients and friction factor: Bell et al., fluids, Python library, version 1.3.1", mark="computed"),
    Source(key="borda", says="Velocity head of a jet lost on entering a much wider space: Borda and Carnot's law", mark="common practice"),
)


def sprue_loss(choke_area: float, top_area: float, height: float) -> float:
    """Loss of entrance and wall friction of a round tapered sprue, in velocity heads of the choke.

    >>> round(sprue_loss(1e-4, 2e-4, 0.1), 2)
    0.29
    """
    return tapered_stream(top_area, choke_area, height, ENTRANCE, FRICTION)[-1][2]


def discharge_first(sprue: float) -> float:
    """Discharge coefficient while nothing but the sprue holds the flow back: first metal, runner not yet full.

    >>> round(discharge_first(0.33), 3)
    0.867
    """
    return 1.0 / math.sqrt(1.0 + sprue)


def discharge_full(sprue: float, choke_area: float, runner_area: float, ingate_area: float) -> float:
    """Discharge coefficient of the full system.

    The well stops the sprue's stream (one velocity head of the choke), the runner takes it up again round a bend and through a sharp
    entrance and loses it at the ingates, and the ingates' own velocity head is lost in the mould.

    >>> round(discharge_full(0.33, 1e-4, 2e-4, 3e-4), 3)
    0.717
    """
    runner = (1.0 + CONTRACTION + BEND) * (choke_area / runner_area) ** 2
    ingate = (1.0 + CONTRACTION) * (choke_area / ingate_area) ** 2
    return 1.0 / math.sqrt(1.0 + sprue + runner + ingate)


def mean_head(head: float, rise: float) -> float:
    """Head [m] that, held still, would fill a straight-sided mould reaching ``rise`` above its gate in the same time.

    Follows from the bottom-gate filling time. Zero where the mould stands as high as the head.

    >>> round(mean_head(0.1, 0.0), 3), round(mean_head(0.1, 0.099999), 4)
    (0.1, 0.0252)
    """
    if rise >= head:
        return 0.0
    return (0.5 * (math.sqrt(head) + math.sqrt(head - max(rise, 0.0)))) ** 2


def speed(head: float) -> float:
    """Speed [m/s] of a loss-free stream under ``head`` [m]."""
    return math.sqrt(2.0 * GRAVITY * max(head, 0.0))
