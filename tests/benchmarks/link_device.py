"""The model timer with its plan and log in files, for the comparison with a file copy: both move files then.

Run as `micropython -X heapsize=768k -i link_device.py ROOT FOLDER`, on a raw pty.
"""

import os
import sys

sys.path.insert(0, sys.argv[1])
sys.path.insert(0, sys.argv[1] + "/tests/link")

from model_timer import ModelTimer  # noqa: E402
from pty_device import serve  # noqa: E402

from shared_schedule import messages as m  # noqa: E402

FOLDER = sys.argv[2]


class FileTimer(ModelTimer):
    """Stores a plan like the firmware does: written beside, flushed, renamed; reads a log from its file."""

    def on_plan(self, data):
        with open(FOLDER + "/plan.new", "wb") as file:
            file.write(data)
            file.flush()
        os.rename(FOLDER + "/plan.new", FOLDER + "/plan.bin")
        return super().on_plan(data)

    def log_info(self, stream):
        return (0, os.stat(FOLDER + "/samples.bin")[6]) if stream == m.STREAM_SAMPLES else None

    def log_read(self, stream, offset, n, into):
        with open(FOLDER + "/samples.bin", "rb") as file:
            file.seek(offset)
            return file.readinto(into[:n])


serve(FileTimer())
