"""Wrong questions at the filling door: each ends in one BadInput line that says what is wrong and what to do, and soon."""

import numpy as np
import pytest

from flows import METAL, WATER, box, mesh
from strickle import BadInput, Breath, Grid, LiquidData, MediumData, MetalData, Mouth, fill, held, open_air, poured

SAND = MediumData(conductivity=0.6, density=1550.0, heat_capacity=1100.0)
HOT = MetalData.plain(
    solidus=828.0, liquidus=888.0, latent_heat=389e3, solid_heat=1100.0, liquid_heat=1100.0, solid_conductivity=150.0, liquid_conductivity=80.0,
    density=2385.0,
)  # fmt: skip
TAGS = np.ones((4, 4, 5), np.uint8)
GOOD = Grid(tags=TAGS, cell=0.003, origin=np.zeros(3))
NAN, INF = float("nan"), float("inf")


def grid(tags=TAGS, cell=0.003, origin=(0.0, 0.0, 0.0)):
    return Grid(tags=tags, cell=cell, origin=np.asarray(origin))


def mouth(**more):
    return Mouth(**{"kind": "poured", "times": np.zeros(1), "flow": np.ones(1), "temperature": np.full(1, NAN), **more})


def dented(**more):
    """A closed box with something wrong."""
    good = mesh(box(0.0, 0.01, 0.0, 0.01, 0.0, 0.01))
    return type(good)(vertices=more.get("vertices", good.vertices), faces=more.get("faces", good.faces))


CUBE = mesh(box(0.0, 0.01, 0.0, 0.01, 0.0, 0.01))
SPOILED = np.array(CUBE.vertices)
SPOILED[0, 0] = NAN
WRONG = {
    "no grid": {"grid": None},
    "tags with fractions": {"grid": grid(TAGS.astype(float))},
    "flat tags": {"grid": grid(TAGS[0])},
    "no cells": {"grid": grid(np.zeros((0, 3, 3), np.uint8))},
    "cell of nothing": {"grid": grid(cell=0.0)},
    "cell not a number": {"grid": grid(cell=NAN)},
    "cell a word": {"grid": grid(cell="3 mm")},
    "cell a truth": {"grid": grid(cell=True)},
    "origin of two": {"grid": grid(origin=(0.0, 0.0))},
    "origin nowhere": {"grid": grid(origin=(0.0, NAN, 0.0))},
    "no materials": {"materials": None},
    "empty materials": {"materials": {}},
    "a list of materials": {"materials": [METAL]},
    "tag a word": {"materials": {"one": METAL}},
    "tag too high": {"materials": {1: METAL, 300: SAND}},
    "tag negative": {"materials": {1: METAL, -1: SAND}},
    "material a number": {"materials": {1: 2385.0}},
    "no metal": {"materials": {1: SAND}},
    "two metals": {"materials": {1: METAL, 2: WATER}},
    "metal nowhere": {"materials": {7: METAL}},
    "liquid of no weight": {"materials": {1: LiquidData(density=0.0)}},
    "liquid of negative weight": {"materials": {1: LiquidData(density=-1.0)}},
    "liquid not a number": {"materials": {1: LiquidData(density=NAN)}},
    "liquid a word": {"materials": {1: LiquidData(density="heavy")}},
    "unknown face": {"ends": {"top": open_air()}},
    "end not a mouth": {"ends": {"z+": "open"}},
    "ends a list": {"ends": [open_air()]},
    "kind unknown": {"ends": {"z+": mouth(kind="leaky")}},
    "held not a number": {"ends": {"z+": held(NAN)}},
    "held without end": {"ends": {"z+": held(INF)}},
    "flow negative": {"ends": {"z+": poured(-1e-5)}},
    "flow not a number": {"ends": {"z+": poured(NAN)}},
    "moments fall": {"ends": {"z+": poured([1e-5, 2e-5], times=[1.0, 0.5])}},
    "moments too few": {"ends": {"z+": poured([1e-5, 2e-5], times=[1.0])}},
    "no moments": {"ends": {"z+": mouth(times=np.zeros(0), flow=np.zeros(0), temperature=np.zeros(0))}},
    "two pours": {"ends": {"z+": poured(1e-5), "z-": poured(1e-5)}},
    "poured at absolute zero": {"ends": {"z+": poured(1e-5, temperature=-5.0)}},
    "poured infinitely hot": {"ends": {"z+": poured(1e-5, temperature=INF)}},
    "held at a negative temperature": {"ends": {"z+": held(1000.0, -3.0)}},
    "start a list": {"start": [1000.0]},
    "start negative": {"start": {1: -5.0}},
    "start a word": {"start": {1: "hot"}},
    "start without the metal": {"materials": {1: HOT, 10: SAND}, "start": {10: 295.0}},
    "start without the sand": {"materials": {1: HOT, 10: SAND}, "start": {1: 990.0}},
    "start hotter than any metal": {"materials": {1: HOT, 10: SAND}, "start": {1: 1e6, 10: 295.0}},
    "sand that holds no number": {"materials": {1: HOT, 10: MediumData(conductivity=NAN, density=1550.0, heat_capacity=1100.0)}},
    "sand of no weight": {"materials": {1: HOT, 10: MediumData(conductivity=0.6, density=0.0, heat_capacity=1100.0)}},
    "poured in nowhere": {"materials": {1: METAL, 5: poured(1e-5)}},
    "gravity of a star": {"gravity": (0.0, 0.0, -1e12)},
    "skin on sand": {"skin": {10: 1.0}},
    "skin on nothing": {"skin": {77: 1.0}},
    "skin on a word": {"skin": {"metal": 1.0}},
    "until nothing": {"until": 0.0},
    "until for ever": {"until": INF},
    "until not a number": {"until": NAN},
    "until a word": {"until": "soon"},
    "full nothing": {"full": 0.0},
    "full negative": {"full": -1.0},
    "full not a number": {"full": NAN},
    "preset unknown": {"preset": "best"},
    "preset a list": {"preset": ["shop"]},
    "begin of another shape": {"begin": np.zeros((4, 4, 4))},
    "begin above one": {"begin": np.full(TAGS.shape, 1.5)},
    "begin below nothing": {"begin": np.full(TAGS.shape, -0.5)},
    "begin not a number": {"begin": np.full(TAGS.shape, NAN)},
    "begin words": {"begin": np.full(TAGS.shape, "full")},
    "begin ragged": {"begin": [[1.0], [1.0, 2.0]]},
    "surface a file": {"surface": "part.stl"},
    "surface not a number": {"surface": dented(vertices=SPOILED)},
    "surface with a hole": {"surface": dented(faces=CUBE.faces[:-1])},
    "surface of no faces": {"surface": dented(faces=CUBE.faces[:0])},
    "surface pointing nowhere": {"surface": dented(faces=np.array([[0, 1, 99]]))},
    "surface elsewhere": {"surface": dented(vertices=CUBE.vertices + 5.0)},
    "contact negative": {"contact": -1.0},
    "contact not a number": {"contact": NAN},
    "contact a word": {"contact": "good"},
    "contact of a tag negative": {"contact": {10: -1.0}},
    "gravity of two": {"gravity": (0.0, -9.81)},
    "gravity not a number": {"gravity": (0.0, 0.0, NAN)},
    "gravity a word": {"gravity": "down"},
    "friction negative": {"friction": -0.1},
    "friction not a number": {"friction": NAN},
    "friction a word": {"friction": "rough"},
    "skin negative": {"skin": -1.0},
    "skin not a number": {"skin": NAN},
    "skin a word": {"skin": "thick"},
    "stands at nothing": {"stands": 0.0},
    "stands above one": {"stands": 1.5},
    "stands not a number": {"stands": NAN},
    "breath a number": {"breath": 3.0},
    "breath negative": {"breath": Breath(passage=-1.0, way=0.03)},
    "breath no way": {"breath": Breath(passage=1e-8, way=0.0)},
    "breath not a number": {"breath": Breath(passage=NAN, way=0.03)},
    "vents of another shape": {"breath": Breath(passage=1e-8, way=0.03, vents=np.zeros((2, 2, 2)))},
    "vents negative": {"breath": Breath(passage=1e-8, way=0.03, vents=np.full(TAGS.shape, -1.0))},
    "gauges a list": {"gauges": [1]},
    "gauge of no tag": {"gauges": {"gate": "one"}},
    "gauge of an absent tag": {"gauges": {"gate": 77}},
    "watch a number": {"watch": 3},
    "checkpoint a number": {"checkpoint": 3},
}


@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_question_is_refused_in_one_line(name):
    ask = {"grid": GOOD, "materials": {1: METAL, 10: SAND}, "ends": {"z+": open_air()}, "until": 0.01, **WRONG[name]}
    with pytest.raises(BadInput) as caught:
        fill(ask.pop("grid"), ask.pop("materials"), **ask)
    text = str(caught.value)
    assert text.strip()
    assert "\n" not in text
    assert len(text) < 300
