"""Trade formulas of filling."""

from __future__ import annotations

from strickle.base import Input, Output, rule


@rule(
    name="fluidity_length",
    says="How far metal runs in a thin round channel before it stops, the wall's conductance holding the heat back",
    inputs=(
        Input(name="density", unit="kg/m3", says="liquid metal", low=1500.0, high=20000.0),
        Input(name="radius", unit="m", says="radius of the channel", low=1e-4, high=0.02),
        Input(name="speed", unit="m/s", says="metal speed", low=0.0),
        Input(name="latent_heat", unit="J/kg", says="heat of freezing, or the share of it lost when the metal stops", low=0.0),
        Input(name="heat_capacity", unit="J/(kg K)", says="of the liquid", low=1.0),
        Input(name="superheat", unit="K", says="over the liquidus", low=0.0, high=400.0),
        Input(name="conductance", unit="W/(m2 K)", says="metal to mould", low=1.0),
        Input(name="drive", unit="K", says="metal over mould temperature", low=1.0),
    ),
    outputs=(Output(name="length", unit="m", says="length run"),),
    formula="length = density radius speed (latent_heat + heat_capacity superheat) / (2 conductance drive)",
    source="Flemings, Solidification Processing, 1974 (from memory, unverified); too long for sand and too short in its rise with superheat",
)
def fluidity_length(
    density: float,
    radius: float,
    speed: float,
    latent_heat: float,
    heat_capacity: float,
    superheat: float,
    conductance: float,
    drive: float,
) -> float:
    """Length [m].

    >>> round(fluidity_length(2385.0, 0.004, 1.0, 397e3, 1080.0, 60.0, 500.0, 640.0), 3)
    6.884
    """
    return density * radius * speed * (latent_heat + heat_capacity * superheat) / (2.0 * conductance * drive)
