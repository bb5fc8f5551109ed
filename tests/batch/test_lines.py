"""Lines of keys: headers, nested tables, arrays of tables, inline tables, multi-line strings."""

import tomllib

from tourier.batch.lines import line_map, line_of

TEXT = '''# comment
name = "x"   # 2
[kitchen]    # 3
room = "20 C"
[kitchen.bench]
length = "1 m" # 6
"odd key" = 1
[[pieces]]
name = "a"
note = """
count = 99
[[pieces]]
"""
count = 1 # 14
[[pieces]]   # 15
name = "b"
  [pieces.extra]  # 17
  deep = 1
[formula]
milk = { percent = "25 %", temperature = "4 C" } # 20
list = [
  1, # not = a key
  2,
]
after = 3 # 25
dotted.key = 4
rows = [
  { a = 1 },  # 28
  { a = 2, b = [1, 2] },
]
last = 'x # = [ {' # 31
end = 1
'''


def test_every_key_has_its_line():
    tomllib.loads(TEXT)  # it is real TOML
    found = line_map(TEXT)
    for key, line in {
        "name": 2, "kitchen": 3, "kitchen.room": 4, "kitchen.bench": 5, "kitchen.bench.length": 6,
        "kitchen.bench.odd key": 7, "pieces[1]": 8, "pieces[1].name": 9, "pieces[1].note": 10, "pieces[1].count": 14,
        "pieces[2]": 15, "pieces[2].name": 16, "pieces[2].extra": 17, "pieces[2].extra.deep": 18, "formula": 19,
        "formula.milk": 20, "formula.milk.percent": 20, "formula.milk.temperature": 20, "formula.list": 21,
        "formula.after": 25, "formula.dotted.key": 26, "formula.rows": 27, "formula.rows[1].a": 28,
        "formula.rows[2].a": 29, "formula.last": 31, "formula.end": 32,
    }.items():  # fmt: skip
        assert found.get(key) == line, key


def test_unknown_keys_fall_back_to_the_table_around():
    found = line_map(TEXT)
    assert line_of(found, "pieces[2].height") == 15
    assert line_of(found, "kitchen.bench.width") == 5
    assert line_of(found, "nothing.at.all") == 0


def test_text_that_is_no_toml_does_no_harm():
    for text in ("[", "[[", "=", "a = [", 'a = "', 'a = """', "a.b.", "\x00", '"'):
        line_map(text)
