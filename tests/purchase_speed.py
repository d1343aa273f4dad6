"""How long it takes to say what 100,000 plots buy: ``python -m tests.purchase_speed``."""

from __future__ import annotations

import sys
import time

import numpy as np
import pandas as pd
import shapely

from districtplan import inputs
from districtplan.handbook import packaged
from tests.conftest import plan_of
from tests.support import needed

PLOTS, VILLAGES, CORNERS = 100_000, 400, 12
PLAN = {
    "practice": {
        "hundred_seed_weight_g": 40.0, "npk_kg_ha": 100.0, "urea_kg_ha": 40.0,
        "manure_kg_ha": 3_000.0,
    },
    "money": {
        "seed_price_kg": 2.0, "npk_price_kg": 1.0, "urea_price_kg": 1.0, "manure_price_kg": 0.1,
    },
    "labour": {"planting_days_ha": 20.0, "peg_and_dig_days_ha": 40.0},
}  # fmt: skip
LIMIT_S = 5.0
"""No district may take longer on two cores."""
PACKS = {"seed_pack_kg": 2.0, "npk_pack_kg": 50.0, "urea_pack_kg": 50.0, "vehicle_kg": 5_000.0}


def main() -> None:
    """Time a district that buys by village, and one that buys by plot."""
    rng = np.random.default_rng(1)
    area = rng.uniform(0.05, 0.6, PLOTS)
    turn = np.linspace(0, 2 * np.pi, CORNERS, endpoint=False)
    radius = np.sqrt(area * 10_000 / np.pi)[:, None, None]
    outlines = shapely.polygons(radius * np.stack([np.cos(turn), np.sin(turn)], axis=-1))
    ids = [f"P{number}" for number in range(PLOTS)]
    listed = pd.DataFrame(dict.fromkeys(inputs.ENROLMENT, ""), index=range(PLOTS)).assign(
        plot_id=ids,
        enrolled="yes",
        consent="yes",
        source_row=range(1, PLOTS + 1),
        reason=pd.Series([None] * PLOTS, dtype=object),
        remedy=pd.Series([None] * PLOTS, dtype=object),
    )
    slow = []
    for level in ("village", "plot"):
        plan = plan_of(**PLAN, orders={**PACKS, "bought_at": level}).under(packaged())
        joined = needed(area, plan).assign(
            plot_id=ids,
            village=[f"V{number % VILLAGES:03d}" for number in range(PLOTS)],
            area_ha=area,
            slope_used_pct=rng.uniform(2, 60, PLOTS),
            row_length_m=area * 20_000,
        )
        start = time.perf_counter()
        enrolled = inputs.accept_enrolment(listed, joined)
        found = inputs.purchase(joined, outlines, enrolled.used, plan, packaged())
        seconds = time.perf_counter() - start
        print(  # noqa: T201 - this script's result
            f"{PLOTS:,} plots, bought by {level}: {seconds:.1f} s, {len(found.orders):,} orders"
        )
        if seconds >= LIMIT_S:
            slow.append(level)
    if slow:
        sys.exit(f"slower than {LIMIT_S:g} s: bought by {' and by '.join(slow)}")


if __name__ == "__main__":
    main()
