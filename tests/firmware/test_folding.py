"""What is put onto a board is the source with numbers for names, and without what no device file uses."""

from __future__ import annotations

import ast

from tourier.device.files import AT_THE_ROOT, device_files
from tourier.device.folding import fold, rename, shake

_ONE = '''"""One."""
from two import LIMIT, rate

_SPAN = 3 * LIMIT
TABLE = ("a", _SPAN)
WIDE = 1 << 10 | 3
used_later = 4


def over(value):
    return value > _SPAN or value < -WIDE  # as said


def unused():
    return TABLE


class Kept:
    def called(self):
        return over(rate(LIMIT))

    def forgotten(self):
        return unused()
'''
_TWO = '''"""Two."""
import one

LIMIT = 7
SET = 1


def rate(value):
    return value - LIMIT + one.WIDE


def shadow(LIMIT):
    return LIMIT
'''


def _run(sources: dict[str, str], call: str):
    import sys
    import types

    made = {name: types.ModuleType(name) for name in sources}
    kept = {name: sys.modules.get(name) for name in made}
    try:
        sys.modules.update(made)
        for name in ("two", "one"):
            exec(compile(sources[name], name, "exec"), made[name].__dict__)
        return eval(call, dict(made))
    finally:
        for name, before in kept.items():
            sys.modules.pop(name)
            if before is not None:
                sys.modules[name] = before


def test_a_folded_program_does_the_same_with_fewer_names():
    one = {"one": _ONE, "two": _TWO.replace("def shadow(LIMIT):\n    return LIMIT\n", "")}
    folded = fold(one)
    assert "LIMIT" not in folded["one"] and "WIDE" not in folded["one"] + folded["two"]
    assert "value > 21 or value < -1027" in folded["one"] and "1027" in folded["two"]
    shaken = shake(folded, {"Kept", "called"})
    assert "unused" not in shaken["one"] and "forgotten" not in shaken["one"] and "TABLE" not in shaken["one"]
    renamed = rename(shaken)
    assert "value" not in renamed["one"] + renamed["two"] and "Kept" in renamed["one"]
    for name in one:  # a crash log names lines of the source
        assert folded[name].count("\n") == shaken[name].count("\n") == one[name].count("\n")
    call = "one.Kept().called()"
    assert _run(one, call) == _run(folded, call) == _run(shaken, call) == _run(renamed, call) is True


def test_arguments_share_their_names_and_nothing_else_changes():
    source = """_TABLE = (1, 2)
_OTHER = (3,)


def outer(first, second, key=5, *rest, **more):
    third = [first + item for item in rest]

    def inner(deep, second=second):
        return deep + second + first

    return inner(key) + sum(third) + sum(map(lambda each: each * first, _TABLE + _OTHER)) + more.get("first", 0)


def call():
    return outer(1, 2, *(7, 8), first_=3) + outer(4, 5, key=6)


class One:
    def __init__(self, held):
        self.held = self._hidden = held
        self._also = 0

    def get(self, held):
        return self._hidden * 10 + held + self._also + self._method()

    def _method(self):
        return 0
"""
    renamed = rename({"one": source})["one"]
    for word in ("second", "deep", "_TABLE", "_OTHER", "rest", "_hidden", "_also"):
        assert word not in renamed
    assert "key=6" in renamed and "self.held" in renamed and "self._method()" in renamed and '"first"' in renamed
    before, after = {}, {}
    exec(source, before)
    exec(renamed, after)
    assert before["call"]() == after["call"]() and before["One"](3).get(4) == after["One"](3).get(4) == 34


def test_a_name_that_something_else_sets_keeps_its_name():
    assert "LIMIT = 7" in fold({"one": _ONE, "two": _TWO})["two"]  # shadowed by an argument: left alone
    changed = {"one": "import two\n\n\ndef f():\n    two.SET = 5\n", "two": "SET = 1\n"}
    assert fold(changed) == changed


def test_the_device_files_shrink_and_no_line_moves():
    texts = {
        path.removeprefix("lib/").removesuffix(".py").replace("/", "."): source.read_text(encoding="utf-8")
        for path, source in device_files().items() if path not in AT_THE_ROOT
    }  # fmt: skip
    folded = fold(texts)
    assert all(folded[name].count("\n") == texts[name].count("\n") for name in texts)
    plain = sum(isinstance(node, ast.Assign) for text in texts.values() for node in ast.parse(text).body)
    left = sum(isinstance(node, ast.Assign) for text in folded.values() for node in ast.parse(text).body)
    assert left < plain / 2
