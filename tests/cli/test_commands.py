"""Contracts of the commands: keys of --json, exit codes, one sentence for bad input, no escape codes in a pipe."""

from __future__ import annotations

import io
import os
import pty
import re
import tomllib
from datetime import datetime

import pytest
from tourier.batch.examples import NAMES, demo_text
from tourier.cli import run as runner
from tourier.cli.output import Output, clean
from tourier.cli.parser import build_parser

PLAN = {"schema", "batch", "formula", "layers", "sheets", "cuts", "steps", "ready_at", "warnings"}
FORMULA = {
    "lines", "dough_g", "butter_block_g", "roll_in_percent_of_dough", "roll_in_percent_of_flour", "water_temp_c",
}  # fmt: skip
STEP = {
    "id", "kind", "name", "place", "start", "end", "attended_s", "min_s", "ideal_s", "max_s", "slack_s", "window_cdeg",
}  # fmt: skip
SHEET = {"step", "length_mm", "width_mm", "thickness_mm", "fat_layer_um"}


def test_plan_json_has_the_keys_of_the_contract(tourier, demo):
    said = tourier("plan", demo, "--json")
    assert said.code == 0
    plan = said.json
    assert plan.keys() >= PLAN
    assert plan["formula"].keys() >= FORMULA
    assert all(line.keys() >= {"name", "g", "percent_of_flour"} for line in plan["formula"]["lines"])
    assert plan["layers"] and all(row.keys() >= {"after", "fat", "dough", "total"} for row in plan["layers"])
    assert plan["sheets"] and all(row.keys() >= SHEET for row in plan["sheets"])
    assert plan["cuts"].keys() >= {"pieces", "offcut_percent", "marks_mm"}
    assert plan["steps"] and all(step.keys() >= STEP for step in plan["steps"])
    times = [plan["ready_at"]] + [step[end] for step in plan["steps"] for end in ("start", "end")]
    assert all(datetime.fromisoformat(text).utcoffset() is not None for text in times)
    assert all(isinstance(text, str) for text in plan["warnings"]) or plan["warnings"]
    # Dough and flour sides of the roll-in are two views of one mass (arithmetic).
    formula = plan["formula"]
    flour = sum(line["g"] for line in formula["lines"] if "flour" in line["name"])
    assert formula["butter_block_g"] / flour * 100 == pytest.approx(formula["roll_in_percent_of_flour"], abs=1.5)


def test_plan_in_prose_has_no_escape_codes_and_says_what_is_made(tourier, demo):
    said = tourier("plan", demo)
    assert said.code == 0
    assert "\x1b" not in said.out + said.err
    assert "24 X CROISSANT, 12 X PAIN AU CHOCOLAT" in said.out
    assert any("Rest after fold 1" in line and "2" in line for line in said.out.splitlines())
    assert "half an hour before the 08:30 you asked for" in said.out
    assert "Rest after fold 1, pâton 2" not in said.out and "--table" in said.out  # the long table is for who asks
    assert "Rest after fold 1, pâton 2" in tourier("plan", demo, "--table").out


def test_plan_writes_calendar_card_map_and_bytes(tourier, demo, tmp_path):
    from shared_schedule import plan as wire

    names = {"--ics": "d.ics", "--card": "d.html", "--cut-map": "d.svg", "--write": "d.bin"}
    options = [part for option, name in names.items() for part in (option, tmp_path / name)]
    said = tourier("plan", demo, "--json", *options)
    assert said.code == 0 and said.json
    assert (tmp_path / "d.ics").read_bytes().startswith(b"BEGIN:VCALENDAR")
    assert len(wire.decode((tmp_path / "d.bin").read_bytes()).steps) == len(said.json["steps"])


def test_bold_only_on_a_terminal_and_never_with_no_color(monkeypatch):
    leader, follower = pty.openpty()
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.delenv("NO_COLOR", raising=False)
    with os.fdopen(follower, "w") as terminal:
        Output(out=terminal).heading("Sheets")
        terminal.flush()
        assert b"\x1b[1mSheets" in os.read(leader, 100)
        monkeypatch.setenv("NO_COLOR", "1")
        Output(out=terminal).heading("Sheets")
        terminal.flush()
        assert b"\x1b" not in os.read(leader, 100)
    os.close(leader)
    pipe = io.StringIO()
    Output(out=pipe).heading("Sheets")
    assert pipe.getvalue() == "\nSHEETS\n"


def test_control_characters_reach_no_terminal():
    assert clean("a\x1b[31m\x07\u202eb\x9bc") == "a?[31m???b?c".replace("???", "??")
    assert len(clean("x" * 5000)) <= 2001


@pytest.mark.parametrize("name", NAMES)
def test_examples_are_printed_whole(tourier, name):
    said = tourier("example", name)
    assert said.code == 0
    assert tomllib.loads(said.out)["pieces"]


def test_example_without_a_name_is_the_demo(tourier):
    assert tourier("example").out == demo_text()


def test_where_names_every_path_below_the_home(tourier, home):
    said = tourier("where", "--json")
    assert {"logbook", "rehearsals", "config", "autosave", "collecting", "sent", "program"} <= said.json.keys()
    assert said.json["logbook"].startswith(str(home))
    assert not home.exists()  # asking makes nothing


@pytest.mark.parametrize(
    "arguments", [("rehearse", "--scenarios"), ("review", "--symptoms"), ("device", "list"), ("where",)]
)
def test_lists_in_json_are_one_object(tourier, arguments):
    said = tourier(*arguments, "--json")
    assert said.code == 0
    assert isinstance(said.json, dict)
    assert tourier(*arguments).out.strip()


GARBAGE = bytes(range(256)) * 4
BAD = [
    ("nothing", None, r"cannot be read"),
    ("folder", "folder", r"cannot be read"),
    ("garbage", GARBAGE, r"line 2: is not UTF-8"),
    ("no TOML", b"name = \n", r"line 1: is not TOML"),
    ("zero byte", b'name = "a\x00b"', r"is not TOML"),
    ("huge", b"#" * 100_000, r"larger than 64 KB"),
    ("empty", b"", r"is missing"),
    ("unknown key", (b'kind = "leavened"', b'kind = "leavened"\nkinde = 3'), r"line LINE: kinde: .*"),
    ("bare number", (b'base = "9 cm"', b"base = 9"), r"line LINE: pieces\[1\]\.base"),
    ("impossible size", (b'base = "9 cm"', b'base = "9 m"'), r"line LINE: pieces\[1\]\.base"),
    ("past", (b"Sunday 08:30", b"2024-03-10 08:30"), r"line LINE: ready: .*already past"),
    ("no such hour", (b"Sunday 08:30", b"2027-03-28 02:30"), r"line LINE: ready: .*does not exist"),
    ("no zone", (b"Europe/Paris", b"../etc/passwd"), r"line LINE: zone: "),
    ("too hot to work", (b'room = "26 ', b'room = "99 '), r"kitchen\.room"),
    ("too large", (b"count = 24", b"count = 1900"), r"."),
]  # fmt: skip


@pytest.mark.parametrize("command", ["plan", "send", "rehearse"])
@pytest.mark.parametrize(("what", "content", "says"), BAD, ids=[row[0] for row in BAD])
def test_a_bad_batch_file_is_the_cooks_input(tourier, tmp_path, command, what, content, says):
    file = tmp_path / "bad.toml"
    if content == "folder":
        file.mkdir()
    elif isinstance(content, tuple):
        old, new = content
        whole = demo_text().encode()
        assert whole.count(old) == 1
        file.write_bytes(whole.replace(old, new))
        says = says.replace("LINE", str(whole[: whole.index(old)].count(b"\n") + 1 + new.count(b"\n")))
    elif content is not None:
        file.write_bytes(content)
    if what == "too large" and command != "plan":
        return  # found while planning: once is enough
    said = tourier(command, file, *(["--port", "/dev/no-such-port"] if command == "send" else []))
    assert said.code == 2, said.err
    assert re.search(says, said.err)
    assert "Traceback" not in said.err and "Something went wrong" not in said.err
    assert len(said.err) < 2000


WRONG = [
    (("plan", ""), 2, "empty"),
    (("rehearse", "--scenario", "x"), 2, "there are: good"),
    (("example", "x"), 2, "there are: demo"),
    (("virtual", "--speed", "nan"), 2, "--speed is"),
    (("virtual", "--at", "yesterday"), 2, "--at"),
    (("virtual", "--at", "1999-01-01"), 2, "clock"),
    (("virtual", "--scenario", "x"), 2, "there are: good"),
    (("virtual", "--flash", "/no-such-folder/f"), 2, "no folder"),
    (("review",), 2, "collect a batch first"),
    (("batches",), 2, "collect a batch first"),
    (("outcome", "1", "--rating", "9"), 2, "1 (bad) to 5 (good)"),
    (("outcome", "1", "--saw", "x"), 2, "no symptom"),
    (("logbook", "backup"), 2, "needs a FILE"),
    (("logbook", "restore", "/no-such-file"), 2, "no file"),
    (("link", "decode", "/no-such-file"), 2, "no file"),
    (("device", "boil-point"), 2, "--pressure"),
    (("device", "boil-point", "--altitude", "300"), 2, "no unit"),
    (("device", "restore", "--port", "x"), 2, "needs a FILE"),
    (("watch", "--port", "/dev/no-such-port"), 3, "no port"),
    (("collect", "--port", "/dev/no-such-port"), 3, "no port"),
    (("device", "check", "--port", "foo://bar"), 3, "cannot be used"),
    (("desk",), 2, "terminal"),
    ((), 2, "terminal"),
]  # fmt: skip


@pytest.mark.parametrize(("arguments", "code", "says"), WRONG, ids=[" ".join(row[0]) or "alone" for row in WRONG])
def test_each_wrong_command_is_told_in_one_sentence(tourier, arguments, code, says):
    said = tourier(*arguments)
    assert said.code == code
    assert says in said.sentence
    assert said.err.count("\n") == 1
    assert said.sentence[-1] in '.)"'


def test_a_file_that_is_no_logbook_flash_or_folder(tourier, demo, tmp_path):
    for arguments in (
        ("review", "--logbook", demo), ("batches", "--logbook", tmp_path), ("plan", demo, "--logbook", demo),
        ("logbook", "restore", demo), ("virtual", "--flash", demo), ("virtual", "--flash", tmp_path),
        ("rehearse", "--keep", demo), ("plan", demo, "--card", tmp_path / "none" / "card.html"),
        ("plan", demo, "--card", tmp_path),
    ):  # fmt: skip
        said = tourier(*arguments)
        assert said.code == 2, arguments
        assert said.sentence.endswith("."), said.err
        assert "Something went wrong" not in said.err
    assert demo.read_text(encoding="utf-8") == demo_text()


def test_a_kept_rehearsal_is_not_written_over(tourier, tmp_path):
    (tmp_path / "old").mkdir()
    (tmp_path / "old" / "flash.img").write_bytes(b"")
    said = tourier("rehearse", "--keep", tmp_path / "old")
    assert said.code == 2
    assert "another rehearsal" in said.sentence


def test_unknown_batch_numbers(tourier, tmp_path):
    from tourier.logbook.record.store import Logbook

    with Logbook(tmp_path / "book.sqlite"):
        pass
    for number in ("7", "abc", "-1", "9" * 40, "٣"):
        said = tourier("review", "--logbook", tmp_path / "book.sqlite", "--", number)
        assert said.code == 2, number
        assert said.err.count("\n") == 1
    said = tourier("review", "--logbook", tmp_path / "book.sqlite")
    assert said.code == 2 and said.err.count("\n") == 1
    assert tourier("batches", "--logbook", tmp_path / "book.sqlite", "--json").json["batches"] == []


def test_argparse_complains_with_two(tourier):
    assert tourier("nonsense").code == 2
    assert tourier("rehearse", "--seed", "x").code == 2
    assert tourier("--help").code == 0


def test_ctrl_c_and_a_fault_of_ours(monkeypatch, capsys):
    def command(error):
        module = type("M", (), {"where": staticmethod(lambda *_: (_ for _ in ()).throw(error))})
        monkeypatch.setattr(runner, "import_module", lambda _name: module)
        code = runner.run(build_parser(), ["where"])
        return code, capsys.readouterr().err

    assert command(KeyboardInterrupt()) == (130, "Stopped.\n")
    code, err = command(ZeroDivisionError("x"))
    assert code == 1 and "TOURIER_DEBUG" in err and err.count("\n") == 1
    code, err = command(OSError(28, "No space left on device", "/tmp/x"))
    assert code == 2 and err.count("\n") == 1


def test_a_refusal_lists_what_could_be_given_up(tourier, tmp_path):
    """The same offers as the desk shows, one a line after the sentence."""
    from tourier.batch.examples import demo_text

    small = tmp_path / "small.toml"
    small.write_text(demo_text().replace("shelves = 5", "shelves = 3"), encoding="utf-8")
    said = tourier("plan", str(small))
    assert said.code == 2 and said.out == ""
    sentence, *offered = said.err.strip().splitlines()[-2:]
    assert sentence == said.sentence and sentence.startswith("The fridge has 3 shelves")
    assert offered == ["- Make room in the fridge, or make fewer pieces."]


def test_desk_takes_a_file_and_a_port(tourier, tmp_path, monkeypatch):
    started = []
    monkeypatch.setattr("os.execv", lambda program, arguments: started.append(arguments[1:]))
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
    (tmp_path / "sunday.toml").write_text(demo_text(), encoding="utf-8")
    assert "There is no file" in tourier("desk", str(tmp_path / "monday.toml")).sentence and not started
    tourier("desk", str(tmp_path / "sunday.toml"), "--port", "/dev/pts/9")
    tourier()
    assert started == [
        ["-m", "tourier.desk", str(tmp_path / "sunday.toml"), "--port", "/dev/pts/9"], ["-m", "tourier.desk"],
    ]  # fmt: skip
