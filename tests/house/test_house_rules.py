"""The checkers themselves: each is shown code that breaks its rule, and code that does not."""

from __future__ import annotations

import house_rules as rules
import pytest

BAD = [
    (rules.device_names, "import dataclasses"),
    (rules.device_names, "from typing import Any"),
    (rules.device_names, "import os.path"),
    (rules.device_names, "b.translate(t)"),
    (rules.device_names, "n.bit_length()"),
    (rules.device_names, "import os\nos.replace(a, b)"),
    (rules.device_names, "import struct\nstruct.error"),
    (rules.device_names, "try:\n    f()\nexcept FileNotFoundError:\n    pass"),
    (rules.device_names, "s.split(',', maxsplit=1)"),
    (rules.device_names, "n.to_bytes(2, byteorder='little')"),
    (rules.device_names, "b.decode(errors='replace')"),
    (rules.device_names, "struct.pack('<?', x)"),
    (rules.device_names, "struct.pack('HB', x, y)"),
    (rules.device_names, "deque()"),
    (rules.device_names, "isinstance(x, int)"),
    (rules.device_names, "isinstance(x, (str, int))"),
    (rules.device_names, "class E(ValueError):\n    def __init__(self):\n        ValueError.__init__(self, 'x')"),
    (rules.device_names, "print('x', flush=True)"),
    (rules.device_names, "round(x, 2)"),
    (rules.device_syntax, "match x:\n    case 1:\n        pass"),
    (rules.device_syntax, "def f(a, /):\n    pass"),
    (rules.device_syntax, "x = [*a]"),
    (rules.device_syntax, "x = {*a}"),
    (rules.device_syntax, "def f():\n    return 1, *b"),
    (rules.device_syntax, "x = {**a}"),
    (rules.device_syntax, "try:\n    f()\nexcept* OSError:\n    pass"),
    (rules.device_syntax, "class A(metaclass=M):\n    pass"),
    (rules.device_syntax, "x = b[::2]"),
    (rules.device_syntax, "del b[1:2]"),
    (rules.device_syntax, "Name = list[int]"),
    (rules.device_syntax, "isinstance(x, int | None)"),
    (rules.device_syntax, "x = f'a{b}' 'c{d}'"),
    (rules.device_syntax, "x = ('c{d}'\n     f'a{b}')"),
    (rules.device_syntax, "async def f():\n    return [x async for x in y]"),
    (rules.floats, "x = 1.5"),
    (rules.floats, "x = a / b"),
    (rules.floats, "a /= 2"),
    (rules.floats, "x = float(a)"),
    (rules.floats, "x = round(a)"),
    (rules.floats, "x = '%.1f' % a"),
    (rules.dict_order, "for a in d.items():\n    pass"),
    (rules.dict_order, "x = [a for a in d.values()]"),
    (rules.dict_order, "d = {}\nfor a in d:\n    pass"),
    (rules.dict_order, "s = set()\nfor a in s:\n    pass"),
    (rules.dict_order, "def f(**more):\n    for a in more:\n        pass"),
    (rules.sans_io, "open('x')"),
    (rules.sans_io, "print('x')"),
    (rules.guarded_imports, "try:\n    import machine\nexcept ImportError:\n    machine = None"),
    (lambda source: rules.imports_outside(source, {"struct"}), "import time"),
    (lambda source: rules.imports_outside(source, {"struct"}), "def f():\n    from tourier.craft import heat"),
    (lambda source: rules.imports_outside(source, {"struct"}), "from . import x"),
    (lambda source: rules.imports_of(source, {"pint"}), "def f():\n    from pint.errors import X"),
    (lambda source: rules.imports_of(source, {"tourier.desk"}), "from tourier import desk"),
    (rules.prints_or_exits, "print('x')"),
    (rules.prints_or_exits, "import sys\nsys.exit(2)"),
    (rules.prints_or_exits, "import sys\nsys.stdout.write('x')"),
    (rules.prints_or_exits, "raise SystemExit(1)"),
]

GOOD = [
    (rules.device_names, "import struct\nstruct.pack('<IH', a, b)\ntype(x) is int\nn.to_bytes(2, 'little')"),
    (rules.device_names, "deque((), 8)\nb.replace(c, d)\ns.split(',')\nsuper().__init__('x')"),
    (rules.device_syntax, "def f(a: list[int], b: int | None = None, *c, **d) -> tuple[int, int]:\n    return a, b"),
    (rules.device_syntax, "x = f'a{b}'\ny = 'c'\nf(*a, **b)\na, *b = c\nx = 'a' 'b'\nx = a | b\nx = b[1:2]"),
    (rules.device_syntax, "x = (f'a{b}', 'c')"),
    (rules.floats, "x = a // b\ny = 7\nx = '%d' % a"),
    (rules.dict_order, "for a in sorted(d):\n    pass\nfor a in (1, 2):\n    pass\nd = {}\nd[a]\nx = a in d"),
    (rules.sans_io, "x = f.read()"),
    (rules.guarded_imports, "import struct\ntry:\n    f()\nexcept ValueError:\n    pass"),
    (lambda source: rules.imports_outside(source, {"struct"}), "import struct\nfrom struct import pack"),
    (lambda source: rules.imports_of(source, {"pint"}), "import pintxx\nfrom tourier import quantities"),
    (rules.prints_or_exits, "import sys\nsys.stderr\nsys.argv"),
]


@pytest.mark.parametrize(("checker", "source"), BAD, ids=lambda value: value if isinstance(value, str) else "")
def test_bad_code_is_seen(checker, source):
    assert checker(source)


@pytest.mark.parametrize(("checker", "source"), GOOD, ids=lambda value: value if isinstance(value, str) else "")
def test_good_code_passes(checker, source):
    assert checker(source) == []
