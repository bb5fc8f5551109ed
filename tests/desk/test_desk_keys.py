"""The key map: nothing bound twice, nothing that a terminal eats, all of it in Help, all of it by key and by mouse."""

from __future__ import annotations

from collections import defaultdict

import pytest
from textual.command import CommandPalette
from textual.widgets import DataTable
from tourier.desk.actions import ACTIONS, ANYWHERE, read_keymap
from tourier.desk.screens.help import Help

ROOMS = {"batch": "f1", "bench": "f2", "lookback": "f3", "kitchen": "f4", "timer": "f5"}

# What never reaches a program, or reaches it as another key. ASCII (ISO 646) control codes: ctrl+h is backspace,
# ctrl+i is tab, ctrl+j and ctrl+m are enter, ctrl+[ is escape, ctrl+@ is NUL. termios(3): ctrl+c, ctrl+\\ and ctrl+z
# are signals and ctrl+s, ctrl+q flow control, unless the program asks for raw input, as Textual's driver does (it
# clears ISIG and IXON); so those are allowed here and the next test proves the driver does it.
SAME_CODE = {"ctrl+h", "ctrl+i", "ctrl+j", "ctrl+m", "ctrl+left_square_bracket", "ctrl+at", "ctrl+space"}
# Taken before the terminal by common window managers and terminals (from memory; no standard): closing, copying.
TAKEN = {"alt+f4", "ctrl+alt+t", "f11", "ctrl+shift+c", "ctrl+shift+v", "ctrl+shift+w", "ctrl+c"}


def _keys(action) -> list[str]:
    return action.keys.split(",")


def test_no_key_is_bound_twice_in_one_room():
    for room in ROOMS:
        meaning = defaultdict(list)
        for action in ACTIONS:
            if action.where in (ANYWHERE, room):
                for key in _keys(action):
                    meaning[key].append(action.id)
        assert {key: ids for key, ids in meaning.items() if len(ids) > 1} == {}, room


def test_no_key_is_eaten_by_a_terminal():
    for action in ACTIONS:
        assert not set(_keys(action)) & (SAME_CODE | TAKEN), action.id
        # A letter alone would end up in the form's fields.
        if action.where in (ANYWHERE, "batch"):
            usable = [key for key in _keys(action) if len(key) > 1 and key != "question_mark"]
            assert usable, f"{action.id} has no key that works while one types"


def test_ids_and_rooms_are_sound():
    assert len({action.id for action in ACTIONS}) == len(ACTIONS)
    assert {action.where for action in ACTIONS} <= {ANYWHERE, *ROOMS}
    assert all(action.help and action.text for action in ACTIONS)


async def _enter(desk, pilot, until, room: str) -> None:
    await until(pilot, lambda: getattr(desk.screen_stack[0], "doc", None) is not None)
    await pilot.press(ROOMS[room])
    await until(pilot, lambda: desk.current_mode == room and desk.screen.query("Footer FooterKey"))


@pytest.mark.parametrize("room", ROOMS)
async def test_help_footer_and_palette_have_every_action_of_the_room(make_desk, until, room):
    desk = make_desk()
    async with desk.run_test(size=(120, 40)) as pilot:
        await _enter(desk, pilot, until, room)
        screen = desk.screen
        mine = [action for action in ACTIONS if action.where in (ANYWHERE, room)]
        bound = {active.binding.id: active for active in screen.active_bindings.values() if active.binding.id}
        assert {action.id for action in mine} <= set(bound), "an action has no binding in its room"
        for action in mine:
            target = desk if action.where == ANYWHERE else screen
            assert hasattr(target, f"action_{action.name.split('(')[0]}"), f"{action.id} does nothing"

        # All that can be done now can be reached without a key: footer or palette, both of which take clicks.
        offered = {command.title for command in desk.get_system_commands(screen)}
        on_footer = {str(key.description) for key in screen.query("FooterKey")}
        possible = [action for action in mine if action.where == ANYWHERE or screen.offers(action.name)]
        assert {action.text for action in possible if action.id != "app.palette"} <= offered | on_footer
        assert "Commands" in on_footer  # the palette itself

        # Help lists all, with the keys in force.
        await pilot.press("f10")
        await until(pilot, lambda: isinstance(desk.screen, Help), what="no help")
        lines = desk.screen.key_lines()
        for action in mine:
            assert any(action.help in line for line in lines), f"{action.id} is not in Help"
        await pilot.press("escape")
        await until(pilot, lambda: desk.screen is screen)


async def test_every_room_by_mouse_alone(make_desk, until):
    desk = make_desk()
    async with desk.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: getattr(desk.screen_stack[0], "doc", None) is not None)
        for room in (*list(ROOMS)[1:], "batch"):
            row = desk.screen.query_one("RoomRow")
            start = next(start for start, _stop, one in row._spans if one == room)
            await pilot.click(row, offset=(start + 2, 0))
            await until(pilot, lambda room=room: desk.current_mode == room, what=f"{room} not entered by a click")
            await until(pilot, lambda: desk.screen.query("Footer FooterKey"))
            # Help and the palette by their words in the footer, at 80 columns, and closed again by the mouse.
            before = desk.screen
            for word, kind in (("Help", Help), ("Commands", CommandPalette)):
                key = next(key for key in desk.screen.query("FooterKey") if key.description == word)
                assert key.region.right <= 80 and key.region.width, f"{word} is not in sight in {room}"
                await pilot.click(key)
                await until(pilot, lambda kind=kind: isinstance(desk.screen, kind), what=f"{word} by mouse in {room}")
                if isinstance(desk.screen, Help):
                    await pilot.click("#close")
                else:
                    await pilot.click(offset=(1, 23))
                await until(pilot, lambda before=before: desk.screen is before, what=f"{word} not closed by mouse")


async def test_a_key_is_changed_and_help_and_footer_say_so(make_desk, home, until):
    desk = make_desk()
    async with desk.run_test(size=(120, 40)) as pilot:
        await _enter(desk, pilot, until, "timer")
        await pilot.press("f9")
        await until(pilot, lambda: desk.screen.__class__.__name__ == "Keys", what="no list of keys")
        keys = desk.screen
        table = keys.query_one(DataTable)
        assert table.row_count == len(ACTIONS)
        table.move_cursor(row=[action.id for action in ACTIONS].index("timer.check"))
        hint = keys.query_one("#keys-hint")
        # A key that means something there already is not taken, nor one that cannot reach a program.
        await pilot.press("enter", "z")
        assert "already means Ice point" in str(hint.content)
        await pilot.press("enter", "tab")
        assert "Nothing was changed" in str(hint.content)
        await pilot.press("enter", "y")
        assert "is now y" in str(hint.content)
        await pilot.press("escape")
        await until(pilot, lambda: desk.screen is not keys)
        bound = {active.binding.id: key for key, active in desk.screen.active_bindings.items()}
        assert bound["timer.check"] == "y"
        await pilot.press("f10")
        await until(pilot, lambda: isinstance(desk.screen, Help))
        assert any(line.split()[0] == "y" and "self-test" in line for line in desk.screen.key_lines())
    keymap, complaints = read_keymap(home / "config" / "keys.toml")
    assert keymap == {"timer.check": "y"} and complaints == []
    again = make_desk()
    async with again.run_test(size=(120, 40)) as pilot:
        await _enter(again, pilot, until, "timer")
        bound = {active.binding.id: key for key, active in again.screen.active_bindings.items()}
        assert bound["timer.check"] == "y"
