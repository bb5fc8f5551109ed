"""Every action of the desk application: a stable id, the usual key, what it does, and where it makes sense.

Keys are data: `keys.toml` in the config folder maps ids to keys, and help, footer and palette all read this table, so
they always show the map that is in force. Ids are never renamed. Within a room the order is that of need: the row of
keys shows as many from the front as fit.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

from textual.binding import Binding, BindingType

from tourier import files

ANYWHERE = "anywhere"


@dataclass(frozen=True)
class Action:
    """One action: `name` is the method (`action_<name>`), `where` the room whose screen has it."""

    id: str
    keys: str
    name: str
    text: str
    where: str = ANYWHERE
    help: str = ""
    shown: bool = True


ACTIONS: tuple[Action, ...] = (
    Action("room.batch", "f1,alt+1", "room('batch')", "Batch", help="What you want, worked out.", shown=False),
    Action("room.bench", "f2,alt+2", "room('bench')", "Bench", help="The day as it runs.", shown=False),
    Action(
        "room.lookback", "f3,alt+3", "room('lookback')", "Look back", help="Past batches, findings.", shown=False
    ),
    Action("room.kitchen", "f4,alt+4", "room('kitchen')", "Kitchen", help="Your kitchen and butters.", shown=False),
    Action("room.timer", "f5,alt+5", "room('timer')", "Timer", help="The bench timer itself.", shown=False),
    Action("app.help", "f10,question_mark", "help_here", "Help", help="Help for the part you are in."),
    Action("app.palette", "ctrl+p", "command_palette", "Commands", help="Everything that can be done now."),
    Action("app.keys", "f9", "show_keys", "Keys", help="See and change the keys.", shown=False),
    Action(
        "app.quiet", "f8", "toggle_silence", "Silence", help="No bell and no notice until pressed again.", shown=False
    ),
    Action("app.theme", "f7", "next_theme", "Theme", help="Next of the themes: light, dark, high contrast, terminal."),
    Action("app.welcome", "f12", "welcome", "Welcome", help="Demo, your kitchen, where things are.", shown=False),
    Action("app.quit", "ctrl+q", "quit", "Quit", help="Quit; unsaved edits are kept for the next time."),
    Action("batch.save", "ctrl+s", "save", "Save", "batch", "Write the batch file."),
    Action("batch.send", "ctrl+t", "send", "Send to timer", "batch", "Plan it and send it to the bench timer."),
    Action("batch.flip", "f6", "flip", "Form / result", "batch", "In a narrow window: form, or what comes of it."),
    Action("batch.open", "ctrl+o", "open", "Open", "batch", "Open another batch file."),
    Action("batch.changed", "ctrl+g", "changed", "Changed", "batch", "What changed since the last good batch."),
    Action("batch.undo", "ctrl+z", "undo", "Undo", "batch", "Take back the last edit."),
    Action("batch.redo", "ctrl+y", "redo", "Redo", "batch", "Do it again."),
    Action("batch.duplicate", "ctrl+n", "duplicate", "Duplicate", "batch", "Start a new batch from this one."),
    Action("batch.as_text", "ctrl+r", "as_text", "As text", "batch", "Edit the batch file itself.", shown=False),
    Action("batch.let_be", "escape", "let_be", "Cancel", "batch", "Stop looking for the timetable.", shown=False),
    Action("bench.acknowledge", "a", "acknowledge", "Acknowledge", "bench", "Answer the alarm that sounds."),
    Action("bench.go", "g", "go", "Go / done", "bench", "Start the step that is due, or say that it is done."),
    Action("bench.bend", "b", "bend", "Bend test", "bench", "Mark a bend test at the probe's reading."),
    Action("bench.note", "n", "note", "Note", "bench", "Write a note with the time."),
    Action("bench.replan", "r", "replan", "Replan", "bench", "Plan the rest of the day anew."),
    Action("bench.collect", "l", "collect", "Collect", "bench", "Bring the log home into the logbook."),
    Action("bench.connect", "c", "connect", "Connect", "bench", "Look for timers anew."),
    Action("bench.next", "v", "next_timer", "Next timer", "bench", "Bring the next timer into view.", shown=False),
    Action("bench.skip", "s", "skip", "Skip 10 min", "bench", "Virtual timer: play ten minutes at once.", shown=False),
    Action("bench.finish", "S", "finish", "Play to end", "bench", "Virtual timer: play on to the end.", shown=False),
    Action("bench.let_be", "escape", "let_be", "Cancel", "bench", "Stop what shows progress.", shown=False),
    Action("lookback.in", "plus,equals_sign", "zoom(0.5)", "Zoom in", "lookback", "Half the span around the middle."),
    Action("lookback.out", "minus", "zoom(2.0)", "Zoom out", "lookback", "Twice the span."),
    Action("lookback.whole", "0", "whole", "Whole", "lookback", "The whole batch."),
    Action(
        "lookback.next", "e", "next_excursion", "Next outside", "lookback", "Go to the next time outside the window."
    ),
    Action("lookback.export", "x", "export", "Export", "lookback", "Write the report: HTML, CSV or JSON."),
    Action("lookback.outcome", "o", "outcome", "Outcome", "lookback", "Write down how it came out."),
    Action("lookback.beside", "s", "beside", "Side by side", "lookback", "Set a second batch beside this one."),
    Action("lookback.earlier", "left", "pan(-0.25)", "Earlier", "lookback", "A quarter of the span back."),
    Action("lookback.later", "right", "pan(0.25)", "Later", "lookback", "A quarter of the span on."),
    Action("lookback.delete", "delete", "delete", "Remove batch", "lookback", "Take it out of the logbook.", False),
    Action("lookback.put_back", "u", "put_back", "Restore batch", "lookback", "Put back what was removed.", False),
    Action("kitchen.questions", "k", "questions", "My kitchen", "kitchen", "Questions about your kitchen."),
    Action("kitchen.use", "u", "use", "Use in batch", "kitchen", "Put this kitchen into the open batch."),
    Action("kitchen.edit", "e", "edit", "Edit butter", "kitchen", "Write a butter's window by hand."),
    Action("kitchen.learn", "l", "learn", "Learn", "kitchen", "Fit the kitchen from the logs."),
    Action("kitchen.forget", "delete", "forget", "Forget value", "kitchen", "Forget one learned value."),
    Action("kitchen.reset", "x", "reset", "Forget all", "kitchen", "Forget all of one kitchen or butter."),
    Action("timer.find", "f", "find", "Find", "timer", "Look for timers."),
    Action("timer.check", "k", "check", "Check", "timer", "Ask every part for its self-test."),
    Action("timer.clock", "t", "clock", "Set clock", "timer", "Set the timer's clock by this computer."),
    Action("timer.install", "i", "install", "Install", "timer", "Put this version's program on the timer."),
    Action("timer.ice", "z", "ice_point", "Ice point", "timer", "Calibrate the probe in ice and water."),
    Action("timer.boil", "b", "boil_point", "Boil point", "timer", "Check the probe in boiling water."),
    Action("timer.backup", "u", "backup", "Back up", "timer", "Copy log, settings and calibration here."),
    Action("timer.restore", "r", "restore", "Restore", "timer", "Put settings and calibration back."),
)


def bindings(where: str) -> list[BindingType]:
    """Return the Textual bindings of one place, with stable ids so that the key map can change them."""
    return [
        Binding(action.keys, action.name, action.text, show=action.shown, id=action.id, tooltip=action.help)
        for action in ACTIONS
        if action.where == where
    ]


# ASCII has these as other keys (ctrl+i is Tab, ctrl+m Enter ...), terminals keep ctrl+c, and the rest is how one moves.
_NOT_FREE = {
    "ctrl+h", "ctrl+i", "ctrl+j", "ctrl+m", "ctrl+left_square_bracket", "ctrl+at", "ctrl+c",
    "tab", "shift+tab", "enter", "escape", "up", "down",
}  # fmt: skip


def why_not(name: str, key: str, keymap: dict[str, str]) -> str:
    """Return why an action cannot have a key, as a sentence; "" when it can."""
    mine = next(action for action in ACTIONS if action.id == name)
    if key in mine.keys.split(","):
        return ""
    if key in _NOT_FREE:
        return f"{key} is not free: terminals and forms need it."
    if len(key) == 1 and mine.where in (ANYWHERE, "batch"):
        return f"{key} alone would be typed into the form; take a function key or one with ctrl."
    for action in ACTIONS:
        meets = ANYWHERE in (action.where, mine.where) or action.where == mine.where
        if meets and action.id != name and key in keymap.get(action.id, action.keys).split(","):
            return f"{key} already means {action.text} there."
    return ""


def read_keymap(file: Path) -> tuple[dict[str, str], list[str]]:
    """Return ({id: keys}, complaints) from keys.toml; a missing file is an empty map, a wrong line is one complaint."""
    try:
        raw = tomllib.loads(file.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}, []
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        return {}, [f"{file.name} cannot be read ({error}); the usual keys are in force."]
    known = {action.id for action in ACTIONS}
    flat: dict[str, str] = {}
    complaints = []
    for table, entries in raw.items():
        pairs = entries.items() if isinstance(entries, dict) else ()
        if not isinstance(entries, dict):
            complaints.append(f'{file.name}: {table} stands outside a table; write [app] and quiet = "f8".')
        for key, value in pairs:
            name = f"{table}.{key}"
            if name not in known:
                complaints.append(f"{file.name}: there is no action {name}; see Keys (F9) for the ids.")
            elif not isinstance(value, str) or not value.strip():
                complaints.append(f'{file.name}: {name} needs a key as text, such as "ctrl+b".')
            else:
                flat[name] = value.strip()
    for name, keys in list(flat.items()):
        wrong = next(filter(None, (why_not(name, key.strip(), flat) for key in keys.split(","))), "")
        if wrong:
            del flat[name]
            complaints.append(f"{file.name}: {name}: {wrong} It keeps its usual key.")
    return flat, complaints


def write_keymap(file: Path, keymap: dict[str, str]) -> None:
    """Write keys.toml. Raises OSError."""
    tables: dict[str, list[str]] = {}
    for name, keys in sorted(keymap.items()):
        table, key = name.split(".", 1)
        escaped = keys.replace("\\", "\\\\").replace('"', '\\"')
        tables.setdefault(table, []).append(f'{key} = "{escaped}"')
    text = "\n\n".join(f"[{table}]\n" + "\n".join(lines) for table, lines in tables.items()) + "\n"
    files.keep(file, text)
