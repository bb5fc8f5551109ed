"""The numbers of a journal mean to logbook and timer what stored octets say they mean: no two may change places."""

from pathlib import Path

import logbook_support as support
import pytest
from tourier.logbook.account.steps import CAUSE_WORDS, STATE_WORDS, account
from tourier.logbook.record import decode, openlog
from tourier.logbook.record.model import Batch, Samples

from shared_schedule import journal as J
from shared_schedule import states, thermistor, window, words

VECTORS = Path(__file__).parents[1] / "vectors" / "journal_numbers.txt"
LINES = [line.split("  ") for line in VECTORS.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]


def named(module, name: str) -> int:
    return getattr(module, name)


def meaning(record) -> list[int]:
    """The numbers of a record's body whose meaning the line gives in words."""
    body = record.body
    return {J.STEP: body[1:], J.ALARM: body[:1], J.ACK: body[:1], J.BEND: body[1:2], J.FAULT: body[1:]}.get(
        record.type, ()
    )


@pytest.mark.parametrize(("octets", "says"), LINES, ids=[says for _octets, says in LINES])
def test_stored_octets_mean_what_was_written(octets: str, says: str) -> None:
    (record,), unread, _corrections = decode.read_journal(bytes.fromhex(octets))
    kind, *numbers = says.split()
    assert unread == 0
    assert record.type == named(J, kind)
    home = {"STEP": states, "ALARM": J, "ACK": J, "BEND": window, "FAULT": thermistor}.get(kind)
    if home is not None:
        assert list(meaning(record)) == [named(home, number) for number in numbers]


def test_every_number_stands_in_the_vectors() -> None:
    said = {name for _octets, says in LINES for name in says.replace(",", " ").split()}
    kinds = {name for name, value in vars(J).items() if name.isupper() and isinstance(value, int) and name[:3] != "FX_"}
    sizes = {"TEXT_CAP", "OVERHEAD", "MAX_RECORD", "VERSION"}
    assert {name for name in kinds if getattr(J, name) in J.BODIES} - sizes <= said
    assert {name for name in vars(states) if name.startswith("BY_")} <= said
    assert {"WAITING", "RUNNING", "DONE", "SKIPPED", "READY", "CRACKED", "CLEAN", "GREASY"} <= said
    assert set(openlog.TYPE_WORDS) == set(J.BODIES)


# What any wording of these alarms has to say.
KEYWORDS = {"WINDOW_LEFT_WARM": "warm", "WINDOW_LEFT_COLD": "cold", "PROOF_CAP": "proof", "CLOCK_UNKNOWN": "clock",
            "OVEN_EMPTY": "oven", "LOW_MEMORY": "memory"}  # fmt: skip


def test_a_stored_day_is_told_as_it_was() -> None:
    plan = support.small_plan()
    octets = b"".join(bytes.fromhex(line) for line, _says in LINES)
    records, unread, _corrections = decode.read_journal(octets)
    told = account(Batch(1, "", "", plan, b"", records, Samples.empty()))
    assert unread == 0
    alarms = {says.split()[1]: number for number, (_octets, says) in enumerate(LINES) if says.startswith("ALARM")}
    by_name = dict(zip(alarms, told.alarms, strict=True))
    for name, keyword in KEYWORDS.items():
        assert keyword in words.alarm_word(by_name[name].kind)
    assert by_name["WINDOW_LEFT_WARM"].acked_at_s and not by_name["WINDOW_LEFT_COLD"].acked_at_s
    # Hand-made figures: record n is stamped 217000600 + 10 n, and the lines of the file say which is which.
    begin = 217_000_600
    told_of = {s.step.step_id: (STATE_WORDS[s.state], s.ended_by, s.from_s, s.ready_s, s.to_s) for s in told.steps}
    assert told_of[1] == ("done", "button", begin + 30, begin + 60, begin + 70)
    assert told_of[2][0] == "skipped" and told_of[3] == ("not begun", "", None, None, None)
    assert told_of[4] == ("done", "companion", begin + 90, begin + 100, begin + 110)
    assert told_of[13][:2] == ("skipped", "button")
    assert [told_of[step_id][1] for step_id in (5, 6)] == ["override", "early"]
    assert told.steps[13 - 1].state == states.SKIPPED and CAUSE_WORDS[states.BY_PROOF] == "dose"
    assert [verdict for _at, _cdeg, verdict in told.bends] == [window.CRACKED, window.CLEAN, window.GREASY]
    assert told.notes[0][1] == "détrempe"
