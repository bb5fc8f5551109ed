"""Thermistor checks that run on both interpreters."""

from shared_schedule import thermistor
from shared_schedule.units import NO_CDEG

# Published: Semitec 103AT table (°C, ohm).
TABLE_103AT = (
    (-25, 86430), (-20, 67770), (-15, 53410), (-10, 42470), (-5, 33900), (0, 27280), (5, 22050), (10, 17960),
    (15, 14690), (20, 12090), (25, 10000), (30, 8313), (35, 6940), (40, 5827), (50, 4160), (60, 3020), (70, 2228),
    (80, 1668), (90, 1266), (100, 973),
)  # fmt: skip
# Independent: Vishay NTCLE100E3 (3977 K), computed elsewhere from the data-sheet polynomial R(T).
TABLE_3977 = (
    (-20, 96360), (-10, 55047), (0, 32555), (5, 25339), (10, 19873), (15, 15699), (20, 12488), (25, 10000),
    (30, 8059), (35, 6535), (40, 5330), (60, 2490), (80, 1256), (100, 677),
)  # fmt: skip


def check_103at_follows_its_table():
    at = thermistor.curve("103AT")
    for celsius, ohm in TABLE_103AT:
        got = thermistor.cdeg_from_ohm(ohm, at)
        assert abs(got - celsius * 100) <= 3, (celsius, got)


def check_3977_follows_its_table():
    vishay = thermistor.curve("VISHAY3977")
    assert vishay == thermistor.curve("3977")
    for celsius, ohm in TABLE_3977:
        got = thermistor.cdeg_from_ohm(ohm, vishay)
        assert abs(got - celsius * 100) <= 4, (celsius, got)


def check_wrong_curve_is_seen():
    # A 103AT bead decoded as 3977 reads +3.5 K at 0 °C: the offset from an ice point refuses it.
    got = thermistor.cdeg_from_ohm(27280, thermistor.curve("3977"))
    assert 330 <= got <= 370, got
    try:
        thermistor.ice_offset(got)
    except ValueError as error:
        assert "curve" in str(error)
    else:
        raise AssertionError("accepted")


def check_there_and_back():
    for name in thermistor.CURVE_NAMES:
        c = thermistor.curve(name)
        for cdeg in range(-4000, 10001, 250):
            assert abs(thermistor.cdeg_from_ohm(thermistor.ohm_from_cdeg(cdeg, c), c) - cdeg) <= 1, (name, cdeg)


def check_codes_there_and_back():
    # With 18 kilohm one count of 12 bits is under 0.04 K from -20 to 40 °C.
    for name in thermistor.CURVE_NAMES:
        c = thermistor.curve(name)
        for cdeg in range(-2000, 4001, 100):
            code = thermistor.code_from_cdeg(cdeg, 4096, 18000, c)
            state, got = thermistor.read(code, 4096, 18000, c)
            assert state == thermistor.OK and abs(got - cdeg) <= 3, (name, cdeg, got)
            # A sum of 64 readings resolves more.
            code = thermistor.code_from_cdeg(cdeg, 4096 * 64, 18000, c)
            assert abs(thermistor.read(code, 4096 * 64, 18000, c)[1] - cdeg) <= 1


def check_every_code_has_an_answer():
    c = thermistor.curve("103at")
    seen = [0, 0, 0, 0]
    for code in range(4096):
        state, cdeg = thermistor.read(code, 4096, 18000, c, 5)
        seen[state] += 1
        assert (cdeg == NO_CDEG) == (state != thermistor.OK)
    assert min(seen) > 0, seen
    assert thermistor.read(4095, 4096, 18000, c)[0] == thermistor.OPEN
    assert thermistor.read(0, 4096, 18000, c)[0] == thermistor.SHORT
    # -40..100 °C is about code 3739..210 with 18 kilohm: all of it is a reading.
    for code in range(210, 3739):
        assert thermistor.read(code, 4096, 18000, c)[0] == thermistor.OK, code


def check_offset_is_added():
    c = thermistor.curve("103at")
    code = thermistor.code_from_cdeg(40, 65535, 18000, c)
    state, raw = thermistor.read(code, 65535, 18000, c)
    assert state == thermistor.OK
    assert thermistor.read(code, 65535, 18000, c, thermistor.ice_offset(raw)) == (thermistor.OK, 0)


def check_names():
    try:
        thermistor.curve("10k")
    except ValueError as error:
        assert "103at" in str(error)
    else:
        raise AssertionError("accepted")


def check_ladder_reads_as_the_curve_does():
    """Every 16-bit code of a 12-bit converter and between, both curves: within 0.01 K from -20 to 60 °C."""
    for name, ohm in (("103at", 18000), ("3977", 20000), ("3977", 4700), ("103at", 47000)):
        c = thermistor.curve(name)
        ladder = thermistor.Ladder(65535, ohm, c)
        seen = [0, 0, 0, 0]
        for code in range(0, 65536, 11):
            state, cdeg = thermistor.read(code, 65535, ohm, c, 7)
            got = ladder.read(code, 7)
            seen[ladder.state] += 1
            if state != ladder.state:  # only where the last rung and the rounded curve part
                assert abs(cdeg - 12007) <= 2 or abs(cdeg + 3993) <= 2 or NO_CDEG in (cdeg, got), (code, cdeg, got)
                continue
            if state == thermistor.OK:
                assert abs(got - cdeg) <= (1 if -2000 <= cdeg <= 6000 else 3), (name, ohm, code, cdeg, got)
            else:
                assert got == NO_CDEG
        assert seen[0] > 1000 and seen[1] and seen[2] and (seen[3] or ohm > 20000), seen


def check_ladder_of_the_published_table():
    ladder = thermistor.Ladder(65535, 18000, thermistor.curve("103at"))
    for celsius, ohm in TABLE_103AT:
        if -20 <= celsius <= 60:
            got = ladder.read(int(65535 * ohm / (ohm + 18000) + 0.5))
            assert abs(got - 100 * celsius) <= 4, (celsius, got)
