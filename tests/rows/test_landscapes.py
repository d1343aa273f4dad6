"""The table of guide lines on invented landscapes is still what the command finds."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from districtplan.rows import arc, level_lines, sectors
from tests import guide_lines
from tests.support import published

TABLE = published("guide_line_landscapes")
EXACT, TRUE_10, BLURRED = ("", "", ""), ("10.00", "0.00", "0.00"), ("10.00", "1.00", "30.00")
SURE = 4.0
"""Standard errors by which a mean over other plots may differ."""


def differs(land: str, raster: tuple[str, ...], found: dict) -> list[str]:
    """Say where plots of another seed differ from the table by more than plots do."""
    rows = {
        row["scheme"] + (guide_lines.ERRS if float(row["level_error_pct"]) else ""): row
        for row in TABLE
        if (row["land"], row["cell_m"], row["error_m"], row["error_length_m"]) == (land, *raster)
    }
    assert set(found) <= set(rows)
    said = []
    for scheme, numbers in found.items():
        row = rows[scheme]
        # The gain over straight rows on the same plots spreads less than what is within.
        for what in ("within", "gain"):
            error = float(row[f"{what}_sd_pct"]) * np.hypot(
                *(1 / np.sqrt([numbers["plots"], int(row["plots"])]))
            )
            off = numbers[f"{what}_pct"] - float(row[f"{what}_pct"])
            if abs(off) > SURE * error + 0.5:
                said.append(f"{land} {raster} {scheme}: {what} off by {off:.1f} ± {error:.1f}")
    return said


def arcs(seed: int, land: str, raster: tuple[str, ...], count: int) -> dict:
    cell = tuple(float(part) for part in raster)
    return guide_lines.summed(
        [
            guide_lines.planned(one)
            for region in guide_lines.regions(seed, land, count)
            for one in region.seen(*cell)
        ]
    )


def picked(seed: int, land: str, raster: tuple[str, ...], count: int) -> dict:
    cell = tuple(float(part) for part in raster)
    return guide_lines.summed(
        [
            guide_lines.planned(one) | guide_lines.chosen(region.rng, one)
            for region in guide_lines.regions(seed, land, count)
            for one in region.seen(*cell)
        ]
    )


def on_the_ground(seed: int, land: str, count: int) -> dict:
    return guide_lines.summed(
        [
            guide_lines.on_the_ground(region.rng, *plot)
            for region in guide_lines.regions(seed, land, count)
            for plot in region.plots
        ]
    )


@pytest.mark.parametrize(("land", "raster"), [("smooth", TRUE_10), ("medium", BLURRED)])
def test_arcs_keep_what_the_table_says(land, raster):
    assert differs(land, raster, arcs(20_261_135, land, raster, 20)) == []


def test_lines_that_are_levelled_keep_what_the_table_says():
    assert differs("medium", EXACT, on_the_ground(20_261_136, "medium", 8)) == []


def test_what_is_chosen_keeps_what_the_table_says():
    assert differs("medium", BLURRED, picked(20_261_137, "medium", BLURRED, 8)) == []


@pytest.mark.slow
@pytest.mark.parametrize("land", guide_lines.LANDS)
@pytest.mark.parametrize("raster", [*guide_lines.RASTERS, None], ids=str)
def test_every_row_of_the_table(land, raster):
    if raster is None:
        assert differs(land, EXACT, on_the_ground(20_261_138, land, 40)) == []
    else:
        told = tuple(f"{part:.2f}" for part in raster)
        assert differs(land, told, picked(20_261_138, land, told, 40)) == []


FAULTS = {
    "no bend": (arc, "fit", lambda xy, g, slack: arc.straight(xy, g)),
    "no parts": (sectors, "split", lambda parts, *others: parts),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_worse_arc_would_be_seen(fault, monkeypatch):
    monkeypatch.setattr(*FAULTS[fault])
    assert differs("smooth", TRUE_10, arcs(20_261_135, "smooth", TRUE_10, 20))


def test_fewer_level_lines_would_be_seen(monkeypatch):
    place = level_lines.place
    monkeypatch.setattr(
        level_lines, "place", lambda lines, z, count: place(lines, z, max(count // 2, 1))
    )
    assert differs("medium", EXACT, on_the_ground(20_261_136, "medium", 8))


def test_the_handbook_for_contributors_shows_the_table():
    told = Path(guide_lines.__file__).parent.with_name("DEVELOPERS.md").read_text(encoding="utf-8")
    for part in guide_lines.markdown(TABLE).split("\n\n"):
        assert part.strip() in told
