"""What is no file, has no end or holds something else, given where a file is asked for: one sentence, at once."""

from __future__ import annotations

import os

import pytest

pytestmark = pytest.mark.skipif(os.name != "posix", reason="needs pipes and devices")
READERS = [("link", "decode"), ("logbook", "import"), ("logbook", "restore"), ("device", "restore")]


@pytest.mark.parametrize("reader", READERS, ids=" ".join)
@pytest.mark.parametrize("what", ["pipe", "folder", "/dev/zero"])
def test_what_is_no_file_is_not_waited_for(tourier, tmp_path, reader, what):
    name = tmp_path / what  # an absolute name stays itself
    if what == "pipe":
        os.mkfifo(name)
    elif what == "folder":
        name.mkdir()
    port = ("--port", "/dev/null") if reader[0] == "device" else ()
    said = tourier(*reader, name, *port)
    assert said.code in (2, 3)
    assert f"{name} is a {'folder' if what == 'folder' else 'pipe or a device'}, not a file" in said.sentence


def test_a_capture_is_not_added_to_a_file_of_another_kind(tourier, demo, tmp_path):
    before = demo.read_bytes()
    os.mkfifo(tmp_path / "pipe")
    leader, follower = os.openpty()
    try:
        port = os.ttyname(follower)
        said = tourier("collect", "--port", port, "--capture", demo)
        assert said.code == 2 and "holds something else" in said.sentence
        assert demo.read_bytes() == before
        said = tourier("collect", "--port", port, "--capture", tmp_path / "pipe")
        assert said.code == 2 and "is a pipe" in said.sentence
    finally:
        os.close(leader)
        os.close(follower)


def test_noise_alone_is_no_capture(tourier, tmp_path):
    file = tmp_path / "junk"
    file.write_bytes(b"a" * 100_000)
    said = tourier("link", "decode", file)
    assert said.code == 2 and "holds no frame" in said.err
