"""Checks of the seconds clock across wraps of the millisecond counter."""

from shared_schedule.ticks import PERIOD, SecondsClock


def check_counts_across_many_wraps():
    # 40 days cross the 12.4-day wrap three times; fed every 977 ms, as an irregular loop would.
    true_ms = PERIOD - 5000
    clock = SecondsClock(true_ms, 1000)
    start_ms = true_ms
    last = 1000
    wraps = 0
    while true_ms - start_ms < 40 * 86400000:
        true_ms += 977 * 997
        wraps = max(wraps, true_ms // PERIOD)
        now_s = clock.feed(true_ms % PERIOD)
        assert now_s == 1000 + (true_ms - start_ms) // 1000, true_ms
        assert now_s >= last
        last = now_s
    assert wraps >= 3


def check_fine_steps_lose_nothing():
    clock = SecondsClock(PERIOD - 1500, 0)
    ms = PERIOD - 1500
    for _ in range(30000):
        ms += 7
        clock.feed(ms % PERIOD)
    assert clock.now_s == 210


def check_never_backwards():
    clock = SecondsClock(5000, 100)
    assert clock.feed(4000) == 100 and clock.feed(5999) == 100 and clock.feed(6000) == 101


def check_set():
    clock = SecondsClock(0, 100)
    clock.feed(900)
    clock.set(5000)
    assert clock.feed(1800) == 5000 and clock.feed(1900) == 5001
