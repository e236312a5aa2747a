"""Commands and options. What a command does is imported when it runs."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

from strickle import __version__

STAGES = ("metal", "part", "pattern", "mould", "rigging", "cavity", "melt", "pour", "sound", "card")
USES = ("general", "lifting", "pressure", "brake", "steering", "firearm", "rotating", "food")
COMMON = "a356 a319 a380 al_pure 6063 za12 silicon_bronze c90300"
DEMOS = ("bracket", "handwheel", "plate")
SHAPES = ("3mf", "stl", "vti", "csv", "json", "schema")
SETTINGS = {"help_option_names": ["-h", "--help"], "max_content_width": 100}
Function = TypeVar("Function", bound=Callable[..., Any])
SPELT = {"mold": "mould", "inch": "in", "inches": "in", '"': "in", "millimeter": "mm", "millimetre": "mm", "centimeter": "cm", "centimetre": "cm"}
SPELT |= {"meter": "m", "metre": "m", "imperial": "us", "us-letter": "letter"}


class Spelt(click.Choice[str]):
    """One of several words, in either spelling."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """The word as it is known here."""
        word = str(value).strip().lower()
        return str(super().convert(SPELT.get(word, word), param, ctx))


def _answering(function: Function) -> Function:
    """Options on how the answer is given."""
    for add in (
        click.option("--quiet", is_flag=True, help="No progress on stderr."),
        click.option("--json", "as_json", is_flag=True, help="Print results.json instead of words."),
        click.option("--paper", type=Spelt(["a4", "letter"]), help="Paper of the cards. Default: letter with us units, else a4."),
        click.option("--units", type=Spelt(["metric", "us"]), help="Units and spelling of everything shown."),
    ):
        function = add(function)
    return function


def _asking(function: Function) -> Function:
    """Options that set a choice of the recipe."""
    for add in (
        click.option("--kit", metavar="FILE", type=click.Path(), help="Another kit than the shop's own."),
        click.option("--until", type=Spelt(STAGES), help="Stop after this stage."),
        click.option("--cell", metavar='"2 mm"', help="Cell of the 3-D grid."),
        click.option("--preset", type=Spelt(["rough", "shop", "fine"]), help="How finely to solve. Default: shop."),
        click.option("--filling", type=Spelt(["run", "none"]), help="Solve the filling with its free surface. Default: run."),
        click.option(
            "--window", type=Spelt(["run", "none"]), help="Look for the lowest pour temperature that fills. Default: run, with the filling."
        ),
        click.option("--corners", type=Spelt(["run", "none"]), help="Freeze again at the ends of what is not known. Default: run."),
        click.option("--pegs", metavar='"NAME: X, Y, Z; ..."', help="Points of the part or sand whose cooling is drawn."),
        click.option("--knock-out", metavar='"250 degC"', help="Open the mould once all metal is below this. Default: by the metal."),
        click.option("--furnace", metavar="NAME", help="Furnace by its name in the kit."),
        click.option("--crucible", metavar="NAME", help="Pot by its name in the kit."),
        click.option("--cover", type=Spelt(["none", "dry"]), help="Dry insulating cover on an open face after the pour."),
        click.option("--fill", metavar='level|proud|"250 g"', help="How full to pour an open face. Default: as recommended."),
        click.option("--sleeve", metavar='"12 mm"', help="Wall of insulating sleeves round all risers. Default: none."),
        click.option("--chills", metavar='"NAME: X, Y, Z, ACROSS, THICK, steel|graphite; ..."', help="Chills laid against the part."),
        click.option(
            "--marks", metavar='"NAME: X, Y, Z, machined|good|no-draft, STOCK; ..."', help="Faces to machine, to come out well, to stay upright."
        ),
        click.option("--holes", type=Spelt(["drilled", "cast"]), help="Fill small or slender round holes for drilling. Default: drilled."),
        click.option(
            "--draft",
            type=Spelt(["added", "unfilled", "none"]),
            help="Give walls along the draw the draft they lack; unfilled layer lines take more. Default: added.",
        ),
        click.option("--draft-outside", metavar='"2 deg"', help="Draft of outside walls. Default: 2 degrees."),
        click.option("--draft-pockets", metavar='"3 deg"', help="Draft of walls of pockets. Default: 3 degrees."),
        click.option("--draft-from", type=Spelt(["far", "middle"]), help="Where a drafted wall keeps its size. Default: far."),
        click.option("--fillets", type=Spelt(["added", "none"]), help="Inner corners rounded in the pattern. Default: none."),
        click.option("--joint", type=Spelt(["best", "flat", "crooked"]), help="How cope and drag part. Default: best."),
        click.option("--undercuts", metavar="best|core|loose|fill", help="Answer to what halves cannot release; one, or one each. Default: best."),
        click.option("--bores", type=Spelt(["sand", "core"]), help="Deep holes along the draw. Default: sand."),
        click.option("--core-sand", type=Spelt(["silicate", "resin", "oil-baked"]), help="What cores are made of. Default: silicate."),
        click.option("--stock", metavar='"2 mm"', help="Stock on the poured back of an open-face casting. Default: by size."),
        click.option("--break-for", metavar='"1 s"', help="How long the pour is interrupted; with --break-at."),
        click.option("--break-at", metavar='"2 s"', help="When the pour is interrupted, from the first metal over the lip. Default: never."),
        click.option("--kept-full", type=Spelt(["yes", "no"]), help="Whether the basin is kept full. Default: yes."),
        click.option("--pour-rate", metavar='"0.3 kg/s"', help="What your hand pours. Default: by the mould and the kit."),
        click.option("--lip", metavar='"60 mm"', help="Height of the pot's lip over basin or open face."),
        click.option("--carry", metavar='"20 s"', help="From lifting the pot to the first metal in the basin."),
        click.option("--pour", metavar='"720 degC"', help="Metal temperature as it enters the mould."),
        click.option("--pour-time", metavar='"6 s"', help="Wished fill time."),
        click.option("--contraction", metavar='"1.3 %"', help="Your own measured contraction."),
        click.option("--parting", metavar='"12 mm"', help="Height of the parting along the draw."),
        click.option("--up", metavar="X,Y,Z", help="Direction of the part that shall point up in the mould."),
        click.option(
            "--sand-ways",
            type=Spelt(["auto", "run", "none"]),
            help="Whether other ways to make the mould are run to compare their sand. Default: auto.",
        ),
        click.option("--sand", metavar="KEY", help="Sand by key. Default: the kit's."),
        click.option("--mould", "--mold", "mould", type=Spelt(["two-part", "open-face"]), help="Kind of mould."),
        click.option("--use", type=Spelt(USES), help="What the part is for. Default: general."),
        click.option("--metal", metavar="KEY", help=f"Alloy by key: {COMMON}, ... Default: a356. strickle kit --metals lists all."),
        click.option("--body", metavar="N", help="Body to take where the file holds several."),
        click.option("--unit", type=Spelt(["mm", "cm", "m", "in"]), help="Unit of the file's numbers."),
        click.option("--out", metavar="DIR", type=click.Path(), help="Job folder. Default: <part>.job here."),
    ):
        function = add(function)
    return function


@click.group(context_settings=SETTINGS)
@click.version_option(__version__, prog_name="strickle")
def group() -> None:
    """From a part's mesh to a sand mould you can pour.

    strickle plan PART leaves a job folder: the verdict, pattern files to print, the mould and its rigging, a computed freezing of that
    very mould, metal, sand and fuel to have ready, and a shop card.
    """


@group.command()
@click.argument("part", type=click.Path())
@_asking
@_answering
def plan(**given: Any) -> int:
    """Plan the casting of PART (STL, OBJ, PLY, 3MF or STEP)."""
    from strickle.cli.work import plan_part

    return plan_part(**given)


@group.command()
@click.argument("part", type=click.Path())
@_asking
@_answering
def look(**given: Any) -> int:
    """Like plan, but quick: it solves no freezing and tries no changes, so it cannot say that a casting is sound."""
    from strickle.cli.work import look_part

    return look_part(**given)


@group.command()
@click.argument("job", type=click.Path())
@click.option("--until", type=Spelt(STAGES), help="Stop after this stage.")
@_answering
def resume(**given: Any) -> int:
    """Go on with a job folder: after a stop, or after a change in its job.toml."""
    from strickle.cli.work import resume_job

    return resume_job(**given)


@group.command()
@click.argument("job", type=click.Path())
@click.option("--at", metavar='"X, Y, Z: NX,NY,NZ; ..."', help='Where to cut: a point and a direction, or "z 40 mm". Default: looked for.')
@click.option("--clear", metavar='"X, Y, Z; ..."', help="Places of the part that no cut may come near.")
@click.option("--cuts", type=click.IntRange(1, 4), default=2, help="Cuts at the most where they are looked for. Default: 2.")
@click.option("--join", type=Spelt(["weld", "bolt"]), default="weld", help="How the castings are joined. Default: weld.")
@click.option("--stock", metavar='"2 mm"', help="Stock to dress off each splice's face. Default: by the size of the part.")
@click.option(
    "--bevel", type=Spelt(["filed", "cast"]), default="filed", help="Whether the edges to weld are filed after casting or cast on. Default: filed."
)
@click.option("--to", metavar="DIR", type=click.Path(), help="Folder for the castings' jobs. Default: beside JOB.")
@click.option("--until", type=Spelt(STAGES), help="Plan each casting up to this stage.")
@_answering
def divide(**given: Any) -> int:
    """Cast the part of a job in pieces: cut it, and plan each casting in a job folder of its own.

    JOB is a folder that strickle look or plan has made. Its castings.json holds each casting beside the part as one.
    """
    from strickle.cli.divided import divide_job

    return divide_job(**given)


@group.command()
@click.argument("name", metavar=f"[{'|'.join(DEMOS)}]", default=DEMOS[0])
@click.option("--out", metavar="DIR", type=click.Path(), help="Job folder. Default: demo.job here, or handwheel.job, plate.job.")
@click.option("--preset", type=Spelt(["rough", "shop", "fine"]), help="How finely to solve. Default: shop.")
@_answering
def demo(**given: Any) -> int:
    """Plan a built-in example, part of an old treadle lathe (invented): the bracket, the handwheel or the maker's plate."""
    from strickle.cli.work import plan_demo

    return plan_demo(**given)


@group.command()
@click.argument("what", type=Spelt(["show", "path", "gauges"]), default="show")
@click.option("--set", "entries", multiple=True, metavar='NAME="VALUE UNIT"', help='Change an entry, e.g. --set sand_mass="40 kg".')
@click.option("--metals", is_flag=True, help="List the alloys by key and family.")
@click.option("--file", "path", metavar="FILE", type=click.Path(), help="Another kit file than the shop's own.")
@click.option("--to", metavar="DIR", type=click.Path(), default=".", help="Folder for the gauges. Default: here.")
@click.option("--json", "as_json", is_flag=True, help="Print the kit as JSON, SI.")
def kit(**given: Any) -> int:
    """Show the shop's kit, say where its file is, change entries of it, or write the gauges to print.

    strickle kit gauges writes a bar box and a pocket gauge, with which you measure your own sand in ten minutes, and pins for a flask without.

    Pots, furnaces and flasks are added and removed in the file itself: strickle kit path says where it is.
    """
    from strickle.cli.shop import kit as run

    return run(**given)


@group.command(context_settings={"ignore_unknown_options": True, "allow_extra_args": True})
@click.argument("rule", required=False)
@click.option("--list", "listed", is_flag=True, help="List the rules with their inputs.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@click.option("--units", type=Spelt(["metric", "us"]), help="Units of the answer in words. Default: the kit's.")
@click.argument("inputs", nargs=-1, type=click.UNPROCESSED)
def reckon(**given: Any) -> int:
    """Work out one rule of the trade: strickle reckon RULE --name "value unit" ...

    strickle reckon RULE alone shows what it wants.
    """
    from strickle.cli.rules import reckon as run

    return run(**given)


@group.command()
@click.argument("job", type=click.Path())
@click.option("--what", required=True, type=Spelt(SHAPES), help="What to write.")
@click.option("--to", required=True, metavar="DIR", type=click.Path(), help="Folder to write into.")
def export(**given: Any) -> int:
    """Write a job's pieces, fields or numbers in another form."""
    from strickle.cli.shop import export as run

    return run(**given)


@group.command()
def warm() -> int:
    """Compile the kernels once, so that the first plan does not wait for it."""
    from strickle.cli.shop import warm as run

    return run()


@group.command()
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def doctor(**given: Any) -> int:
    """Say what is installed, where things are kept, and what is wrong."""
    from strickle.cli.shop import doctor as run

    return run(**given)
