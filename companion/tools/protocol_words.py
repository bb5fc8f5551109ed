"""What each message is for, in words: for PROTOCOL.md. Kept from the device, where it would cost memory."""

MEANING = {
    "HELLO": (
        "Opens a connection. `filler` is chosen so that the whole frame is printable. Also sent to find out "
        "whether the device is still there after silence."
    ),
    "HELLO_REPLY": (
        "Who is there. A changed `boot_id` tells the host that the device restarted. `plan_id` 0 = no plan "
        "held. With `read_block` > 1 the host fills what it writes with flags to a multiple of that many "
        "octets."
    ),
    "RESULT": "Answer to requests that have no own reply, and to any request that is refused.",
    "PING": "Answered by RESULT ok. Keeps telemetry coming.",
    "STATE_GET": "Asked after every connection.",
    "STATE": (
        "The running day. `focus` is the index of the step at hand, 255 = none. `steps` holds 9 octets a step "
        "in the plan's order: state u8, started_s u32, ended_s u32 (0 = not yet)."
    ),
    "PLAN_OFFER": (
        "Offers a plan. Repeated, it asks how far the transfer is; octets that arrived are kept across connections."
    ),
    "PLAN_ANSWER": (
        "`code` want: send `count` octets from `offset`, at most `chunk` in one PLAN_DATA. Any other code "
        "ends the transfer: ok stored, already held, or why not."
    ),
    "PLAN_DATA": (
        'Part of a plan. Each octet is sent XOR `mask` (see "Masking"). Has no reply; the device asks for '
        "what is missing."
    ),
    "LOG_INFO": "Asks for the extent of a stream.",
    "LOG_INFO_REPLY": (
        "Octets from `first` up to but not `end` can be read. Offsets are never reused while a plan is "
        "held."
    ),
    "LOG_READ": (
        "Asks for a window. The device serves one and holds one more, so that the line never falls idle. "
        "`fresh` 1: drop those in hand first."
    ),
    "LOG_DATA": "Part of the window asked for with this seq. Each octet is sent XOR `mask`.",
    "LOG_END": "The window with this seq is done; `crc32` is that of its octets, up to `end`.",
    "LOG_SUM": "Asks for the CRC-32 of a range, which may have come over several connections.",
    "LOG_SUM_REPLY": "CRC-32 of the range, up to `end`.",
    "LOG_DROP": "The host has stored the octets before `upto` safely; the device may drop them.",
    "CLOCK_GET": "Asks for the device's time.",
    "CLOCK": "`ok` 0: the device does not trust its clock.",
    "CLOCK_SET": "Sets the clock, corrected by the host for half the round trip. `offset_min`: local time minus UTC.",
    "COMMAND": "What a button can do, and a little more.",
    "NOTE": "A remark of the cook, for the journal.",
    "SETTING_GET": "Asks for a setting.",
    "SETTING": "A setting's value.",
    "SETTING_SET": "Sets a setting.",
    "COUNTERS_GET": "Asks for the counters.",
    "COUNTERS": "Health. Those about the link count since the device started.",
    "SELF_TEST": "Runs the self-test.",
    "SELF_TEST_REPLY": "Lines of UTF-8 text, one a check.",
    "TELEMETRY": (
        "Sent about once a second to a host heard of lately, when nothing else waits. May be lost; never "
        "repeated. `left_s` -1 = unknown. `more` holds, for each channel past the first two, its number u8 and its "
        "reading i16 (since 1.1)."
    ),
}
