"""Words for quantities: declared fields, closed arrays, findings, sources, errors, units at the edge, the one answer."""

from strickle.base.errors import BadInput, Busy, Cancelled, MissingChoice, Trouble, Unwritable
from strickle.base.fields import UNITS, Array, close_arrays, closed, declared, si, word
from strickle.base.findings import LEVELS, WEIGHTS, Chance, Finding, Margin, Weight, Where, level
from strickle.base.nature import GRAVITY, ICE_POINT, STEFAN_BOLTZMANN, falling_speed, tapered_stream, tearing_speed
from strickle.base.outcome import Grid, Mesh, Outcome, Piece, PrintPart, Record, Span
from strickle.base.pack import pack, unpack
from strickle.base.rules import Input, Output, Relation, Rule, ranges, rule
from strickle.base.sources import Mark, Source, Value
from strickle.base.units import parse
from strickle.base.verdict import Verdict, ranked
from strickle.base.watch import Watch, place_for, quiet
from strickle.base.words import ends, figures, render, shown, spelled, tell

__all__ = [
    "Array",
    "BadInput",
    "Busy",
    "Cancelled",
    "Chance",
    "Finding",
    "GRAVITY",
    "Grid",
    "ICE_POINT",
    "Input",
    "Margin",
    "LEVELS",
    "Mark",
    "Mesh",
    "MissingChoice",
    "Outcome",
    "Output",
    "Piece",
    "PrintPart",
    "Record",
    "Relation",
    "Rule",
    "STEFAN_BOLTZMANN",
    "Source",
    "Span",
    "Trouble",
    "Unwritable",
    "UNITS",
    "Value",
    "Verdict",
    "WEIGHTS",
    "Watch",
    "Weight",
    "Where",
    "close_arrays",
    "closed",
    "declared",
    "falling_speed",
    "ends",
    "figures",
    "level",
    "pack",
    "parse",
    "place_for",
    "quiet",
    "ranges",
    "ranked",
    "render",
    "rule",
    "shown",
    "si",
    "spelled",
    "tapered_stream",
    "tearing_speed",
    "tell",
    "unpack",
    "word",
]
