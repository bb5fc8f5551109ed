"""The manual says every word, sound and light that the firmware can."""

from __future__ import annotations

import re

from firmware_support import on_device
from tourier.device.files import firmware_dir

from shared_schedule import words

MANUAL = (firmware_dir() / "MANUAL.md").read_text(encoding="utf-8")


def test_every_word_of_the_screen_is_explained():
    for word in [*words.WORDS.values(), *words.KIND_WORDS.values()]:
        if word not in ("", "MEMORY", "BEND TEST"):
            assert re.search(rf"(\||\s){re.escape(word)}(\s|,|\.)", MANUAL), word


def test_every_alarm_is_listed():
    done = on_device("import alarms\nfor row in alarms._KINDS: print(row[4])")
    told = done.stdout.splitlines()
    assert len(told) >= 12
    for word in told:
        assert word in MANUAL, word


def test_times_in_the_manual_are_the_firmwares():
    done = on_device(
        "import alarms, buttons, sounds, watch\n"
        "print(alarms.SNOOZE_S, [s for s in alarms._AGAIN_S][1:], buttons.LONG_MS, watch.SOON_S)\n"
        "print([sounds.OF_SOUND[k][1:] for k in (sounds.DUE, sounds.SOON, sounds.LEFT, sounds.FAULT)])"
    )
    assert done.returncode == 0, done.stdout + done.stderr
    first, second = done.stdout.splitlines()
    assert first == "300 [8, 8, 15, 15, 30, 30, 60] 900 180"
    assert second == "[(500, 500), (500, 500), (250, 250), (150, 1350)]"
    said = ("silent for five minutes", "8, 8, 15, 15, 30, 30 and then each 60", "for a second", "within three minutes")
    for text in said:
        assert text in MANUAL


def test_no_light_flashes_faster_than_three_times_a_second():
    """WCAG 2.2, 2.3.1: three flashes a second at most."""
    done = on_device("import sounds\nprint(min([p[1] + p[2] for p in sounds.OF_SOUND.values()]))")
    assert int(done.stdout) >= 334


def test_setting_the_clock_is_explained_as_it_is():
    code = "import clockset, ui\nprint([p[1] for p in clockset.PLACES])\nprint(ui._MENU[ui.M_CLOCK], ui._SETTING_S)"
    done = on_device(code)
    assert done.stdout.splitlines() == ["['1 h', '10', '1', '1 day']", "Set the clock 90"]
    part = MANUAL.split("## Setting the clock by hand")[1].split("\n## ")[0]
    told = ("*-1 h* and *+1 h*", "*more*, *Set the clock*", "a\nminute and a half", "the last time that was written")
    for text in told:
        assert text in part, text
