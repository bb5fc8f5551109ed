"""Whole numbers with names, put in where they are used, before the device's files are compiled.

A name costs a board twice: an entry in its module's table and its letters in the interpreter's, kept in a heap of
240 KB for as long as the program runs; and each use looks it up. The source keeps its names; what goes onto a board has
the numbers, and none of what only host, tests or the other board use. Line numbers stay: crash logs fit the source.
"""

from __future__ import annotations

import ast
import re

_CONSTANT = re.compile(r"_?[A-Z][A-Z0-9_]*$")
_ALLOWED = (
    ast.Expression, ast.Constant, ast.BinOp, ast.UnaryOp, ast.Add, ast.Sub, ast.Mult, ast.FloorDiv, ast.Mod, ast.LShift,
    ast.RShift, ast.BitOr, ast.BitAnd, ast.BitXor, ast.USub, ast.Invert, ast.Name, ast.Attribute, ast.Load,
)  # fmt: skip


class _Module:
    """One source: its tree, which names stand for modules of ours, and which for numbers of theirs."""

    def __init__(self, name: str, source: str, names: set[str]) -> None:
        self.name = name
        self.source = source
        self.tree = ast.parse(source)
        self.aliases: dict[str, str] = {}
        self.borrowed: dict[str, tuple[str, str]] = {}
        for node in self.tree.body:
            if isinstance(node, ast.Import):
                for alias in node.names:
                    if alias.name in names and "." not in alias.name:
                        self.aliases[alias.asname or alias.name] = alias.name
            elif isinstance(node, ast.ImportFrom) and node.module:
                for alias in node.names:
                    inner = f"{node.module}.{alias.name}"
                    if inner in names:
                        self.aliases[alias.asname or alias.name] = inner
                    elif node.module in names:
                        self.borrowed[alias.asname or alias.name] = (node.module, alias.name)
        # A name that is set anywhere but once at the top is no constant; nor is an alias a function hides.
        sets: dict[str, int] = {}
        for node in ast.walk(self.tree):
            if isinstance(node, ast.Name) and not isinstance(node.ctx, ast.Load):
                sets[node.id] = sets.get(node.id, 0) + 1
            elif isinstance(node, ast.arg):
                sets[node.arg] = sets.get(node.arg, 0) + 1
            elif isinstance(node, (ast.FunctionDef, ast.ClassDef)):
                sets[node.name] = sets.get(node.name, 0) + 1
        self.sets = sets
        self.others: dict[str, _Module] = {}
        for hidden in set(self.aliases) & set(sets):
            del self.aliases[hidden]
        for hidden in set(self.borrowed) & set(sets):
            del self.borrowed[hidden]


def fold(sources: dict[str, str]) -> dict[str, str]:
    """Return the sources by module name with every constant whole number written out where it is used."""
    modules = {name: _Module(name, text, set(sources)) for name, text in sources.items()}
    for module in modules.values():
        module.others = modules
    kept = _set_from_outside(modules)
    values: dict[tuple[str, str], int] = {}
    lines: dict[str, list[ast.Assign]] = {name: [] for name in modules}
    changed = True
    while changed:  # one constant may be made of others, in any module
        changed = False
        for module in modules.values():
            for node in module.tree.body:
                if not (isinstance(node, ast.Assign) and len(node.targets) == 1):
                    continue
                target = node.targets[0]
                if not isinstance(target, ast.Name) or not _CONSTANT.match(target.id):
                    continue
                key = (module.name, target.id)
                if key in values or module.sets[target.id] != 1 or key in kept:
                    continue
                value = _value(module, node.value, values)
                if value is not None:
                    values[key] = value
                    lines[module.name].append(node)
                    changed = True
    return {name: _written(module, values, lines[name]) for name, module in modules.items()}


def rename(sources: dict[str, str]) -> dict[str, str]:
    """Return the sources with the same few names for every function's arguments, every module's tables and attributes.

    Each name that is used but once in the program costs the interpreter's table of names an entry, and that grows by
    doubling. No call names these, and no crash log: names of functions, classes and of what modules share stay.
    """
    trees = {name: ast.parse(text) for name, text in sources.items()}
    keywords = {node.arg for tree in trees.values() for node in ast.walk(tree) if isinstance(node, ast.keyword)}
    elsewhere = {word for tree in trees.values() for node in ast.walk(tree) for word in _named_from_outside(node)}
    own = _own_attributes(trees)
    return {name: _renamed(sources[name], tree, keywords, elsewhere, own[name]) for name, tree in trees.items()}


def _own_attributes(trees: dict[str, ast.Module]) -> dict[str, dict[str, str]]:
    """New names by module for attributes with a leading underscore that one module alone uses, as data."""
    used: dict[str, set[str]] = {}
    made: set[str] = set()
    for name, tree in trees.items():
        for node in ast.walk(tree):
            if isinstance(node, ast.Attribute):
                used.setdefault(node.attr, set()).add(name)
            elif isinstance(node, (ast.FunctionDef, ast.ClassDef)):
                made.add(node.name)  # a traceback names functions
                for inner in node.body if isinstance(node, ast.ClassDef) else ():
                    made |= {target.id for target in ast.walk(inner) if isinstance(target, ast.Name)}
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                made.add(node.value)
            elif isinstance(node, ast.alias):
                made.add(node.asname or node.name)
    found: dict[str, dict[str, str]] = {}
    for name, tree in trees.items():
        here = {node.name for node in tree.body if isinstance(node, ast.ClassDef)}
        bases = {ast.unparse(base) for node in tree.body if isinstance(node, ast.ClassDef) for base in node.bases}
        alone = all(base in here or base.endswith(("Error", "Exception", "IOBase")) for base in bases)
        mine = [word for word in used if word.startswith("_") and not word.startswith("__") and used[word] == {name}]
        mine = [word for word in mine if word not in made] if alone else []
        found[name] = {word: f"_a{n}" for n, word in enumerate(mine)}
    return found


def _named_from_outside(node: ast.AST) -> list[str]:
    if isinstance(node, ast.Attribute):
        return [node.attr]
    return [alias.name for alias in node.names] if isinstance(node, ast.ImportFrom) else []


def _renamed(source: str, tree: ast.Module, keywords: set, elsewhere: set[str], own: dict[str, str]) -> str:
    edits: list[tuple[int, int, int, int, str]] = []
    at_top = {"self"}
    for node in tree.body:
        if isinstance(node, (ast.FunctionDef, ast.ClassDef)):
            at_top.add(node.name)
        elif isinstance(node, (ast.Import, ast.ImportFrom)):
            at_top |= {(alias.asname or alias.name) for alias in node.names}
        else:
            at_top |= {inner.id for inner in ast.walk(node) if isinstance(inner, ast.Name)}
    declared = {word for node in ast.walk(tree) if isinstance(node, (ast.Global, ast.Nonlocal)) for word in node.names}
    tables = [
        node.targets[0].id for node in tree.body
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name)
        and re.match(r"_[A-Z]", node.targets[0].id) and node.targets[0].id not in elsewhere | declared
    ]  # fmt: skip
    locals_ = {node.arg for node in ast.walk(tree) if isinstance(node, ast.arg)}
    short = {word: f"_{n}" for n, word in enumerate(dict.fromkeys(tables)) if word not in locals_}
    outermost = [node for node in tree.body if isinstance(node, ast.FunctionDef)]
    outermost += [inner for node in tree.body if isinstance(node, ast.ClassDef)
                  for inner in node.body if isinstance(inner, ast.FunctionDef)]  # fmt: skip
    for function in outermost:
        arguments = [node.arg for node in ast.walk(function) if isinstance(node, ast.arg)]
        fit = [word for word in dict.fromkeys(arguments) if word not in keywords | at_top | declared]
        mine = {word: f"a{n}" for n, word in enumerate(fit)}
        for node in ast.walk(function):
            if not isinstance(node, (ast.Name, ast.arg)):
                continue
            word = node.id if isinstance(node, ast.Name) else node.arg
            if word in mine:
                edits.append((node.lineno, node.col_offset, node.lineno, node.col_offset + len(word), mine[word]))
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and node.attr in own:
            end, column = node.end_lineno or 0, node.end_col_offset or 0
            edits.append((end, column - len(node.attr), end, column, own[node.attr]))
        elif isinstance(node, ast.Name) and node.id in short:
            edits.append((node.lineno, node.col_offset, node.lineno, node.col_offset + len(node.id), short[node.id]))
    return _edited(source, edits)


_CALLED_BY_NAME = frozenset({"readinto", "write", "ioctl", "tick"})  # by the interpreter itself


def shake(sources: dict[str, str], entrances: set[str]) -> dict[str, str]:
    """Return the sources without what no device file names: tables, functions, classes, methods.

    `entrances`: names that something else asks for (boot.py, main.py, whoever works at the prompt).
    """
    while True:
        trees = {name: ast.parse(text) for name, text in sources.items()}
        named: dict[str, int] = {}
        for tree in trees.values():
            for word in _words(tree):
                named[word] = named.get(word, 0) + 1
        less = {name: _without_unnamed(sources[name], tree, named, entrances) for name, tree in trees.items()}
        if less == sources:
            return sources
        sources = less


def _words(tree: ast.AST):
    """Every name that is used, not where it is made."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
            yield node.id
        elif isinstance(node, ast.Attribute):
            yield node.attr
        elif isinstance(node, ast.ImportFrom):
            for alias in node.names:
                yield alias.name


def _without_unnamed(source: str, tree: ast.Module, named: dict[str, int], entrances: set[str]) -> str:
    gone: list[ast.stmt] = []

    def useless(node: ast.stmt, name: str) -> bool:
        own = sum(word == name for word in _words(node))
        return name not in entrances and not name.startswith("__") and named.get(name, 0) <= own

    for node in tree.body:
        if isinstance(node, (ast.FunctionDef, ast.ClassDef)) and useless(node, node.name):
            gone.append(node)
        elif isinstance(node, ast.Assign) and len(node.targets) == 1 and isinstance(node.targets[0], ast.Name):
            plain = not any(isinstance(inner, (ast.Call, ast.Await)) for inner in ast.walk(node.value))
            if plain and useless(node, node.targets[0].id):
                gone.append(node)
        elif isinstance(node, ast.ClassDef):
            for inner in node.body:
                if isinstance(inner, ast.FunctionDef) and inner.name not in _CALLED_BY_NAME:
                    if not inner.decorator_list and useless(inner, inner.name):
                        gone.append(inner)
    rows = source.split("\n")
    for node in gone:
        column = node.col_offset
        rows[node.lineno - 1] = rows[node.lineno - 1][:column] + "pass"
        for row in range(node.lineno, node.end_lineno or 0):
            rows[row] = ""
    return "\n".join(rows)


def _set_from_outside(modules: dict[str, _Module]) -> set[tuple[str, str]]:
    found = set()
    for module in modules.values():
        for node in ast.walk(module.tree):
            if isinstance(node, ast.Attribute) and not isinstance(node.ctx, ast.Load):
                if isinstance(node.value, ast.Name) and node.value.id in module.aliases:
                    found.add((module.aliases[node.value.id], node.attr))
    return found


def _key(module: _Module, node: ast.AST, values: dict) -> tuple[str, str] | None:
    """The constant a name or an attribute stands for, None for anything else."""
    if isinstance(node, ast.Name):
        key = (module.name, node.id)
    elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id in module.aliases:
        key = (module.aliases[node.value.id], node.attr)
    else:
        return None
    while key not in values:  # a module may pass on what it imported
        further = module.others[key[0]].borrowed.get(key[1])
        if further is None:
            return None
        key = further
    return key


def _value(module: _Module, node: ast.expr, values: dict) -> int | None:
    class Named(ast.NodeTransformer):
        def _put(self, node: ast.AST) -> ast.AST:
            key = _key(module, node, values)
            return ast.Constant(values[key]) if key is not None else node

        visit_Name = visit_Attribute = _put

    whole = ast.Expression(Named().visit(ast.parse(ast.unparse(node), mode="eval").body))
    for inner in ast.walk(whole):
        if not isinstance(inner, _ALLOWED) or isinstance(inner, (ast.Name, ast.Attribute)):
            return None
        if isinstance(inner, ast.Constant) and type(inner.value) is not int:
            return None
    value = eval(compile(ast.fix_missing_locations(whole), module.name, "eval"), {"__builtins__": {}})
    return value if type(value) is int else None


def _written(module: _Module, values: dict, assigned: list[ast.Assign]) -> str:
    """The source with numbers for names; lines that only set a constant become empty."""
    edits: list[tuple[int, int, int, int, str]] = []
    gone = set()
    for node in assigned:
        edits.append((node.lineno, node.col_offset, node.end_lineno or 0, node.end_col_offset or 0, "pass"))
        gone |= {id(inner) for inner in ast.walk(node)}
    for node in module.tree.body:
        if isinstance(node, ast.ImportFrom) and node.module:
            left = [a for a in node.names if _key(module, ast.Name(a.asname or a.name), values) is None]
            if len(left) < len(node.names):
                words = ", ".join(a.name + (f" as {a.asname}" if a.asname else "") for a in left)
                text = f"from {node.module} import {words}" if left else "pass"
                edits.append((node.lineno, node.col_offset, node.end_lineno or 0, node.end_col_offset or 0, text))
    for node in ast.walk(module.tree):
        if id(node) in gone or not isinstance(node, (ast.Name, ast.Attribute)) or not isinstance(node.ctx, ast.Load):
            continue
        key = _key(module, node, values)
        if key is not None:
            value = values[key]
            text = str(value) if value >= 0 else f"({value})"
            edits.append((node.lineno, node.col_offset, node.end_lineno or 0, node.end_col_offset or 0, text))
    return _edited(module.source, edits)


def _edited(source: str, edits: list[tuple[int, int, int, int, str]]) -> str:
    rows = [row.encode() for row in source.split("\n")]
    for row, column, end_row, end_column, text in sorted(edits, reverse=True):
        rows[row - 1] = rows[row - 1][:column] + text.encode() + rows[end_row - 1][end_column:]
        for extra in range(row, end_row):
            rows[extra] = b""
    return b"\n".join(rows).decode()
