"""The faults that can be planted: cosmic-ray's operators, one more of our own, and which places are left alone.

A site is one place in one file at which at least one operator can change something. A sample draws sites, and then one
operator for each site: an arithmetic sign, for which there are eleven operators, weighs no more than a number.
"""

from __future__ import annotations

import ast
import random
import re
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import parso
from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code
from cosmic_ray.operators.operator import Operator
from cosmic_ray.plugins import get_operator, operator_names

# `==` for `is` and back differ for no value that this code compares; the variable operators need a list of names.
LEFT_OUT = re.compile(r"_(Eq_Is|Is_Eq|NotEq_IsNot|IsNot_NotEq)$|/Variable(Replacer|Inserter)$|/NoOp$")


class DropStatement(Operator):
    """Leaves out a call made for its effect, or an assignment in place: what a forgotten line does."""

    def mutation_positions(self, node):
        if node.type == "simple_stmt":
            first = node.children[0]
            called = first.type in ("atom_expr", "power") and first.children[-1].get_code(False).startswith("(")
            sign = first.children[1] if first.type == "expr_stmt" else None
            if called or (sign is not None and sign.type == "operator" and sign.value != "="):
                yield first.start_pos, first.end_pos

    def mutate(self, node, index):
        first = node.children[0]
        node.children[0] = parso.parse(first.get_first_leaf().prefix + "pass")
        return node

    @classmethod
    def examples(cls):
        return ()


def operators() -> dict[str, Operator]:
    """Every operator in use, by its short name."""
    wanted = [name for name in operator_names() if not LEFT_OUT.search(name)]
    return {name.split("/")[1]: get_operator(name)() for name in wanted} | {"DropStatement": DropStatement()}


@dataclass(frozen=True)
class Mutant:
    """One fault: `occurrence` counts as cosmic-ray does, `line` and `column` say where it is."""

    room: str
    path: str
    operator: str
    occurrence: int
    line: int
    column: int

    def apply(self, source: str) -> str:
        """The source with the fault in it."""
        changed = mutate_code(source, operators()[self.operator], self.occurrence)
        if changed is None or changed == source:
            raise ValueError(f"no fault planted: {self}")
        return changed


def changed_lines(before: str, after: str) -> tuple[str, str]:
    """The first line that differs, before and after; empty where a file is shorter."""
    for was, now in zip(before.splitlines(), after.splitlines(), strict=False):
        if was != now:
            return was.strip(), now.strip()
    return "", ""


def _spans_left_alone(tree: ast.AST) -> Iterator[tuple[tuple[int, int], tuple[int, int]]]:
    """Types, and the options of decorators: what a checker reads and no test of behaviour can see."""
    for node in ast.walk(tree):
        held = [getattr(node, "annotation", None), getattr(node, "returns", None)]
        if isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            held += node.decorator_list
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            held.append(node)
        if isinstance(node, ast.Assert):
            held.append(node)  # only tells the type checker what is known
        for each in filter(None, held):
            yield (each.lineno, each.col_offset), (each.end_lineno, each.end_col_offset)


def mutants_of(room: str, path: Path, root: Path) -> dict[tuple[int, int], list[Mutant]]:
    """Every fault that can be planted in a file, by the place it changes."""
    source = path.read_text(encoding="utf-8")
    alone = list(_spans_left_alone(ast.parse(source)))
    known = operators()
    sites: dict[tuple[int, int], list[Mutant]] = defaultdict(list)
    counts: dict[str, int] = defaultdict(int)
    for node in ast_nodes(get_ast(source)):
        for name, operator in known.items():
            for start, _end in operator.mutation_positions(node):
                place = (start[0], start[1])
                if name == "RemoveDecorator" or not any(first <= place < last for first, last in alone):
                    sites[place].append(
                        Mutant(room, path.relative_to(root).as_posix(), name, counts[name], start[0], start[1])
                    )
                counts[name] += 1
    return {place: found for place, found in sites.items() if found}


def sample(rooms: dict[str, list[Path]], root: Path, count: int, seed: int) -> list[Mutant]:
    """`count` faults, the same number from each room, drawn by `seed`."""
    drawn: list[Mutant] = []
    for place, (room, paths) in enumerate(sorted(rooms.items())):
        chance = random.Random(f"{seed} {room}")
        sites = [each for path in sorted(paths) for _place, each in sorted(mutants_of(room, path, root).items())]
        share = count // len(rooms) + (place < count % len(rooms))
        drawn += [chance.choice(site) for site in chance.sample(sites, min(share, len(sites)))]
    random.Random(seed).shuffle(drawn)  # a run that is broken off is still a sample of every room
    return drawn
