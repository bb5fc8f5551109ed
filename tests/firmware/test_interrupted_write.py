"""Octet 3 on the line (mpremote wants the prompt) in the middle of a write: old content or new, never nothing."""

from __future__ import annotations

import subprocess

from tourier.device.files import firmware_dir, shared_dir
from tourier.device.virtual.board import find_micropython

PROGRAM = """
import builtins, os, sys
import files as S
folder = sys.argv[1]
path = folder + "/head"
S.write_file(path, S.seal(b"old"))
real = open
left = 0
def step():
    global left
    if left == 0:
        left = -1
        raise KeyboardInterrupt
    left -= 1
class File:
    def __init__(self, path, mode):
        step()
        self.file = real(path, mode)
        self.mode = mode
    def __enter__(self):
        step()
        return self
    def __exit__(self, *_):
        self.file.close()
        if self.mode == "wb":
            step()
    def write(self, data):
        step()
        n = self.file.write(data)
        step()
        return n
    def read(self):
        return self.file.read()
fired = 0
for left_ in range(8):
    left = left_
    S.open = File
    was = S.unseal(real(path, "rb").read())
    wanted = b"new %d" % left_
    try:
        S.write_file(path, S.seal(wanted))
        left = -1
    except KeyboardInterrupt:
        fired += 1
    S.open = real
    now = S.unseal(real(path, "rb").read())
    assert now in (was, wanted) and now is not None, (left_, now)
print(fired)
"""


def test_an_interrupt_at_any_point_of_a_write_leaves_old_or_new(tmp_path):
    script = tmp_path / "program.py"
    script.write_text(PROGRAM)
    done = subprocess.run(
        [find_micropython(), str(script), str(tmp_path)], capture_output=True, text=True,
        env={"MICROPYPATH": f"{firmware_dir()}:{shared_dir()}"},
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    assert int(done.stdout) == 5
