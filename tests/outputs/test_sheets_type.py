"""The typeface's Latin letters, which nearly all sheets make do with, beside the whole of it."""

from __future__ import annotations

import unicodedata
from datetime import date

import pytest
import uharfbuzz

from districtplan.outputs.sheets import names, paper
from districtplan.outputs.sheets.paper import LATIN, WHOLE, Paper
from districtplan.outputs.texts import Texts

LANGUAGES = ("en", "fr")


def font(family, style):
    return uharfbuzz.Font(uharfbuzz.Face(uharfbuzz.Blob.from_file_path(paper._path(family, style))))


def drawn(cut, sign):
    """Advance and outline of a sign."""
    glyph = cut.get_nominal_glyph(sign)
    steps = []
    funcs = uharfbuzz.DrawFuncs()
    for name in ("move_to", "line_to", "quadratic_to", "cubic_to"):
        getattr(funcs, f"set_{name}_func")(lambda *at, name=name: steps.append((name, at[:-1])))
    funcs.set_close_path_func(lambda *_: steps.append(("close",)))
    cut.draw_glyph(glyph, funcs, None)
    return cut.get_glyph_h_advance(glyph), steps


@pytest.mark.parametrize("style", ["", "B"])
def test_the_letters_are_those_of_the_whole(style):
    latin, whole = font(LATIN, style), font(WHOLE, style)
    assert set(latin.face.unicodes) == paper._latin()
    assert len(paper._latin()) > 500
    assert all(drawn(latin, sign) == drawn(whole, sign) for sign in paper._latin())


def test_all_words_of_the_catalogue_are_in_it_and_no_sign_that_needs_shaping():
    for language in LANGUAGES:
        told = set("".join(Texts.load(language).entries.values()))
        assert {sign for sign in told if sign.isprintable() and not paper._is_latin(sign)} == set()
    assert all(names.is_plain(chr(sign)) for sign in paper._latin())


def test_other_letters_are_set_from_the_whole():
    page = Paper("a", date(2026, 3, 15), "en")
    page.page()
    page.write("Tilverra", 10, 10)
    assert set(page.pdf.fonts) == {LATIN}
    decomposed = unicodedata.normalize("NFD", "é")
    for name in ("Ряд", decomposed):
        page.name(name, paper.Box(10, 20, 60, 8), paper.PLAIN)
        assert set(page.pdf.fonts) == {LATIN, WHOLE}
