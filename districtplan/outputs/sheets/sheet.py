"""What a plot sheet and a wall sheet say and show, in words and local metres, before any drawing.

Drawings are in metres east and north of a point in the plot, true north up.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

Picture = Literal["seed", "sack", "banded sack", "manure", "string", "peg", "level"]
Care = Literal["hoe", "by hand", "apart", "cap", "hands", "dressed", "digging", "steep", "law"]


class Mark(NamedTuple):
    """A point of a drawing with its sign.

    Attributes
    ----------
    east_m : float
        Metres east.
    north_m : float
        Metres north.
    sign : str
        Letter of a corner, number of a peg or of a place to measure.
    """

    east_m: float
    north_m: float
    sign: str


class Taken(NamedTuple):
    """Land in a plot that has no rows.

    Attributes
    ----------
    rings : tuple[numpy.ndarray, ...]
        Its closed rings, shape (points, 2) each [m].
    at : tuple[tuple[float, float], ...]
        Points in it where its name may stand, east and north, the best first [m].
    word : str
        What is there.
    """

    rings: tuple[Floats, ...]
    at: tuple[tuple[float, float], ...]
    word: str


class Fall(NamedTuple):
    """Which way the ground falls.

    Attributes
    ----------
    true_deg : float
        Direction from true north, clockwise [degrees].
    label : str
        What is written at the arrow.
    of_hillside : bool
        Whether it is the fall of the hillside around, not the plot's.
    at : tuple[float, float] | None, default None
        Where on a line it is so, east and north [m]; None over all of the plot.
    """

    true_deg: float
    label: str
    of_hillside: bool
    at: tuple[float, float] | None = None


@dataclass(frozen=True)
class Drawing:
    """A plot as it will look.

    Attributes
    ----------
    rings : tuple[numpy.ndarray, ...]
        Closed rings of the outline and of its holes, shape (points, 2) each [m].
    rows : tuple[numpy.ndarray, ...]
        Rows of beans drawn, shape (points, 2) each [m].
    maize : tuple[numpy.ndarray, ...]
        Rows of maize drawn, shape (points, 2) each [m].
    guides : tuple[numpy.ndarray, ...]
        Guide lines, shape (points, 2) each [m].
    boundaries : tuple[numpy.ndarray, ...]
        Lines between parts that have a guide line each, shape (points, 2) each [m].
    taken : tuple[Taken, ...]
        Land in it without rows.
    breaks : tuple[tuple[float, float], ...]
        Where rows are broken, east and north [m].
    pegs : tuple[Mark, ...]
        Pegs with their numbers.
    starts : tuple[int, ...]
        Which of them start a line.
    places : tuple[Mark, ...]
        Where to measure.
    corners : tuple[Mark, ...]
        Corners with their letters.
    falls : tuple[Fall, ...]
        Which way the ground falls: over all of the plot, or at each line; none where it isn't
        known.
    dashed : bool
        Whether the edge is dashed, since the bearing isn't known.
    cross : tuple[numpy.ndarray, ...]
        Strokes of a cross where no beans may stand, shape (points, 2) each [m].
    """

    rings: tuple[Floats, ...]
    rows: tuple[Floats, ...] = ()
    maize: tuple[Floats, ...] = ()
    guides: tuple[Floats, ...] = ()
    boundaries: tuple[Floats, ...] = ()
    taken: tuple[Taken, ...] = ()
    breaks: tuple[tuple[float, float], ...] = ()
    pegs: tuple[Mark, ...] = ()
    starts: tuple[int, ...] = ()
    places: tuple[Mark, ...] = ()
    corners: tuple[Mark, ...] = ()
    falls: tuple[Fall, ...] = ()
    dashed: bool = False
    cross: tuple[Floats, ...] = ()


class Carried(NamedTuple):
    """One thing to carry.

    Attributes
    ----------
    picture : str
        What it looks like.
    amount : str
        How much, as printed big.
    name : str
        Unit and name.
    """

    picture: Picture
    amount: str
    name: str


class Headline(NamedTuple):
    """What is printed biggest beside the drawing: the one bearing, or what to do instead.

    Attributes
    ----------
    title : str
        What it is.
    big : str
        Both ends of the bearing, or one word.
    notes : tuple[str, ...]
        Sentences below it.
    """

    title: str
    big: str
    notes: tuple[str, ...]


class Table(NamedTuple):
    """A small table.

    Attributes
    ----------
    title : str
        What it is; empty where its first head says so.
    rows : tuple[tuple[str, ...], ...]
        Its cells, all rows of the same length; the first row and the first column are heads.
    """

    title: str
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Blanks:
    """What is written in by hand.

    Attributes
    ----------
    title : str
        What to write.
    labels : tuple[str, ...]
        Sign of each box.
    lines : tuple[str, ...]
        Words before open lines below the boxes.
    """

    title: str
    labels: tuple[str, ...]
    lines: tuple[str, ...]


@dataclass(frozen=True)
class Part:
    """Sentences under a heading.

    Attributes
    ----------
    title : str
        The heading.
    sentences : tuple[str, ...]
        The sentences.
    care : tuple[Care, ...], default none
        What is drawn beside them: of cautions one each; of weedings how one weeds, and how where
        flowers are open.
    """

    title: str
    sentences: tuple[str, ...]
    care: tuple[Care, ...] = ()


@dataclass(frozen=True)
class Common:
    """What all sheets of a run share.

    Attributes
    ----------
    district : str
        Name of the district, as given.
    season : str
        When planting is.
    weedings : Part
        Heading, then the day to write down, then a line a weeding, then what to mind.
    cautions : Part
        What to take care of.
    north : str
        Letter at the north arrow.
    """

    district: str
    season: str
    weedings: Part
    cautions: Part
    north: str


@dataclass(frozen=True)
class How:
    """What a village's sheets share and a team reads once.

    Attributes
    ----------
    title : str
        What it is.
    parts : tuple[Part, ...]
        The string, then each level.
    """

    title: str
    parts: tuple[Part, ...]


@dataclass(frozen=True)
class Sheet:
    """One plot sheet.

    Attributes
    ----------
    plot_id : str
        Id of the plot, as given.
    village : str
        Its village, as given.
    farmer : str | None
        The farmer's name, as given; None where the plan asks for none.
    facts : str
        Area and place in a line.
    source : str
        Row of the plots file, by which the plot is known however its id had to be shortened.
    alarm : str | None
        What must be seen first; None where there is nothing.
    headline : Headline
        The bearing, or what to do instead.
    carried : tuple[Carried, ...]
        What to carry.
    carry_title : str
        Heading of that.
    drawing : Drawing
        The plot.
    drawing_note : str
        What the drawing shows and leaves out.
    water : Part | None
        What to know of water before rows are set; None where nothing is.
    walk : Part
        How to set out the rows, step by step.
    totals : Part | None
        What the string carries, and what the rows come to; None where there are no rows.
    blanks : Blanks | None
        Readings to write in; None where nothing is to be measured.
    pocket : Table | None
        The pocket table, by which the agent goes on; None where nothing is to be measured.
    ties : Part | None
        Where lines start and end; None where none is named.
    reading : Part | None
        How the table of pegs is read; None where there are none.
    pegs : Table | None
        The control pegs; None where there are none.
    farmer_words : Part
        What to read to the farmer.
    """

    plot_id: str
    village: str
    farmer: str | None
    facts: str
    source: str
    alarm: str | None
    headline: Headline
    carried: tuple[Carried, ...]
    carry_title: str
    drawing: Drawing
    drawing_note: str
    water: Part | None
    walk: Part
    totals: Part | None
    blanks: Blanks | None
    pocket: Table | None
    ties: Part | None
    reading: Part | None
    pegs: Table | None
    farmer_words: Part


class WallPlot(NamedTuple):
    """One plot of a wall sheet.

    Attributes
    ----------
    plot_id : str
        Id of the plot, as given.
    drawing : Drawing
        The plot, in the metres of its village.
    cells : tuple[str, ...]
        What the list says of it after its number, id and square.
    """

    plot_id: str
    drawing: Drawing
    cells: tuple[str, ...]


@dataclass(frozen=True)
class Wall:
    """One wall sheet.

    Attributes
    ----------
    village : str
        The village, as given.
    finding : tuple[str, ...]
        What matters most, in sentences.
    totals : tuple[Carried, ...]
        What the village needs.
    totals_title : str
        Heading of that.
    map_note : str
        What the map shows.
    heads : tuple[str, ...]
        Heads of the list's columns, number, id and square among them.
    plots : tuple[WallPlot, ...]
        The village's plots, in the order of the list.
    """

    village: str
    finding: tuple[str, ...]
    totals: tuple[Carried, ...]
    totals_title: str
    map_note: str
    heads: tuple[str, ...]
    plots: tuple[WallPlot, ...]
