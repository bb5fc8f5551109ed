"""The rooms of the house and who may know whom: rooms.toml against every import, and as the table in DEVELOPERS.md.

    python tests/house/rooms.py --write     writes the table
    python tests/house/rooms.py --check FOLDER     prints what a tree breaks, one line each
    python tests/house/rooms.py --plant FOLDER     the same for each of the faults that stdin lists as JSON
"""

from __future__ import annotations

import ast
import graphlib
import importlib.util
import json
import re
import sys
import tomllib
from functools import lru_cache
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
TABLE = re.compile(r"(<!-- rooms -->\n).*?(<!-- /rooms -->)", re.DOTALL)
INDEX = re.compile(r"(<!-- decisions -->\n).*?(<!-- /decisions -->)", re.DOTALL)
OURS = ("tourier", "shared_schedule")
FLASH_CALLS = {"remove", "unlink", "rename", "mkdir", "rmdir", "mount", "umount"}
SPEAKERS = {"__main__", "cli"}  # stdout and exit codes; what a developer runs by hand prints too
TOOLS = {"desk.__main__"}


@lru_cache
def contracts() -> dict:
    return tomllib.loads((HERE / "rooms.toml").read_text(encoding="utf-8"))


def short(module: str) -> str:
    """A module's name as rooms.toml has it."""
    return module.removeprefix("tourier.")


@lru_cache(maxsize=1024)
def room_of(module: str) -> str | None:
    """The room a module of ours stands in: the longest name that is it or a package around it; None for no room."""
    rooms = contracts()["rooms"]
    names = {place: room for room, about in rooms.items() for place in [room, *about.get("also", [])]}
    place = short(module)
    if place == "tourier" or "." not in module:
        return place if place in rooms else None
    while place and place not in names:
        place = place.rpartition(".")[0]
    return names.get(place)


def build_graph(folder: Path, **options):
    """The graph of imports of a tree, read from its files; nothing of it is run."""
    import grimp

    if sys.path[0] != str(folder / "companion"):
        sys.path[:0] = [str(folder / "companion"), str(folder)]
    assert Path(importlib.util.find_spec("tourier").origin).is_relative_to(folder), "another tree is imported"
    return grimp.build_graph(*OURS, include_external_packages=True, cache_dir=None, **options)


def edges(graph) -> set[tuple[str, str]]:
    """Who imports whom, ours and others."""
    ours = [module for module in graph.modules if module.split(".")[0] in OURS]
    return {(module, other) for module in ours for other in graph.find_modules_directly_imported_by(module)}


@lru_cache
def for_types_only(folder: Path) -> set[tuple[str, str]]:
    """Imports that stand under TYPE_CHECKING and nowhere else: rooms must not make them, but they close no circle."""
    return edges(build_graph(folder)) - edges(build_graph(folder, exclude_type_checking_imports=True))


def broken(folder: Path) -> list[str]:
    """Return every breach in a tree (companion, shared_schedule, firmware below `folder`) as a sentence."""
    rules = contracts()
    quiet = for_types_only(folder)
    everything = build_graph(folder)
    found = []
    for module in sorted(everything.modules):
        if module.split(".")[0] not in OURS:
            continue
        if room_of(module) is None:
            found.append(f"{module} stands in no room: give it one in tests/house/rooms.toml")
    imported = edges(everything)
    for module, other in sorted(imported):
        found += _import_broken(module, room_of(module), other, rules)
    found += circles(imported - quiet)
    for path in sorted((folder / "companion" / "tourier").rglob("*.py")):
        found += _spoken(path.relative_to(folder / "companion").with_suffix(""), path.read_text("utf-8"))
    for path in sorted((folder / "firmware").glob("*.py")):
        found += [f"firmware/{path.name}: {said}" for said in flash_broken(path.stem, path.read_text("utf-8"))]
    return found


def planted(folder: Path, faults: list[tuple[str, str]]) -> list[list[str]]:
    """Append each text to its file, one after another, and return what is broken then; the tree is left as it was."""
    answers = []
    for name, text in faults:
        file = folder / name
        before = file.read_text(encoding="utf-8") if file.exists() else None
        file.write_text((before or "") + "\n" + text + "\n", encoding="utf-8")
        answers.append(broken(folder))
        file.unlink() if before is None else file.write_text(before, encoding="utf-8")
    return answers


def _import_broken(module: str, room: str | None, other: str, rules: dict) -> list[str]:
    if room is None:
        return []
    top = other.split(".")[0]
    if top in OURS:
        target = room_of(other)
        if target != room and target not in rules["rooms"][room]["may"]:
            return [f"{module} ({room}) may not know {other} ({target})"]
    elif top in rules["libraries"] or top not in sys.stdlib_module_names:
        if room not in rules["libraries"].get(top, ()):
            return [f"{module} ({room}) may not use {top}"]
    return []


def circles(imported: set[tuple[str, str]]) -> list[str]:
    """Return a circle of modules that import each other at run time, lazily included."""
    sorter = graphlib.TopologicalSorter()
    for module, other in sorted(imported):
        if other.split(".")[0] in OURS:
            sorter.add(module, other)
    try:
        sorter.prepare()
    except graphlib.CycleError as error:
        return ["circle: " + " <- ".join(error.args[1])]
    return []


@lru_cache(maxsize=1024)
def _spoken(place: Path, source: str) -> list[str]:
    """What a module says or reaches by other ways than an import."""
    import house_rules

    module = ".".join(place.parts).removesuffix(".__init__")
    room = room_of(module)
    found = []
    tree = ast.parse(source)
    if room not in SPEAKERS | {"device.tools"} and short(module) not in TOOLS:
        found = [f"{module}: {said}" for _line, said in house_rules.prints_or_exits(source)]
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and re.match(r"tourier\.desk\b", node.value):
            if not (short(module) == "cli.begin" or short(module).startswith("desk")):
                found.append(f"{module} reaches the desk by name; only cli.begin launches it")
    return found


@lru_cache(maxsize=256)
def flash_broken(module: str, source: str) -> list[str]:
    """What in a file of the firmware writes flash and is none of its writers."""
    rules = contracts()
    if module in rules["firmware"]["writers"]:
        return []
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "open":
            mode = [k.value for k in node.keywords if k.arg == "mode"] + node.args[1:2]
            if mode and not (isinstance(mode[0], ast.Constant) and set(str(mode[0].value)) <= set("rbt")):
                found.append("opens a file to write it")
        elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            if node.value.id in {"os", "vfs"} and node.attr in FLASH_CALLS:
                found.append(f"uses {node.value.id}.{node.attr}")
            elif node.value.id == "files" and node.attr not in rules["firmware"]["files_for_all"]:
                found.append(f"uses files.{node.attr}")
        elif isinstance(node, ast.ImportFrom):
            taken = {alias.name for alias in node.names}
            if node.module in {"os", "vfs"} and taken & FLASH_CALLS:
                found.append(f"takes {', '.join(sorted(taken & FLASH_CALLS))} from {node.module}")
            if node.module == "files" and taken - set(rules["firmware"]["files_for_all"]):
                found.append("takes what writes from files")
    return found


def table() -> str:
    """The rooms as a Markdown table."""
    lines = ["| room | job | may know | libraries |", "|---|---|---|---|"]
    rules = contracts()
    for room, about in rules["rooms"].items():
        if room in {"__main__", "tourier"}:
            continue
        place = f"`{room}/`" if room in {"shared_schedule", "firmware"} else f"`tourier.{room}`"
        if "also" in about and room == "device.tools":
            place = ", ".join(f"`tourier.{one}`" for one in about["also"])
        may = ", ".join(f"`{one}`" for one in about["may"]) or "itself"
        uses = ", ".join(sorted((lib for lib, rooms in rules["libraries"].items() if room in rooms), key=str.lower))
        lines.append(f"| {place} | {about['job']} | {may} | {uses} |")
    return "\n".join(lines) + "\n"


def decisions() -> str:
    """The index of companion/decisions: number, title, and what is no longer so."""
    lines = []
    for path in sorted((ROOT / "companion" / "decisions").glob("*.md")):
        text = path.read_text(encoding="utf-8")
        status = re.search(r"\bStatus:? ([\w ]+)", text)
        remark = f" ({status[1].strip()})" if status and status[1].strip() != "accepted" else ""
        title = text.splitlines()[0].lstrip("# ")
        lines.append(f"- [{path.name[:3]}](companion/decisions/{path.name}) {title}{remark}")
    return "\n".join(lines) + "\n"


def written(text: str) -> str:
    """DEVELOPERS.md with the table and the index of today."""
    text = TABLE.sub(lambda found: found[1] + table() + found[2], text)
    return INDEX.sub(lambda found: found[1] + decisions() + found[2], text)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--check"]:
        print("\n".join(broken(Path(sys.argv[2]).resolve())))
    elif sys.argv[1:2] == ["--plant"]:
        print(json.dumps(planted(Path(sys.argv[2]).resolve(), json.load(sys.stdin))))
    else:
        page = ROOT / "DEVELOPERS.md"
        text = written(page.read_text(encoding="utf-8"))
        page.write_text(text, encoding="utf-8") if "--write" in sys.argv else print(table())
