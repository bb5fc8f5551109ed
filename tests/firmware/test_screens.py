"""Every screen, drawn by the firmware under MicroPython: nothing runs off the edge, nothing lies over anything else."""

from __future__ import annotations

import pytest
from gallery import HEIGHT, WIDTH, image, shots

MM_PER_DOT = 55.01 / 128  # 2.42 inch module: active area 55.01 mm wide, from memory of common data sheets


@pytest.fixture(scope="module")
def drawn():
    return shots()


def test_every_word_fits_at_eight_millimetres(drawn):
    _shots, wide = drawn
    assert wide == []
    heads = [mark for shot in drawn[0] for mark in shot.marks if mark[3] == 19]
    assert len(heads) > 20
    assert 19 * MM_PER_DOT >= 8.0


def test_main_digits_are_ten_millimetres(drawn):
    digits = [mark for shot in drawn[0] for mark in shot.marks if mark[3] == 24]
    assert len(digits) > 30
    assert 24 * MM_PER_DOT >= 10.0


def test_nothing_runs_off_the_edge(drawn):
    for shot in drawn[0]:
        for x, y, width, height, text in shot.marks:
            assert x >= 0 and y >= 0 and x + width <= WIDTH and y + height <= HEIGHT, (shot.name, text)


def test_no_text_lies_over_another(drawn):
    checked = 0
    for shot in drawn[0]:
        for number, (x, y, width, height, text) in enumerate(shot.marks):
            for x2, y2, width2, height2, text2 in shot.marks[number + 1 :]:
                apart = x + width <= x2 or x2 + width2 <= x or y + height <= y2 or y2 + height2 <= y
                assert apart, (shot.name, text, text2)
                checked += 1
    assert checked > 200


def test_our_own_sentences_are_never_cut(drawn):
    """Only names, which come from outside, may end in the dot of a text that was cut; questions wrap."""
    names = {"times", "two-rests"}
    for shot in drawn[0]:
        if shot.name in names:
            continue
        for _x, y, _width, height, text in shot.marks:
            if height == 8 and y >= 11 and text.endswith("."):
                assert text == "Look inside.", (shot.name, text)


def test_a_fault_shows_no_number(drawn):
    shot = next(shot for shot in drawn[0] if shot.name == "no-reading")
    assert [mark[4] for mark in shot.marks if mark[3] == 24] == ["--"]
    assert any("no reading" in mark[4] for mark in shot.marks)


def texts(drawn, name):
    return [mark[4] for mark in next(shot for shot in drawn[0] if shot.name == name).marks]


def test_too_cold_counts_no_minutes_of_a_window_not_yet_reached(drawn):
    """WAIT with "0 s" beside it would read as time run out, while the butter only warms."""
    said = texts(drawn, "wait-cold")
    assert "WAIT" in said and not {"0", "s", "min", "win"} & set(said)
    assert {"0", "win"} <= set(texts(drawn, "chill-now"))  # too warm: no time is left indeed


def test_which_paton_is_said_wherever_two_could_be_meant(drawn):
    """Of two pâtons that rest, "Rest after fold 1" would not tell which one to take out of the fridge."""
    assert "p\u00e2ton 1, rest 1" in texts(drawn, "rest-ready")
    assert "p\u00e2ton 1, lock in" in texts(drawn, "lock-in-due")
    assert "p\u00e2ton 1, 4-fold 1/3" in texts(drawn, "roll")
    listed = [text for text in texts(drawn, "times") if "rest 1" in text]
    assert listed == ["12 min p\u00e2ton 1, rest 1", "40 min p\u00e2ton 2, rest 1"]


def test_what_comes_next_stands_beside_its_hour(drawn):
    assert "06:40 p\u00e2ton 1, fold 1" in texts(drawn, "fold-due")
    assert "06:30 p\u00e2ton 1, lock in" in texts(drawn, "next")


def test_urgent_words_differ_in_shape_not_only_in_light(drawn):
    """The band behind an urgent word is turned over: more than half of its dots are lit."""
    by_name = {shot.name: shot for shot in drawn[0]}
    for name in ("chill-now", "too-warm-alarm", "rest-ready"):
        band = sum((octet >> bit) & 1 for octet in by_name[name].memory[:256] for bit in range(8))
        assert band > 128 * 16 * 0.5, name
    band = sum((octet >> bit) & 1 for octet in by_name["roll"].memory[:256] for bit in range(8))
    assert band < 128 * 16 * 0.4


def test_pictures_have_square_dots(drawn):
    assert image(drawn[0][0].memory, 3).size == ((WIDTH + 12) * 3, (HEIGHT + 12) * 3)


def test_every_screen_was_drawn_with_something_on_it(drawn):
    assert len(drawn[0]) >= 34
    for shot in drawn[0]:
        assert any(shot.memory), shot.name
        assert any(mark[1] == 56 for mark in shot.marks), f"{shot.name} has no button label"
