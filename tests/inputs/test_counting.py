"""Whole numbers: halves, packs, sums."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan.errors import InputError
from districtplan.inputs import counting

# Sizes as people write them: up to three decimals, 1 g to 1 t.
pack_sizes = st.integers(1, 1_000_000).map(lambda grams: grams / 1000)


@settings(deadline=None)
@given(st.decimals(0, 1_000_000, places=4))
def test_half_up_is_decimal_rounding(number):
    found = counting.half_up(pd.Series([float(number)]))
    assert found[0] == int(number.quantize(Decimal(1), ROUND_HALF_UP))


@pytest.mark.parametrize(
    ("number", "whole"), [(0.5, 1), (1.5, 2), (2.5, 3), (0.49999, 0), (4.35 * 100 / 10 - 0.0, 44)]
)
def test_float_noise_does_not_turn_a_half(number, whole):
    assert counting.half_up(pd.Series([number]))[0] == whole


@settings(deadline=None)
@given(st.integers(0, 10**14), pack_sizes)
def test_packs_hold_the_need_and_no_pack_is_spare(need_g, pack_kg):
    count = counting.packs(need_g, pack_kg)
    size_g = Fraction(str(pack_kg)) * 1000
    assert count * size_g >= need_g
    assert (count - 1) * size_g < need_g or count == 0


@settings(deadline=None)
@given(st.lists(st.integers(0, 10**12), max_size=8), pack_sizes)
def test_packs_of_many_are_those_of_each(needs, pack_kg):
    found = counting.packs_each(np.array(needs, dtype=np.int64), pack_kg)
    assert found.tolist() == [counting.packs(grams, pack_kg) for grams in needs]


def test_packs_of_very_much_are_exact():
    huge = np.array([2**62], dtype=np.int64)
    assert counting.packs_each(huge, 0.0015).tolist() == [counting.packs(2**62, 0.0015)]


def test_sum_keeps_every_digit():
    assert counting.exact_sum([2**53, 1, 1], "seed_g") == 2**53 + 2


def test_sum_too_large_for_the_files_is_told():
    with pytest.raises(InputError, match=r"total of seed_g.*9223372036854775808.*areas"):
        counting.exact_sum([np.iinfo(np.int64).max, 1], "seed_g")
