"""The house's rules as checkers: each takes source text and returns what breaks it, as (line, sentence) pairs.

The lists of what MicroPython lacks were found by experiment on v1.28 (RP2 build and unix build) against CPython 3.11.
They hold names that cannot be confused with something that exists there; a bytearray's missing `pop`, for instance,
cannot be told from a list's by looking, and is left to the checks on the real interpreter.
"""

from __future__ import annotations

import ast
import io
import tokenize
from collections.abc import Iterable
from functools import lru_cache

Found = list[tuple[int, str]]

SHARED_MODULES = {"struct", "binascii", "math", "array", "collections", "errno", "micropython"}
FLOAT_MODULES = {"slab", "ferment", "thermistor"}

DEVICE_MODULES = SHARED_MODULES | {
    "machine", "rp2", "time", "sys", "os", "gc", "io", "json", "hashlib", "random", "select", "framebuf", "asyncio",
    "vfs", "uctypes", "deflate", "re", "heapq",
}  # fmt: skip

MISSING_MODULES = {
    "__future__", "typing", "dataclasses", "enum", "abc", "bisect", "datetime", "functools", "itertools", "contextlib",
    "logging", "pathlib", "copy", "traceback", "types", "string", "zlib", "base64", "threading", "queue", "operator",
    "statistics", "decimal", "subprocess", "unittest", "warnings", "tempfile", "shutil", "signal",
}  # fmt: skip

MISSING_METHODS = {
    "translate", "maketrans", "ljust", "rjust", "zfill", "title", "capitalize", "isalnum", "isascii", "removeprefix",
    "removesuffix", "casefold", "expandtabs", "tobytes", "cast", "nbytes", "bit_length", "bit_count", "is_integer",
    "monotonic", "perf_counter", "strftime", "JSONDecodeError", "__traceback__", "__cause__", "strerror", "_replace",
    "_asdict", "_fields", "fsum", "hypot", "shuffle", "gauss", "makedirs", "fsync", "truncate", "findall", "finditer",
    "fullmatch", "TaskGroup", "with_traceback", "swapcase", "format_map", "isidentifier", "__subclasses__",
}  # fmt: skip
MISSING_OF_MODULE = {
    ("os", "replace"), ("os", "walk"), ("os", "path"), ("struct", "error"), ("struct", "Struct"), ("re", "escape"),
    ("re", "split"), ("asyncio", "Queue"), ("asyncio", "timeout"), ("math", "dist"), ("math", "prod"),
    ("collections", "defaultdict"), ("collections", "Counter"),
}  # fmt: skip
MISSING_NAMES = {
    "vars", "FileNotFoundError", "FileExistsError", "TimeoutError", "ConnectionError", "PermissionError",
    "ModuleNotFoundError", "RecursionError", "UnicodeDecodeError", "UnicodeEncodeError", "InterruptedError",
    "IsADirectoryError", "BrokenPipeError", "ExceptionGroup", "breakpoint", "ascii", "aiter", "anext",
}  # fmt: skip
MISSING_KEYWORDS = {
    "split": {"maxsplit"}, "print": {"flush"}, "open": {"newline", "encoding", "errors"}, "zip": {"strict"},
    "sum": {"start"}, "to_bytes": {"byteorder", "length", "signed"}, "from_bytes": {"byteorder", "signed"},
    "decode": {"errors", "encoding"}, "encode": {"errors", "encoding"}, "namedtuple": {"defaults", "rename"},
    "dumps": {"sort_keys", "indent", "default", "ensure_ascii"}, "round": {"ndigits"},
}  # fmt: skip
EXCEPTIONS = {"Exception", "ValueError", "OSError", "RuntimeError", "TypeError", "KeyError", "IndexError"}


@lru_cache(maxsize=512)
def _tree(source: str) -> ast.Module:
    return ast.parse(source)


@lru_cache(maxsize=512)
def imports(source: str) -> Found:
    """Return (line, dotted name) of every import, wherever it stands; not to be changed by the caller."""
    found: Found = []
    for node in ast.walk(_tree(source)):
        if isinstance(node, ast.Import):
            found += [(node.lineno, alias.name) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            name = "." * node.level + (node.module or "")
            found += [(node.lineno, f"{name}.{alias.name}") for alias in node.names]
    return found


def imports_outside(source: str, allowed: Iterable[str]) -> Found:
    """Return the imports whose first part is not allowed."""
    allowed = set(allowed)
    return [(line, f"imports {name}") for line, name in imports(source) if name.split(".")[0] not in allowed]


def imports_of(source: str, unwanted: Iterable[str]) -> Found:
    """Return the imports of unwanted modules: "pint" catches "pint.errors" too."""
    unwanted = tuple(unwanted)
    return [
        (line, f"imports {name}")
        for line, name in imports(source)
        if any(name == bad or name.startswith(bad + ".") for bad in unwanted)
    ]


def guarded_imports(source: str) -> Found:
    """Return imports inside try: only `_compat` may ask which interpreter it is on."""
    found: Found = []
    for node in ast.walk(_tree(source)):
        if isinstance(node, ast.Try):
            for inner in ast.walk(node):
                if isinstance(inner, ast.Import | ast.ImportFrom):
                    found.append((inner.lineno, "imports inside try"))
    return found


def sans_io(source: str) -> Found:
    """Return calls that read a clock, a file or a console, or roll dice."""
    found: Found = []
    for node in ast.walk(_tree(source)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            if node.func.id in {"open", "print", "input", "exec", "eval", "__import__"}:
                found.append((node.lineno, f"calls {node.func.id}()"))
    return found


def floats(source: str) -> Found:
    """Return float literals, true division and float conversions: state, wire and journal hold integers only."""
    found: Found = []
    for node in ast.walk(_tree(source)):
        if isinstance(node, ast.Constant) and isinstance(node.value, float | complex):
            found.append((node.lineno, f"float literal {node.value}"))
        elif isinstance(node, ast.BinOp | ast.AugAssign) and isinstance(node.op, ast.Div):
            found.append((node.lineno, "true division"))
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in {"float", "round"}:
            found.append((node.lineno, f"calls {node.func.id}()"))
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "calcsize":
            continue
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and _float_format(node.value):
            found.append((node.lineno, "formats a float"))
    return found


def _float_format(text: str) -> bool:
    for letter in "fFeEgG":
        for digits in ("%" + letter, "%.1" + letter, "%.2" + letter, "%.3" + letter):
            if digits in text:
                return True
    return False


def dict_order(source: str) -> Found:
    """Return loops over dicts and sets as far as they can be seen: their order differs between the interpreters."""
    tree = _tree(source)
    unordered: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name) and _is_unordered(node.value):
            unordered.add(node.targets[0].id)
        elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.args.kwarg:
            unordered.add(node.args.kwarg.arg)
    found: Found = []
    for node in ast.walk(tree):
        loops = [node.iter] if isinstance(node, ast.For | ast.comprehension) else []
        for loop in loops:
            if isinstance(loop, ast.Call) and isinstance(loop.func, ast.Attribute):
                if loop.func.attr in {"items", "keys", "values"} and not loop.args:
                    found.append((loop.lineno, f"iterates .{loop.func.attr}()"))
            elif isinstance(loop, ast.Name) and loop.id in unordered or _is_unordered(loop):
                found.append((loop.lineno, "iterates a dict or set"))
    return found


def _is_unordered(node: ast.expr) -> bool:
    if isinstance(node, ast.Dict | ast.Set | ast.DictComp | ast.SetComp):
        return True
    named = isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
    return named and node.func.id in {"set", "dict", "frozenset"}


def device_syntax(source: str) -> Found:
    """Return syntax that MicroPython lacks or understands differently."""
    found: Found = []
    tree = _tree(source)
    annotations = _annotation_nodes(tree)
    for node in ast.walk(tree):
        line = getattr(node, "lineno", 0)
        if isinstance(node, ast.Match):
            found.append((line, "match statement"))
        elif isinstance(node, ast.arguments) and node.posonlyargs:
            found.append((node.posonlyargs[0].lineno, "positional-only argument"))
        elif isinstance(node, ast.List | ast.Set | ast.Tuple) and any(isinstance(e, ast.Starred) for e in node.elts):
            if id(node) not in annotations and isinstance(getattr(node, "ctx", ast.Load()), ast.Load):
                found.append((line, "star inside a list, set or tuple"))
        elif isinstance(node, ast.Dict) and None in node.keys:
            found.append((line, "double star inside a dict"))
        elif isinstance(node, ast.TryStar):
            found.append((line, "except*"))
        elif isinstance(node, ast.ClassDef) and node.keywords:
            found.append((line, "class keyword (metaclass)"))
        elif isinstance(node, ast.comprehension) and node.is_async:
            found.append((node.iter.lineno, "async comprehension"))
        elif isinstance(node, ast.Slice) and node.step is not None:
            found.append((node.step.lineno, "slice with a step (only lists have it)"))
        elif isinstance(node, ast.Delete) and any(
            isinstance(target, ast.Subscript) and isinstance(target.slice, ast.Slice) and target.slice.lower
            for target in node.targets
        ):
            # `del names[:]` is how a list is emptied; a bytearray is cut from the front or the middle.
            found.append((line, "del of a slice (a bytearray has none)"))
        elif isinstance(node, ast.FunctionDef) and node.name in {"__init_subclass__", "__format__", "__index__"}:
            found.append((line, f"{node.name} is ignored"))
        elif id(node) not in annotations and _typing_at_run_time(node):
            found.append((line, "type expression outside an annotation"))
    return found + _joined_fstrings(source)


def _annotation_nodes(tree: ast.Module) -> set[int]:
    roots: list[ast.expr] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.arg | ast.AnnAssign) and node.annotation is not None:
            roots.append(node.annotation)
        elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.returns is not None:
            roots.append(node.returns)
    return {id(inner) for root in roots for inner in ast.walk(root)}


def _typing_at_run_time(node: ast.AST) -> bool:
    if isinstance(node, ast.Subscript) and isinstance(node.value, ast.Name):
        return node.value.id in {"list", "dict", "tuple", "set", "type"}
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.BitOr):
        sides = (node.left, node.right)
        return any(isinstance(side, ast.Constant) and side.value is None for side in sides) or any(
            isinstance(side, ast.Name) and side.id in {"int", "str", "bytes", "float", "bool"} for side in sides
        )
    return False


def _joined_fstrings(source: str) -> Found:
    """An f-string beside another literal: MicroPython formats the plain one too."""
    found: Found = []
    previous: str | None = None
    depth = 0
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        kind = tokenize.tok_name[token.type]
        if kind == "FSTRING_START":
            if previous is not None and depth == 0:
                found.append((token.start[0], "f-string beside another literal"))
            depth += 1
        elif kind == "FSTRING_END":
            depth -= 1
            if depth == 0:
                previous = "f"
        elif depth:
            continue
        elif kind == "STRING":
            prefix = token.string[: token.string.find(token.string[-1])].lower()
            now = "f" if "f" in prefix else ""
            if previous is not None and "f" in (now, previous):
                found.append((token.start[0], "f-string beside another literal"))
            previous = now
        elif kind not in {"NL", "COMMENT"}:
            previous = None
    return found


def device_names(source: str) -> Found:
    """Return modules, names, methods and keywords that MicroPython lacks."""
    found: Found = [
        (line, f"imports {name}, which MicroPython lacks")
        for line, name in imports(source)
        if name.split(".")[0] in MISSING_MODULES or name.startswith("os.path")
    ]
    for node in ast.walk(_tree(source)):
        if isinstance(node, ast.Attribute):
            owner = node.value.id if isinstance(node.value, ast.Name) else ""
            if node.attr in MISSING_METHODS or (owner, node.attr) in MISSING_OF_MODULE:
                found.append((node.lineno, f"uses .{node.attr}"))
            elif owner in EXCEPTIONS and node.attr == "__init__":
                found.append((node.lineno, f"uses {owner}.__init__ (call super().__init__)"))
        elif isinstance(node, ast.Name) and node.id in MISSING_NAMES:
            found.append((node.lineno, f"uses {node.id}"))
        elif isinstance(node, ast.Call):
            found += _call_problems(node)
    return found


def _call_problems(node: ast.Call) -> Found:
    name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
    found: Found = [
        (node.lineno, f"{name}({keyword.arg}=)")
        for keyword in node.keywords
        if keyword.arg in MISSING_KEYWORDS.get(name, ())
    ]
    first = node.args[0] if node.args else None
    if name in {"pack", "unpack", "pack_into", "unpack_from", "calcsize", "iter_unpack"}:
        if isinstance(first, ast.Constant) and isinstance(first.value, str):
            if any(letter in first.value for letter in "?cp= "):
                found.append((node.lineno, f"struct format {first.value!r}"))
            elif first.value[:1] not in "<>!":
                found.append((node.lineno, f"struct format {first.value!r} has the machine's own byte order"))
    if name == "deque" and len(node.args) < 2:
        found.append((node.lineno, "deque without a length"))
    if name == "isinstance" and len(node.args) == 2:
        kinds = node.args[1].elts if isinstance(node.args[1], ast.Tuple) else [node.args[1]]
        if any(isinstance(kind, ast.Name) and kind.id == "int" for kind in kinds):
            found.append((node.lineno, "isinstance(x, int): True is an int on one interpreter only"))
    if name == "round" and len(node.args) == 2:
        found.append((node.lineno, "round(x, n): the two interpreters differ"))
    return found


def prints_or_exits(source: str) -> Found:
    """Return writes to stdout and exits: only the command line does that."""
    found: Found = []
    for node in ast.walk(_tree(source)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in {"print", "exit", "quit"}:
            found.append((node.lineno, f"calls {node.func.id}()"))
        elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            if (node.value.id, node.attr) in {("sys", "exit"), ("sys", "stdout"), ("os", "_exit")}:
                found.append((node.lineno, f"uses {node.value.id}.{node.attr}"))
        elif isinstance(node, ast.Name) and node.id == "SystemExit":
            found.append((node.lineno, "raises SystemExit"))
    return found
