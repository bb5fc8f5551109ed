"""Device heat model checks that run on both interpreters; the comparison with the fine model is in tests/craft."""

from shared_schedule.slab import LONGEST_S, Slab
from shared_schedule.units import NO_CDEG

# Independent: exact series for a plate, k .39, alpha 1.21e-7 (rho c 3223 kJ), equal films on both faces, computed
# elsewhere; the tray share is lifted for these, so that both faces are alike.
# (thickness um, film mW, from, air, seconds, exact core) in 0.01 °C.


def _even(thickness_um, film_mw):
    """A plate with the same film on both faces, by asking for a tray film that makes them equal."""
    from shared_schedule import slab as module

    kept = module.TRAY_PERCENT
    module.TRAY_PERCENT = 100
    try:
        s = Slab()
        s.lay(thickness_um, 390, 3223, film_mw)
    finally:
        module.TRAY_PERCENT = kept
    return s


def check_against_exact_series():
    for thickness, film, begin, air, seconds, exact in (
        (20000, 8000, 1800, 400, 1800, 1351),
        (20000, 8000, 1800, 400, 3600, 1026),
        (20000, 8000, 1800, 400, 5400, 812),
        (40000, 8000, 2400, 400, 7200, 1368),
        (40000, 8000, 2400, 400, 14400, 842),
        (20000, 9000, 1800, -1800, 900, 1153),
        (20000, 9000, 1800, -1800, 1800, 539),
        (10000, 7000, 500, 2200, 600, 861),
    ):
        s = _even(thickness, film)
        s.start(begin)
        got = s.core_after(seconds, air)
        assert abs(got - exact) <= 8, (thickness, seconds, got, exact)


def check_minutes_to_cool():
    # Independent: minutes for the core 18 -> 8 °C in 4 °C air, films 6 / 8 / 12 / 20.
    for thickness, minutes in ((10000, (58, 44, 30, 19)), (20000, (120, 92, 64, 42)), (40000, (257, 201, 145, 100))):
        for which in range(4):
            film, wanted = (6000, 8000, 12000, 20000)[which], minutes[which]
            s = _even(thickness, film)
            s.start(1800)
            got = s.core_seconds_until(800, 400, LONGEST_S)
            if wanted * 60 > LONGEST_S:
                assert got == -1
                continue
            assert abs(got - wanted * 60) <= max(60, wanted * 60 // 50), (thickness, film, got)


def check_nothing_moves_at_rest():
    for bench in (0, 424, 1369, 3130, 7860):
        s = Slab()
        s.lay(8000, 350, 3200, 7700, bench, 20000)
        for cdeg in (-1800, 0, 731, 2200, 3900):
            s.start(cdeg, cdeg)
            assert abs(s.core_after(LONGEST_S, cdeg) - cdeg) <= 3, (bench, cdeg, s.core_after(LONGEST_S, cdeg))


def check_stone_warms_faster_than_wood():
    times = []
    for effusivity, bench_um in ((3130, 22400), (424, 8700)):
        s = Slab()
        s.lay(8000, 350, 3200, 7700, effusivity, bench_um)
        s.start(900, 2200)
        times.append(s.seconds_until(700, 1600, 2200))
        assert s.side == 1
    assert times[0] * 2 < times[1], times


def check_cold_bench_leaves_below():
    s = Slab()
    s.lay(8000, 350, 3200, 7700, 3130, 22400)
    s.start(1300, 300)
    left = s.seconds_until(1000, 1600, 2200)
    assert 0 < left < 600 and s.side == -1, left


def check_already_outside_is_zero():
    s = Slab()
    s.lay(8000, 350, 3200, 7700)
    s.start(1700)
    assert s.seconds_until(1000, 1600, 2200) == 0 and s.side == 1
    s.start(900)
    assert s.seconds_until(1000, 1600, 2200) == 0 and s.side == -1


def check_never_is_minus_one():
    s = Slab()
    s.lay(8000, 350, 3200, 7700)
    s.start(1300)
    assert s.seconds_until(1000, 1600, 1400) == -1 and s.side == 0
    assert s.core_seconds_until(400, 500) == -1


def check_limit_holds():
    s = Slab()
    s.lay(20000, 390, 3223, 8000)
    s.start(1800)
    free = s.core_seconds_until(1000, 400)
    assert s.core_seconds_until(1000, 400, free - 1) == -1
    assert abs(s.core_seconds_until(1000, 400, free + 1) - free) <= 1


def check_longer_is_further():
    # Time to a higher limit is never shorter, and a later forecast never says later than it should by a jump.
    s = Slab()
    s.lay(12000, 350, 3200, 7700, 2698, 20000)
    s.start(800, 2100)
    last = 0
    for high in range(850, 1800, 25):
        t = s.seconds_until(0, high, 2300)
        assert t >= last, (high, t, last)
        last = t


def check_following_beats_guessing():
    # A plate half way through its cooling, followed from the start, is forecast as well as from the start itself.
    whole = _even(30000, 12000)
    whole.start(1600)
    ends = whole.core_seconds_until(700, 400, LONGEST_S)
    reading = whole.core_after(1200, 400)
    followed = _even(30000, 12000)
    followed.start(1600)
    for second in range(0, 1200, 60):
        followed.track(60, 400, whole.core_after(second + 60, 400))
    assert abs(followed.core_seconds_until(700, 400, LONGEST_S) + 1200 - ends) <= ends // 50
    guessed = _even(30000, 12000)
    guessed.start(reading)
    assert abs(guessed.core_seconds_until(700, 400, LONGEST_S) + 1200 - ends) > ends // 50


def check_resume_keeps_the_profile():
    s = Slab()
    s.lay(24000, 350, 3200, 9000)
    s.start(1400)
    s.track(1800, -1800)
    cold_faces = s.core_after(0, 2200)
    s.lay(24000, 350, 3200, 7700, 3130, 22400)
    s.resume(cold_faces, 2200)
    kept = s.core_after(300, 2200)
    s.start(cold_faces, 2200)
    even = s.core_after(300, 2200)
    assert kept < even - 50, (kept, even)  # faces were colder than the core: it first goes on falling
    s.start(cold_faces, 2200, -1800)
    guessed = s.core_after(300, 2200)
    assert kept - 200 < guessed < even


def check_track_of_nothing_changes_nothing():
    s = Slab()
    s.lay(12000, 350, 3200, 7700, 2698, 20000)
    s.start(900, 2100)
    before = s.seconds_until(0, 1600, 2300)
    s.track(0, 2300)
    assert s.seconds_until(0, 1600, 2300) == before
    s.track(60, 2300)
    assert abs(s.seconds_until(0, 1600, 2300) - (before - 60)) <= 6


def check_refusals():
    s = Slab()
    for wrong in (
        lambda: s.start(1000),
        lambda: s.lay(0, 350, 3200, 7700),
        lambda: s.lay(8000, 0, 3200, 7700),
        lambda: s.lay(8000, 350, 0, 7700),
        lambda: s.lay(8000, 350, 3200, 0),
        lambda: s.lay(8000, 350, 3200, 7700, 3130, 0),
        lambda: Slab(4),
    ):
        try:
            wrong()
        except ValueError:
            pass
        else:
            raise AssertionError("accepted")
    s.lay(8000, 350, 3200, 7700, 3130, 20000)
    for core, bench in ((NO_CDEG, 2000), (1000, NO_CDEG), (9000, 2000)):
        try:
            s.start(core, bench)
        except ValueError:
            continue
        raise AssertionError("accepted")


def check_loop_allocates_nothing():
    try:
        import micropython

        lock = micropython.heap_lock
    except (ImportError, AttributeError):
        return  # only the device's interpreter can forbid allocation
    s = Slab()
    s.lay(8000, 350, 3200, 7700, 3130, 20000)
    s.start(900, 2200)
    lock()
    try:
        t = s.seconds_until(700, 1600, 2200, 7200)
        s.track(30, 2200, 950)
    finally:
        micropython.heap_unlock()
    assert t > 0


def check_same_to_the_second_everywhere():
    # Regression: whole numbers made by the integer loop; both interpreters must give these very values.
    s = Slab()
    s.lay(8000, 350, 3200, 7700, 3130, 22400)
    s.start(900, 2200)
    got = [s.seconds_until(700, high, 2200) for high in (1200, 1400, 1600)]
    assert got == [77, 151, 273], got
