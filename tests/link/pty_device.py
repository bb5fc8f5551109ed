"""The model timer on a real MicroPython interpreter: standard input and output are the link.

Run as `micropython -X heapsize=384k -i pty_device.py ROOT [samples_octets]`, on a raw pty. Ctrl-C goes to the prompt.
"""

import select
import sys
import time

sys.path.insert(0, sys.argv[1])
sys.path.insert(0, sys.argv[1] + "/tests/link")

from model_timer import ModelTimer  # noqa: E402

from shared_schedule import messages as m  # noqa: E402
from shared_schedule.link import DeviceSession  # noqa: E402


def serve(handler):
    """Move octets for ever. Short reads and short writes are the rule; nothing waits longer than 20 ms."""
    session = DeviceSession(handler)
    stdin, stdout = sys.stdin.buffer, sys.stdout.buffer
    reader, writer = select.poll(), select.poll()
    reader.register(sys.stdin, select.POLLIN)
    writer.register(sys.stdout, select.POLLOUT)
    block = bytearray(64)
    view = memoryview(block)
    passed_ms = time.ticks_ms()
    while True:
        now_ms = time.ticks_ms()
        handler.loop_worst_ms = max(handler.loop_worst_ms, time.ticks_diff(now_ms, passed_ms))
        passed_ms = now_ms
        waiting = session.output(now_ms)
        count = 0
        for _ in reader.ipoll(0 if waiting or session.pending() else 20):
            while count < 64:
                block[count] = stdin.read(1)[0]
                if block[count] == 3:
                    # A Pico's console does this by itself. Nothing more may be read: the prompt wants what follows.
                    raise KeyboardInterrupt
                count += 1
                if not reader.poll(0):
                    break
        if count:
            session.feed(view[:count], now_ms)
        session.tick(now_ms)
        waiting = session.output(now_ms)
        if waiting and writer.poll(0):
            session.sent(stdout.write(waiting[:256]) or 0)


def main():
    timer = ModelTimer(boot_id=time.time_ns() & 0x3FFFFFFF)
    size = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    timer.streams[m.STREAM_SAMPLES] = bytes([(i * i + i // 7) & 0xFF for i in range(256)]) * (size // 256)
    serve(timer)


if __name__ == "__main__":
    main()
