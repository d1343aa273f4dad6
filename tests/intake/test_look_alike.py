from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from districtplan import intake
from districtplan.intake import look_alike
from districtplan.intake.look_alike import LISTED


def frame(ids, villages=None, shapes=None):
    count = len(ids)
    shapes = shapes or [shapely.box(at, 0, at + 1, 1) for at in range(count)]
    return pd.DataFrame(
        {"plot_id": ids, "village": villages or ["V"] * count,
         "geometry": np.array(shapes, dtype=object)}
    )  # fmt: skip


def test_names_that_differ_are_no_doubt():
    villages = ["Kibo", "Kibo", "Kiba", "Kíbo", "Ki bo"]
    assert look_alike.doubts(frame(["a", "b", "c", "ä", "a-1"], villages)) == []
    assert look_alike.doubts(frame([])) == []


def test_villages_that_look_alike_are_told():
    villages = [
        "Kibo",
        "kibo",
        "Kibo ",
        "Straße",
        "STRASSE",
        "Tíl",
        "Ti\u0301l",
        "A  b",
        "A\u00a0b",
    ]
    (told,) = look_alike.doubts(frame([str(at) for at in range(9)], villages))
    assert told.startswith("Villages that differ only")
    for group in (
        "'Kibo' and 'kibo' and 'Kibo '", "'Straße' and 'STRASSE'", "'Tíl' and 'Ti\u0301l'",
        "'A  b' and 'A\\xa0b'",
    ):  # fmt: skip
        assert group in told


def test_a_spelling_with_a_suggestion_is_told_of_once_with_one_remedy():
    villages = ["Kibo", "kibo", "Pala", "pala"]
    (told,) = look_alike.doubts(frame(list("abcd"), villages), {"kibo"})
    assert "'Pala' and 'pala'" in told
    assert "ibo" not in told
    plots = frame(list("abc"), villages[:3]).assign(outline_repair=None, overlap_plots=None)
    suggested = pd.DataFrame({"village_as_given": ["kibo", "Kibo"], "suggested": ["Kibo", None]})
    assert intake.doubts(plots, suggested) == []
    assert "Make them one" in intake.doubts(plots)[0]


def test_ids_that_look_alike_are_told():
    (told,) = look_alike.doubts(frame(["A-1", "a-1", "\uff21-1", "A-2"]))
    assert told.startswith("Plot ids that differ only")
    assert "'A-1' and 'a-1' and '\uff21-1'." in told
    assert "A-2" not in told


def test_one_outline_under_several_ids_is_told_however_it_is_drawn():
    square = shapely.Polygon([(0, 0), (1, 0), (1, 1), (0, 1)])
    turned = shapely.Polygon([(1, 1), (1, 0), (0, 0), (0, 1)])
    (told,) = look_alike.doubts(
        frame(["a", "b", "c"], shapes=[square, turned, shapely.box(0, 0, 1, 2)])
    )
    assert "very same outline" in told
    assert "'a' and 'b'." in told


def test_the_list_is_bounded():
    ids = [name for at in range(500) for name in (f"p{at}" + "x" * 150, f"P{at}" + "x" * 150)]
    shape = shapely.box(0, 0, 1, 1)
    names, outlines = look_alike.doubts(frame(ids, shapes=[shape] * len(ids)))
    assert f"{500 - LISTED} more" in names
    assert f"{1000 - LISTED} more" in outlines
    assert len(names) < 2000
    assert len(outlines) < 1000
