"""Odd file names, odd settings and a disk that takes nothing: a sentence, and the desk goes on."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest
from textual.widgets import Input, OptionList
from tourier import places
from tourier.desk.data.kept import Autosave
from tourier.desk.data.settings import Settings

TOO_LONG = "x" * 290  # file systems take 255 octets


def _said(desk) -> str:
    return " ".join(one.message for one in desk._notifications)


async def _opened(desk, pilot, until) -> None:
    await until(pilot, lambda: getattr(desk.screen_stack[0], "doc", None) is not None)


@pytest.mark.parametrize("recent", ["5", '"one"', f'[5, "a\\u0000b", "{TOO_LONG}"]'])
async def test_settings_written_by_hand_are_forgiven(home, make_desk, until, recent):
    config = home / "config" / "desk.toml"
    config.parent.mkdir(parents=True)
    config.write_text(f"welcomed = true\nrecent = {recent}\n", encoding="utf-8")
    desk = make_desk()
    async with desk.run_test() as pilot:
        await _opened(desk, pilot, until)


@pytest.mark.parametrize("name", ["\U0001f950 sunday.toml", "a\x7fb.toml", 'say "cheese".toml'])
def test_any_file_name_is_remembered_with_the_other_settings(tmp_path, name):
    settings = Settings(tmp_path / "desk.toml", silent=True)
    settings.opened(tmp_path / name)
    settings.write()
    again = Settings.read(tmp_path / "desk.toml")
    assert again.silent and again.recent == [str((tmp_path / name).resolve())]


def test_a_name_no_text_can_hold_costs_no_setting(tmp_path):
    settings = Settings(tmp_path / "desk.toml", silent=True)
    settings.opened(tmp_path / "a\udcffb.toml")
    settings.write()
    assert Settings.read(tmp_path / "desk.toml").silent


async def test_settings_that_cannot_be_kept_are_said_once(home, make_desk, until):
    desk = make_desk()
    async with desk.run_test(size=(120, 40)) as pilot:
        await _opened(desk, pilot, until)
        desk.settings.file = home / "config" / "desk.toml" / "under a file.toml"
        await pilot.press("f7", "f8")
        await until(pilot, lambda: "cannot be kept" in _said(desk))
        assert _said(desk).count("cannot be kept") == 1 and desk.is_running


@pytest.mark.parametrize("name", [TOO_LONG, "/root\0/x"])
async def test_a_name_that_cannot_be_a_file_is_not_opened(make_desk, until, name):
    desk = make_desk()
    async with desk.run_test(size=(120, 40)) as pilot:
        await _opened(desk, pilot, until)
        await pilot.press("ctrl+o")
        await until(pilot, lambda: desk.screen.query(Input))
        desk.screen.query_one(Input).value = name
        await pilot.press("enter")
        await until(pilot, lambda: "There is no file" in _said(desk))


async def test_a_batch_put_aside_that_is_no_text_any_more_is_not_opened(home, make_desk, until):
    places.autosave_folder().mkdir(parents=True)
    (places.autosave_folder() / "aside-0.toml").write_bytes(b'name = "\xff\xfe"\n')
    desk = make_desk()
    async with desk.run_test(size=(120, 40)) as pilot:
        await _opened(desk, pilot, until)
        await pilot.press("ctrl+o")
        await until(pilot, lambda: desk.screen.query(OptionList))
        desk.screen.query_one(OptionList).focus()
        await pilot.press("home", "enter")
        await until(pilot, lambda: "no text any more" in _said(desk))


@pytest.mark.parametrize(
    ("name", "word"), [(".", "names no file"), ("/", "names no file"), ("..", "names no file"), (TOO_LONG, "too long")]
)
async def test_a_name_that_cannot_be_a_file_is_not_saved_to(make_desk, until, name, word):
    desk = make_desk()
    async with desk.run_test(size=(120, 40)) as pilot:
        await _opened(desk, pilot, until)
        await pilot.press("ctrl+s")
        await until(pilot, lambda: desk.screen_stack[1:] and desk.screen.query(Input))
        desk.screen.query_one(Input).value = name
        await pilot.press("enter")
        await until(pilot, lambda: word in _said(desk), what=f"{word} is not in {_said(desk)}")
        assert desk.screen_stack[1:] == []


def test_edits_of_a_file_with_any_name_are_kept(tmp_path):
    kept = Autosave(tmp_path, tmp_path / "a\udcffb.toml")
    kept.keep("x = 1\n")
    assert kept.found() == "x = 1\n"


def test_of_edits_kept_by_many_threads_the_newest_stays_and_none_is_refused(tmp_path):
    kept = Autosave(tmp_path, None)
    with ThreadPoolExecutor(4) as threads:
        done = [threads.submit(kept.keep, f"x = {number}\n", kept.turn()) for number in range(300)]
    assert [one.exception() for one in done if one.exception()] == []
    assert kept.found() == "x = 299\n"


def test_a_late_thread_brings_nothing_back_that_was_saved(tmp_path):
    kept = Autosave(tmp_path, None)
    late = kept.turn()
    kept.forget()
    kept.keep("x = 1\n", late)
    assert kept.found() is None


async def test_keys_and_kitchen_that_cannot_be_written_are_said_and_the_answers_stay(make_desk, until, monkeypatch):
    desk = make_desk()
    async with desk.run_test(size=(120, 40)) as pilot:
        await _opened(desk, pilot, until)

        def full(file, _content):
            raise OSError(28, "No space left on device", str(file))

        monkeypatch.setattr("tourier.files.keep", full)
        await pilot.press("f9")
        await until(pilot, lambda: desk.screen.query("#keys-hint"))
        await pilot.press("enter", "ctrl+b")
        await until(pilot, lambda: "the keys hold until you leave" in _said(desk))
        await pilot.press("escape", "f4")
        await until(pilot, lambda: desk.current_mode == "kitchen" and desk.screen.query("Footer FooterKey"))
        await pilot.press("k")
        await until(pilot, lambda: desk.screen.query("#keep"))
        desk.screen.action_keep()
        await until(pilot, lambda: "answers cannot be kept" in _said(desk))
        assert desk.screen.query("#keep")
