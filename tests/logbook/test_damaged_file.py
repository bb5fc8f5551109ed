"""A logbook file with a hole in it: the check says so in a sentence, and so does every command."""

import pytest
from tourier.cli import main
from tourier.logbook.record.store import Logbook


@pytest.mark.parametrize("hole", [(5000, 9000), (4096, 40000)])
def test_a_hole_is_told_and_never_a_fault_of_ours(tmp_path, capsys, hole):
    file = tmp_path / "book.sqlite"
    with Logbook(file):
        pass
    data = bytearray(file.read_bytes())
    data[hole[0] : hole[1]] = b"\xff" * (min(hole[1], len(data)) - hole[0])
    file.write_bytes(data)
    for command in (["logbook", "check"], ["batches"], ["review"], ["learn"]):
        code = main([*command, "--logbook", str(file)])
        said = capsys.readouterr()
        assert code in (0, 2), said
        assert "inside Tourier" not in said.err
        if command == ["logbook", "check"]:
            assert code == 2
            assert "is sound" not in said.out
            assert (said.out + said.err).strip()
    assert file.read_bytes()[hole[0] : hole[0] + 100] == b"\xff" * 100  # nobody mended or emptied it
