"""Flash and heap of every module against a budget; `python companion/tools/budget.py` prints the table."""

from __future__ import annotations

import pytest
from budget import NAMES, _imports, costs, load_order, table

# Heap on the 64-bit interpreter. A Pico has 241 KB with words half as long, so 300 000 here is about 160 KB there and
# leaves a third of it to a plan, a day's state, the display and the link.
HEAP_TOTAL_MAX = 260_000
HEAP_LARGEST_MAX = 24_000  # records of plan and messages
HEAP_USUAL_MAX = 11_000
HEAP_NAMES_MAX = 34_000  # the interpreter's own table of names
FLASH_TOTAL_MAX = 130_000  # of 1408 KB


@pytest.fixture(scope="module")
def measured():
    return costs()


def test_every_module_keeps_its_budget(measured):
    print("\n" + table(measured))
    assert sum(cost.flash for cost in measured) <= FLASH_TOTAL_MAX
    assert sum(cost.heap or 0 for cost in measured) <= HEAP_TOTAL_MAX
    names = next(cost for cost in measured if cost.module == NAMES)
    assert 5_000 < names.heap <= HEAP_NAMES_MAX
    large = [cost for cost in measured if cost is not names and (cost.heap or 0) > HEAP_USUAL_MAX]
    assert {cost.module for cost in large} <= {"shared_schedule.messages", "shared_schedule.plan"}
    assert all(cost.heap <= HEAP_LARGEST_MAX for cost in large)


def test_all_but_the_boards_own_files_are_measured(measured):
    unmeasured = {cost.module for cost in measured if cost.heap is None}
    assert unmeasured <= {"board_pico", "boot", "main", "shared_schedule.__init__"}
    empty = {"shared_schedule.__init__", "pins"}  # what others take of `pins` stands in them as numbers
    assert all(cost.heap > 200 for cost in measured if cost.heap is not None and cost.module not in empty)


def test_order_of_loading():
    sources = {"a": "import b\nfrom p import c", "b": "import p.c", "p.c": "import math", "p": ""}
    assert load_order(sources) == ["p.c", "b", "p", "a"]
    assert _imports("def f():\n    import later\n") == set()
