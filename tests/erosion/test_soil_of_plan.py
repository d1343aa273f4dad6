"""R and C as a plan asks for them: one way each, never mixed."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from districtplan import erosion
from districtplan.erosion import cover, erosivity
from districtplan.handbook import packaged
from tests.conftest import plan_of
from tests.support import assessed

BOOK = packaged()
MONTHS = [60.0, 70, 130, 220, 160, 40, 30, 35, 45, 110, 160, 90]


def soil(**keys):
    return plan_of(soil=keys).soil


def test_rain_of_months_adds_up_for_equations_by_the_year():
    by_months = erosivity.of_plan(soil(rain_equation="lo", rain_monthly_mm=MONTHS), BOOK)
    by_year = erosivity.of_plan(soil(rain_equation="lo", rain_annual_mm=1150), BOOK)
    assert by_months == by_year
    assert by_year.r == pytest.approx(4040.46)


def test_months_give_the_index():
    found = erosivity.of_plan(
        soil(rain_equation="renard_freimund_fournier", rain_monthly_mm=MONTHS), BOOK
    )
    assert found.rain_mm == pytest.approx(131.26, abs=0.005)
    assert erosivity.fournier([0.0] * 12) == 0.0


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ({"rain_equation": "lo"}, "needs the rain"),
        ({"rain_annual_mm": 900}, "without rain_equation"),
        ({"rain_equation": "lo", "rain_annual_mm": 900, "rain_monthly_mm": MONTHS}, "needs the"),
        (
            {
                "rain_equation": "lo",
                "rain_annual_mm": 900,
                "rain_erosivity_mj_mm_ha_h_yr": 4000,
            },
            "Give one of them",
        ),
        ({"rain_equation": "renard_freimund_fournier", "rain_annual_mm": 900}, "goes by months"),
        ({"rain_equation": "any", "rain_annual_mm": 900}, "isn't one of"),
        ({"rain_equation": "lo", "rain_monthly_mm": MONTHS[:11]}, "at least 12"),
        ({"rain_equation": "lo", "rain_monthly_mm": [0.0] * 12}, "0 in all months"),
        ({"cover": "morgan cowpeas", "cover_factor": 0.3}, "Give one of them"),
        ({"cover": "beans"}, "isn't one of"),
    ],
)
def test_ways_are_never_mixed(keys, told):
    with pytest.raises(ValidationError, match=told):
        soil(**keys)


def test_rain_outside_its_region_is_doubted():
    def said(name, rain_mm):
        return erosion.doubts(
            plan_of(soil={"rain_equation": name, "rain_annual_mm": rain_mm}), BOOK
        )

    assert said("hurni", 100.0) == [
        "rain_equation = hurni gives R = 472 MJ mm/(ha h yr), outside 500 to 12000. "
        "Check the rain, and whether the equation is of your region."
    ]
    assert said("hurni", 2000.0) == said("lo", 1200.0) == []
    assert "doubted outside 100 to 2400 mm of annual rain" in said("hurni", 2401.0)[0]
    assert "of this region: Hawaii" in said("lo", 499.0)[0]
    assert "gives no R at 200 mm" in said("moore_a", 200.0)[0]
    assert erosivity.of_plan(soil(rain_equation="moore_a", rain_annual_mm=200), BOOK).r is None


def test_cover_is_the_middle_of_its_range_with_the_ranges_spread():
    found = cover.of_plan(soil(cover="morgan maize high yield tilled"), BOOK)
    assert found.c == pytest.approx((0.2 * 0.55) ** 0.5)
    assert found.c * found.spread_factor == pytest.approx(0.55)
    assert found.author == "morgan"
    mulched = cover.of_plan(soil(cover="hurni cereals and pulses", mulch_cover_pct=30), BOOK)
    assert mulched.c == pytest.approx(0.15 * 0.35, rel=0.001)
    assert mulched.spread_factor == BOOK.number("loss_spread", "cover_given_factor")
    given = cover.of_plan(soil(cover_factor=0.2, mulch_cover_pct=50), BOOK)
    assert given.c == pytest.approx(0.2 * 0.1738, rel=0.001)
    assert cover.of_plan(soil(), BOOK).c is None


def test_an_author_without_p_is_said_and_gives_none():
    keys = {
        "rain_equation": "roose",
        "rain_annual_mm": 900,
        "erodibility_t_ha_h_ha_mj_mm": 0.02,
        "cover": "roose groundnut",
    }
    plan = plan_of(soil=keys, practice={"row_form": "ridges"})
    assert any("no P of rows on the contour" in said for said in erosion.doubts(plan, BOOK))
    found = assessed(10.0, 30.0, plan).iloc[0]
    assert found["p_contour"] == 1.0
    assert found["r"] == pytest.approx(900 * 0.5 * 17.02)
    assert plan.tonnes
