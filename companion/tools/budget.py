"""What each of the bench timer's modules costs: octets of .mpy on flash, octets of heap when it is loaded.

`python companion/tools/budget.py` prints the table. Heap is measured on the 64-bit interpreter by loading the compiled
modules one by one, each after what it imports, with the garbage cleared away in between; a Pico, whose words are half
as long, needs a little more than half. What only loads on a real board shows no heap.

The interpreter's table of names grows by doubling, so in a plain run its next 14 KB are put down to whichever module
brings the one name too many. Modules are therefore measured with that table grown beforehand, and the table is what
the whole, measured in a plain run, costs more than its modules: the line "table of names".
"""

from __future__ import annotations

import ast
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

from tourier.device.files import DeviceFile, build, device_files
from tourier.device.virtual.board import find_micropython

_MEASURE = """
import gc
gc.collect()
first = gc.mem_alloc()
class Names: pass
for i in range(GROWN):
    hasattr(Names, "zq%d" % i)
for name in NAMES:
    gc.collect()
    before = gc.mem_alloc()
    try:
        __import__(name)
    except ImportError as problem:
        print(name, -1, problem)
        continue
    gc.collect()
    print(name, gc.mem_alloc() - before)
gc.collect()
print("all", gc.mem_alloc() - first)
"""
_GROWN = 5110  # names after which the table has been doubled to 5,120 free places, more than the firmware brings
NAMES = "table of names"


@dataclass(frozen=True)
class Cost:
    """One module. `heap` is None for what only loads on a real board."""

    module: str
    flash: int
    heap: int | None


def _name(path: str) -> str:
    return path.lstrip("/").removeprefix("lib/").removesuffix(".mpy").removesuffix(".py").replace("/", ".")


def _imports(source: str) -> set[str]:
    """Every module named in an import statement at the top of a file, and what may be a module inside a package."""
    found: set[str] = set()
    for node in ast.parse(source).body:
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module} | {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def load_order(sources: dict[str, str]) -> list[str]:
    """Names of modules, each after what it imports at its top; `sources` maps names to texts."""
    order: list[str] = []
    begun: set[str] = set()

    def visit(name: str) -> None:
        if name in begun:
            return
        begun.add(name)
        for other in sorted(_imports(sources[name]) & sources.keys()):
            visit(other)
        order.append(name)

    for name in sorted(sources):
        visit(name)
    return order


def costs(files: list[DeviceFile] | None = None) -> list[Cost]:
    """Measure every device file; largest heap first. Raises CompileError, VirtualTimerError."""
    files = files if files is not None else build()
    sources = {_name(path): source.read_text(encoding="utf-8") for path, source in device_files().items()}
    order = [name for name in load_order(sources) if name not in ("boot", "main")]
    with tempfile.TemporaryDirectory(prefix="tourier-budget-") as folder:
        for file in files:
            path = Path(folder) / file.path.lstrip("/").removeprefix("lib/")
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(file.data)
        heap = _measure(order, folder, _GROWN)
        whole = _measure(order, folder, 0)["all"]
    found = [
        Cost(_name(file.path), len(file.data), heap[_name(file.path)] if heap.get(_name(file.path), -1) >= 0 else None)
        for file in files
    ]
    found.append(Cost(NAMES, 0, whole - sum(cost.heap or 0 for cost in found)))
    return sorted(found, key=lambda cost: (-(cost.heap or 0), cost.module))


def _measure(order: list[str], folder: str, grown: int) -> dict[str, int]:
    """Heap octets of each module loaded in that order, and of "all"; -1 = does not load here."""
    done = subprocess.run(
        [find_micropython(), "-X", "heapsize=4m", "-c", f"NAMES = {order!r}\nGROWN = {grown}\n{_MEASURE}"],
        capture_output=True, text=True, timeout=60, env={"MICROPYPATH": folder},
    )  # fmt: skip
    if done.returncode != 0:
        raise RuntimeError(f"the measuring program failed: {(done.stdout + done.stderr)[-400:]}")
    return {line.split()[0]: int(line.split()[1]) for line in done.stdout.splitlines()}


def table(found: list[Cost]) -> str:
    """The budget as text, one line a module and a line of sums."""
    lines = [f"{'module':28}{'.mpy on flash':>14}{'heap (64-bit)':>15}"]
    lines += [f"{c.module:28}{c.flash:14,}{'-' if c.heap is None else format(c.heap, ','):>15}" for c in found]
    lines.append(f"{'together':28}{sum(c.flash for c in found):14,}{sum(c.heap or 0 for c in found):15,}")
    return "\n".join(lines)


if __name__ == "__main__":
    print(table(costs()))
