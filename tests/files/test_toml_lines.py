from __future__ import annotations

import tomllib

from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan.files.plan_keys import literal
from districtplan.files.toml_lines import lines_of

TEXT = '''# a comment with [brackets] = and "quotes"
top = 1
a.b."c d" = 2 # dotted
[table]
x = """
not = a key
[nor] a table ""quoted""
"""
y = [
  1, # ]
  [2, "]"],
  {p = 3, "q" = [4]},
]
'lit"eral' = 5
z = \'\'\'
[still] inside\'\'\'
[[items]]
n = 1
[[items]]
n = 2
  [items.sub]
  "\\u0041" = 2026-03-15
'''


def test_every_place_has_its_line():
    tomllib.loads(TEXT)
    lines = lines_of(TEXT)
    assert lines["top",] == 2
    assert lines["a", "b", "c d"] == 3
    assert lines["table",] == 4
    assert lines["table", "x"] == 5
    assert lines["table", "y"] == 9
    assert lines["table", "y", 0] == 10
    assert lines["table", "y", 1, 1] == 11
    assert lines["table", "y", 2, "q", 0] == 12
    assert lines["table", 'lit"eral'] == 14
    assert lines["table", "z"] == 15
    assert lines["items", 0, "n"] == 18
    assert lines["items", 1, "n"] == 20
    assert lines["items", 1, "sub", "A"] == 22
    assert not any("not" in place or "nor" in place or "still" in place for place in lines)


@settings(deadline=None)
@given(st.dictionaries(st.text(st.characters(codec="ascii"), max_size=8), st.text(), max_size=8))
def test_one_key_a_line_whatever_it_is_called(table):
    text = "".join(f"{literal(key)} = {literal(value)}\n" for key, value in table.items())
    assert tomllib.loads(text) == table
    assert lines_of(text) == {(key,): line for line, key in enumerate(table, start=1)}
