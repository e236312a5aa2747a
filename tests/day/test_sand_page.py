"""The card's page on the sand: there where the sand is in doubt, with its map, pins that are the findings, ways, leans and lifts."""

from __future__ import annotations

import dataclasses
import json
import sys
from pathlib import Path

import manifold3d as m3
import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
import card_factory as factory
from test_card import outside, words_of

from pattern_shop import aluminium, box, part_from, rod
from strickle.base import quiet, ranked, render, tell
from strickle.card import sand as page
from strickle.card.steps import written
from strickle.mould import MouldAsk, SandWay
from strickle.mould.steps import ram
from strickle.pattern import PatternAsk
from strickle.pattern.steps import make
from strickle.stores import load, starter_kit


def planned(solid: m3.Manifold, **asked) -> dict:
    part, metal, stores = part_from(solid), aluminium(), load(starter_kit())
    pattern = make(part, metal, stores, PatternAsk(up=np.array([0.0, 0.0, 1.0]), **asked), quiet)
    return {"part": part, "metal": metal, "pattern": pattern, "mould": ram(part, pattern, metal, stores, MouldAsk(), quiet)}


@pytest.fixture(scope="module")
def pocketed() -> dict:
    """A long block with two deep pockets: each is told, and it is lifted by a bar."""
    return planned(box(170, 60, 44) - rod(18, 60, (40, 30, -10)) - rod(14, 60, (120, 30, -10)), draft="none", holes="cast", parting=0.0)


def with_ways(results: dict) -> dict:
    mould = results["mould"]
    row = SandWay(
        name="as is", says="", chances=mould.sand_chances, low=mould.sand_low, high=mould.sand_high, flask=mould.flask, metal=1.2, pieces=1,
        print_volume=4e-4,
    )  # fmt: skip
    return {**results, "mould": dataclasses.replace(mould, sand_ways=(row, dataclasses.replace(row, name="bars", says="with bars")))}


def card(results: dict, units: str, paper: str):
    findings = ranked([f for stage in ("pattern", "mould") for f in results[stage].findings])
    return findings, *written(verdict=factory.CASTABLE, findings=findings, kit=starter_kit(), units=units, paper=paper, **results)


@pytest.mark.parametrize(("units", "paper"), [("metric", "a4"), ("us", "letter")])
def test_the_page_holds_map_ways_leans_and_lifts(pocketed, units, paper):
    findings, made, files = card(with_ways(pocketed), units, paper)
    assert "sand.svg" in files
    assert not outside(files["card.pdf"], paper)
    text = [word for number, word, _ in words_of(files["card.pdf"]) if number == made.pages]
    told = " ".join(text)
    for words in (
        "Will the sand stand the draw",
        "Ways to make this",
        "bars",
        "leans as it rises",
        "Lifting",
        "cope-pattern",
        "cope side",
        "drag side",
    ):
        assert words in told
    assert ("mold" in told) == (units == "us")
    assert page.percent(pocketed["mould"].sand_chances.pocket) in text
    assert "2" in [word for word in text if len(word) == 1]
    pins = page.pins_of(pocketed["pattern"], findings, units)
    assert len(pins) == 2
    assert [pin.says for pin in pins] == [render(f.says, units) for f in findings if f.code in page.CODES]


def test_pins_stand_on_the_bodies_of_the_findings(pocketed):
    findings = ranked(pocketed["mould"].findings)
    for pin, f in zip(page.pins_of(pocketed["pattern"], findings, "metric"), [f for f in findings if f.code in page.CODES], strict=True):
        body = next(b for b in pocketed["mould"].bodies if np.allclose(b.at, pin.at, atol=1e-6))
        assert render(f.says, "metric").count(f"{body.depth * 1e3:.3g}") or body.chance > 0.1


def test_clean_sand_has_no_page_and_an_open_face_none_either():
    clean = planned(box(100, 60, 40))
    assert not page.wanted(clean["mould"])
    assert "sand.svg" not in card(clean, "metric", "a4")[2]
    assert not page.wanted(None)
    assert not page.wanted(dataclasses.replace(clean["mould"], kind="open-face"))


def test_the_map_is_coloured_where_the_chance_is(pocketed):
    mould = pocketed["mould"]
    assert mould.face_tear.max() == pytest.approx(mould.bodies[0].chance)
    picture = card(pocketed, "metric", "a4")[2]["sand.svg"]
    bare = page.sheet(
        pocketed["part"],
        pocketed["pattern"],
        dataclasses.replace(mould, face_tear=np.zeros(len(mould.face_tear))),
        plane(pocketed),
        [],
        186.0,
        "metric",
    )
    assert picture.count(b"<image") == bare.count(b"<image") == 2
    assert picture != bare


def plane(results: dict):
    from strickle.card.section import middle_of
    from strickle.card.slices import informative

    return informative(results["part"], results["pattern"], None, None, middle_of(results["pattern"].cavity))


def test_other_ways_to_lie_have_short_names_in_the_table_and_are_told_in_full_under_it(pocketed):
    mould = with_ways(pocketed)["mould"]
    here = mould.sand_ways[0]
    lying = [
        dataclasses.replace(here, name=f"{tell(x, '1', 'fine')},0,1 up", says=f"drawn with {tell(x, '1', 'fine')},0,1 up") for x in (0.0937, -0.98)
    ]
    told = page.tables(dataclasses.replace(mould, sand_ways=(here, *lying)), pocketed["pattern"], "metric")
    assert [row[0] for row in told["ways"]] == ["as is", "lying 2", "lying 3"]
    assert told["says"][0].startswith("lying 2: drawn with 0.0937,0,1 up")
    assert "{{" not in json.dumps(told)
