"""The type checker's view of a plan: its stub agrees with the tables, and nobody hides a plan behind Any."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from shared_schedule import plan

ROOT = Path(__file__).resolve().parents[2]
STUB = ast.parse((ROOT / "shared_schedule" / "plan.pyi").read_text(encoding="utf-8"))
KINDS = {
    "u": "int", "s": "int", "c": "int", "t": "str", "T": "tuple[str, ...]", "i": "tuple[int, ...]",
    "q": "tuple[tuple[int, int], ...]",
}  # fmt: skip
NAMED = {"plan", "design", "step", "log", "day", "batch"}
SOURCES = sorted(
    path for part in ("companion/tourier", "shared_schedule") for path in (ROOT / part).rglob("*.py*")
    if path.suffix in {".py", ".pyi"}
)  # fmt: skip


def declared(body: list[ast.stmt]) -> dict[str, str]:
    return {one.target.id: ast.unparse(one.annotation) for one in body
            if isinstance(one, ast.AnnAssign) and isinstance(one.target, ast.Name)}  # fmt: skip


@pytest.mark.parametrize(
    ("record", "table"),
    [("Step", plan.STEP_FIELDS + plan.STEP_TAGS), ("Plan", plan.PLAN_FIELDS + plan.PLAN_TAGS)],
)
def test_the_stub_declares_every_field_of_a_record_and_no_other(record, table):
    body = next(one.body for one in STUB.body if isinstance(one, ast.ClassDef) and one.name == record)
    own = {"steps": "list[Step]"} if record == "Plan" else {}
    assert declared(body) == {name: KINDS[kind] for name, kind, _low, _high in table} | own


def test_the_stub_names_what_the_module_names():
    stub = {one.name for one in STUB.body if isinstance(one, ast.FunctionDef | ast.ClassDef)} | set(declared(STUB.body))
    source = ast.parse((ROOT / "shared_schedule" / "plan.py").read_text(encoding="utf-8"))
    made = {one.name for one in source.body if isinstance(one, ast.FunctionDef | ast.ClassDef)}
    made |= {
        to.id for one in source.body if isinstance(one, ast.Assign) for to in one.targets if isinstance(to, ast.Name)
    }
    public = {name for name in made if not name.startswith("_")}
    assert {name for name in stub if not name.startswith("_")} - {"FieldSpec", "FieldValue"} == public


def hidden(source: str) -> list[tuple[int, str]]:
    """Return (line, name) of parameters that stand for a plan or its like and whose annotation holds Any."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.arg) and node.arg in NAMED and node.annotation is not None:
            words = {one.id for one in ast.walk(node.annotation) if isinstance(one, ast.Name)}
            words |= {one.attr for one in ast.walk(node.annotation) if isinstance(one, ast.Attribute)}
            if "Any" in words:
                found.append((node.lineno, node.arg))
    return found


def test_any_does_not_stand_for_a_plan_design_step_log_day_or_batch():
    assert len(SOURCES) > 150
    found = [f"{path.relative_to(ROOT)}:{line}: {name}" for path in SOURCES
             for line, name in hidden(path.read_text(encoding="utf-8"))]  # fmt: skip
    assert found == []


@pytest.mark.parametrize("kind", ["Any", "typing.Any", "list[Any]", "Any | None"])
def test_any_is_seen_wherever_it_stands_in_the_annotation(kind):
    assert hidden(f"def show(plan: {kind}, other: Any): ...") == [(1, "plan")]
