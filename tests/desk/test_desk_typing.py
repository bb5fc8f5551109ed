"""What is typed arrives where it was meant, however late the loop is; what cannot be done is not offered."""

from __future__ import annotations

from textual import events
from textual.widgets import Input
from tourier.desk.actions import ACTIONS
from tourier.desk.widgets.plot import Plot


async def _batch(desk, pilot, until):
    await until(pilot, lambda: getattr(desk.screen_stack[0], "doc", None) is not None)
    return desk.screen_stack[0]


def _at_once(desk, *keys):
    """Send keys as a terminal does that was not read for a while: all of them are there before one is answered."""
    for key in keys:
        desk._driver.send_message(events.Key(key, "\t" if key == "tab" else key if len(key) == 1 else None))


async def test_a_field_entered_by_tab_is_typed_over(make_desk, until):
    desk = make_desk()
    async with desk.run_test(size=(120, 40)) as pilot:
        room = await _batch(desk, pilot, until)
        await pilot.press("tab", "O", "u", "r", "s")
        assert room.doc.get("name") == "Ours"
        await pilot.press("ctrl+z")
        assert room.doc.get("name") == "Village hall breakfast"


async def test_letters_do_not_overtake_the_keys_before_them(make_desk, until):
    """Without an order of its own all letters land in the name: Tab rises to the application first."""
    desk = make_desk()
    async with desk.run_test(size=(120, 40)) as pilot:
        room = await _batch(desk, pilot, until)
        _at_once(desk, "tab", *"Ours", "tab", *"Saturday", "tab", *"45")
        await until(pilot, lambda: room.doc.get("buffer") == "45", what="the last letters did not arrive")
        assert (room.doc.get("name"), room.doc.get("ready")) == ("Ours", "Saturday")
        # Undo twice, one field back, letters: Undo takes back what was typed before it, not after.
        _at_once(desk, "ctrl+z", "ctrl+z", "shift+tab", "end", *"XY")
        await until(pilot, lambda: room.doc.get("name") == "OursXY", what="the letters after Undo are lost")
        assert (room.doc.get("ready"), room.doc.get("buffer")) == ("Sunday 08:30", "30 min")


async def test_letters_wait_for_the_question_they_answer(make_desk, until):
    desk = make_desk()
    async with desk.run_test(size=(120, 40)) as pilot:
        room = await _batch(desk, pilot, until)
        await room.files.duplicate()
        _at_once(desk, "ctrl+s", "ctrl+u", *"new.toml")
        await until(pilot, lambda: desk.screen is not room and desk.screen.query(Input), what="no question")
        entry = desk.screen.query_one(Input)
        await until(pilot, lambda: entry.value.endswith("new.toml"), what="letters of the answer are lost")
        assert room.doc.get("name") == "Village hall breakfast"


async def test_a_key_whose_field_is_gone_holds_nothing_up(make_desk, until, monkeypatch):
    desk = make_desk()
    async with desk.run_test(size=(120, 40)) as pilot:
        await _batch(desk, pilot, until)
        await pilot.press("tab")
        gone = desk.focused
        _at_once(desk, "end")
        gone.remove()
        _at_once(desk, "X", "f2")
        await until(pilot, lambda: desk.current_mode == "bench" and desk.screen.query("#bench-now"), what="stuck")
        # And one that a field took with it: nobody ever says that it was answered.
        order, rise = desk._key_order, desk._key_order._rise

        def lose(event, screen, node):
            if event.key == "end":
                order._at = Input()  # one that does not run
            else:
                rise(event, screen, node)

        monkeypatch.setattr(order, "_rise", lose)
        _at_once(desk, "end", "X", "f4")
        await until(pilot, lambda: desk.screen.query("#mine-text"), what="keys are stuck for good")


async def test_curves_take_the_colours_of_another_theme_at_once(make_desk, home, until, played):
    played("good").into(home / "data" / "logbook.sqlite")
    desk = make_desk()
    async with desk.run_test(size=(120, 40)) as pilot:
        await _batch(desk, pilot, until)
        await pilot.press("f3")
        await until(pilot, lambda: getattr(desk.screen, "shown", None) is not None)
        plot = desk.screen.query_one("#plot", Plot)

        def drawn():
            return next(iter(plot.render_line(1))).style.color.name

        before = drawn()
        await pilot.press("f7")
        await until(pilot, lambda: drawn() != before, what="the axis keeps its colour")
        assert drawn() == plot.get_component_rich_style("plot--axis", partial=True).color.name


async def test_the_palette_offers_only_what_can_be_done(make_desk, home, until, played):
    desk = make_desk()
    async with desk.run_test(size=(120, 40)) as pilot:
        await _batch(desk, pilot, until)

        async def offered(key, room):
            await pilot.press(key)
            await until(pilot, lambda: desk.current_mode == room and desk.screen.query("KeyRow"))
            return {one.title for one in desk.get_system_commands(desk.screen)}

        def named(*ids):
            return {action.text for action in ACTIONS if action.id in ids}

        bench = await offered("f2", "bench")
        never = named("bench.collect", "bench.replan", "bench.note", "bench.finish", "bench.next")
        assert bench >= named("bench.connect") and not bench & never
        timer = await offered("f5", "timer")
        assert timer >= named("timer.find") and not timer & named("timer.check", "timer.ice", "timer.install")
        looked = named("lookback.export", "lookback.in", "lookback.delete")
        assert len(looked) == 3 and len(never) == 5 and not await offered("f3", "lookback") & looked
        played("good").into(home / "data" / "logbook.sqlite")
        desk.screen.reload()
        await until(pilot, lambda: desk.screen.shown is not None)
        assert {one.title for one in desk.get_system_commands(desk.screen)} >= looked
