"""shared_schedule/FORMATS.md, from the tables in the code: what stands in every octet that is kept or sent.

`python companion/tools/protocol_doc.py` writes it beside PROTOCOL.md; a test decodes stored octets by that text alone.
"""

from __future__ import annotations

from pathlib import Path

from format_words import ARGUMENTS, BODIES, MEANING, SETTINGS, TEXT

import shared_schedule
from shared_schedule import channels, journal, link_rules, samples, states, thermistor, window, words
from shared_schedule import messages as m
from shared_schedule import plan as P
from shared_schedule.units import CDEG_MAX, CDEG_MIN

PATH = Path(shared_schedule.__file__).with_name("FORMATS.md")
_FORMS = {"u": "uint", "s": "sint", "c": "cdeg", "t": "text", "T": "texts", "i": "ids", "q": "spans"}


def table(head: tuple[str, ...], rows: list[tuple]) -> str:
    """Return a Markdown table."""
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    return "\n".join([*lines, *("| " + " | ".join(str(cell) for cell in row) + " |" for row in rows)])


def _range(kind: str, low: int, high: int) -> str:
    if kind == "c":
        return f"{CDEG_MIN} to {CDEG_MAX}, or none"
    if kind == "t":
        return f"{low} to {high} octets"
    if kind == "T":
        return f"at most {low} of 1 to {high} octets"
    if kind in "iq":
        return f"at most {high}"
    return f"{low} to {high}"


def _fields(specs: tuple) -> str:
    rows = [(f"`{spec[0]}`", _FORMS[spec[1]], _range(*spec[1:]), MEANING.get(spec[0], "")) for spec in specs]
    return table(("field", "form", "range", "meaning"), rows)


def _tags(specs: tuple) -> str:
    rows = [(key, f"`{s[0]}`", _FORMS[s[1]], _range(*s[1:]), MEANING[s[0]]) for key, s in enumerate(specs, 1)]
    return table(("key", "field", "form", "range", "meaning"), rows) if rows else "No key is defined yet."


def _codes(pairs: list[tuple[int, str]]) -> str:
    return ", ".join(f"{number} {word}" for number, word in pairs if word)


def _numbered(module: object, prefix: str) -> str:
    found = [(v, k[len(prefix) :].lower().replace("_", " ")) for k, v in vars(module).items() if k.startswith(prefix)]
    return _codes(sorted(found))


def _letters(form: str) -> str:
    kinds = {"B": "u8", "H": "u16", "h": "i16", "I": "u32", journal.TEXT: "text"}
    return ", ".join(kinds[letter] for letter in form)


def _example() -> dict[str, str]:
    writer = samples.SampleWriter(5)
    for at_s, pair in ((217_400_400, (2150, 600)), (217_400_405, (2152, 597)), (217_400_410, (2152, 560))):
        writer.add(at_s, pair)
    key = bytes(writer.block())
    writer.add(217_400_415, (2151, -32768))
    return {"key": key.hex(" "), "next": bytes(writer.block()).hex(" ")}


def render() -> str:
    """Return the whole document."""
    records = [(kind, BODIES[kind][0], _letters(form), BODIES[kind][1]) for kind, form in journal.BODIES.items()]
    spoken = [*words.WORDS.items(), *((words.KIND + kind, word) for kind, word in words.KIND_WORDS.items())]
    values = {
        "plan_max": P.MAX_PLAN_BYTES, "steps_max": P.MAX_STEPS, "tagged_max": P.MAX_TAGGED, "plan_format": P.FORMAT,
        "journal_version": journal.VERSION, "text_cap": journal.TEXT_CAP, "sample_format": samples.FORMAT,
        "block": samples.BLOCK, "key_every": samples.KEY_EVERY, "channels_max": samples.CHANNELS_MAX,
        "plan_fields": _fields(P.PLAN_FIELDS), "plan_tags": _tags(P.PLAN_TAGS), "step_fields": _fields(P.STEP_FIELDS),
        "step_tags": _tags(P.STEP_TAGS), "kinds": _codes(list(enumerate(P.KIND_WORDS))),
        "places": _codes(list(enumerate(("anywhere", *P.PLACE_WORDS[1:])))), "records": table(
            ("type", "name", "form", "body"), records), "states": _codes(list(states.STATE_WORDS.items())),
        "causes": _numbered(states, "BY_"), "alarms": _codes(list(words.ALARM_WORDS.items())),
        "faults": _codes(list(enumerate(thermistor.FAULT_WORDS))),
        "verdicts": _codes(list(window.VERDICT_WORDS.items())),
        "words": _codes(spoken), "actions": table(("action", "name", "step_id", "arg"), [
            (code, name, *ARGUMENTS[name]) for code, name in m.ACTIONS]),
        "settings": table(("key", "value", "meaning"), [(f"`{k}`", v, why) for k, v, why in SETTINGS]),
        "chunk_max": m.PLAN_CHUNK_MAX, "ahead": link_rules.PULL_AHEAD, "log_chunk": m.CHUNK_MAX,
        "other": channels.OTHER, "bench": channels.BENCH, "dough": channels.DOUGH, "air": channels.AIR,
        "protocol": f"{m.PROTOCOL_MAJOR}.{m.PROTOCOL_MINOR}",
    }  # fmt: skip
    return TEXT.format(**values, **_example())


def write() -> None:
    """Write the document."""
    PATH.write_text(render(), encoding="utf-8")
