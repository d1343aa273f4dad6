"""The error of a walked outline's area, against walks that know nothing of the formula."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from pyproj import Transformer

from districtplan import pipeline
from tests.conftest import middle, small_district, write_district

WALKS = 300
ERROR_M = 3.0


def walked(rng, corners, alike_m):
    """Walk the corners again and again, each point off by 3 m along each axis."""
    apart = np.linalg.norm(corners[:, None] - corners[None], axis=-1)
    alike = np.exp(-apart / alike_m) if alike_m else np.eye(len(corners))
    root = np.linalg.cholesky(alike + 1e-12 * np.eye(len(corners)))
    noise = rng.standard_normal((WALKS, len(corners), 2))
    return corners + ERROR_M * np.einsum("ij,wjk->wik", root, noise)


@pytest.mark.parametrize(
    ("points", "alike_m"),
    [
        pytest.param(9, 0.0, id="corners", marks=pytest.mark.slow),
        pytest.param(40, 60.0, id="dense"),
    ],
)
def test_the_reported_error_is_that_of_walks_read_from_a_file(points, alike_m, tmp_path):
    """Walks of one field go through the whole run; their areas scatter as each of them says."""
    _, raster = small_district()
    turn = np.linspace(0, 2 * np.pi, points, endpoint=False)
    centre = np.array(middle(raster)) + np.array([100.0, -50.0])
    corners = centre + np.column_stack([45 * np.cos(turn), 30 * np.sin(turn)])
    walks = walked(np.random.default_rng(20_260_611), corners, alike_m)
    to_degrees = Transformer.from_crs(raster.grid.crs, 4326, always_xy=True)
    lines = ["plot_id,village,order,latitude,longitude"]
    for number, walk in enumerate(walks):
        for order, (x, y) in enumerate(zip(*to_degrees.transform(*walk.T), strict=True)):
            lines.append(f"W{number},Ostrabek,{order},{y:.9f},{x:.9f}")
    plots, _ = small_district()
    plan = write_district(tmp_path, plots, raster)
    (tmp_path / "walks.csv").write_text("\n".join(lines))
    text = plan.read_text().replace("plots.gpkg", "walks.csv")
    plan.write_text(f"{text}[enrolment]\noutline_alike_m = {alike_m}\n[sheets]\nplots = 'none'\n")
    found = pipeline.find(plan).plots
    assert len(found) > 0.97 * WALKS
    # With 300 walks the scatter itself is known to 4 %.
    reported = found["area_se_ha"].median()
    assert found["area_ha"].std() == pytest.approx(reported, rel=0.13)
    assert found["area_ha"].mean() == pytest.approx(shapely.Polygon(corners).area / 1e4, rel=0.03)
