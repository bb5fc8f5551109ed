"""Runs under MicroPython: opens the store on an image as the firmware does at power-up, and says what it found.

Reads lines "TRIAL [cut]" from standard input; `cut` ends the recovery itself after that many flash operations and then
opens once more. The image file is never written: changes go to an overlay that is forgotten after each trial.
Answers one line of JSON: plan id, plan length, losses, journal in hex, samples in hex (the last 400 octets) and their
number of octets, how many operations the recovery took.
"""

import binascii
import gc
import json
import sys

import store as S
import vfs

from shared_schedule import journal as J

_BLOCK = 4096


class Overlay:
    """The image read-only, with writes kept in memory; loses power after `left` operations."""

    def __init__(self, path):
        self.file = open(path, "rb")
        self.blocks = {}
        self.left = -1
        self.ops = 0

    def _block(self, n):
        if n not in self.blocks:
            self.file.seek(n * _BLOCK)
            self.blocks[n] = bytearray(self.file.read(_BLOCK))
        return self.blocks[n]

    def readblocks(self, n, buf, off=0):
        if n in self.blocks:
            buf[:] = memoryview(self.blocks[n])[off : off + len(buf)]
        else:
            self.file.seek(n * _BLOCK + off)
            self.file.readinto(buf)

    def _gone(self):
        self.ops += 1
        if self.left == 0:
            return True
        self.left -= 1
        return False

    def writeblocks(self, n, buf, off=0):
        if self._gone():
            return -5
        self._block(n)[off : off + len(buf)] = buf

    def ioctl(self, op, arg):
        if op == 4:
            return 352
        if op == 5:
            return _BLOCK
        if op == 6:
            if self._gone():
                return -5
            self.blocks[arg] = bytearray(b"\xff" * _BLOCK)
        return 0


def valid_length(data):
    reader = J.read(data)
    for _record in reader:
        pass
    return reader.at


def open_store(flash):
    fs = vfs.VfsLfs2(flash, progsize=256, readsize=32, lookahead=32, mtime=False)
    vfs.mount(fs, "/")
    try:
        store = S.Store(valid_length)
        store.open()
        store.finish_replacement()
        plan = store.plan_bytes()
        journal = b"".join(list(store.journal()))
        size = store.samples_octets()
        buffer = bytearray(size)
        got = store.read_samples(0, size, memoryview(buffer)) if size else 0
        return {
            "plan_id": store.plan_id, "plan": len(plan or b""), "losses": store.losses, "samples": got,
            "journal": binascii.hexlify(journal).decode(), "sample_hex": binascii.hexlify(buffer[:got]).decode(),
        }  # fmt: skip
    finally:
        vfs.umount("/")


def main(path):
    flash = Overlay(path)
    vfs.umount("/")
    while True:
        line = sys.stdin.readline()
        if not line:
            return
        parts = line.split()
        flash.blocks = {}
        flash.ops = 0
        flash.left = int(parts[1]) if len(parts) > 1 else -1
        answer = None
        try:
            answer = open_store(flash)
        except OSError as problem:
            answer = {"error": str(problem)}
        if len(parts) > 1:
            flash.left = -1
            try:
                answer = open_store(flash)
            except OSError as problem:
                answer = {"error": str(problem)}
        answer["ops"] = flash.ops
        print(json.dumps(answer))
        gc.collect()


main(sys.argv[1])
