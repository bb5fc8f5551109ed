"""The judge of a built unit: right verdicts on made-up data whose truth is known, clear words on bad files."""

from __future__ import annotations

import random
import subprocess
import sys
from pathlib import Path

import pytest

from hardware.firmware_pins import ROOT
from hardware.validation import judge

HEAD = "# reference_tolerance_k: 0.1\nbath,elapsed_s,sensor,shown_c,reference_c\n"


def _group(error_k: float, bath_c: float = 15.0, count: int = 14, noise_k: float = 0.05, drift_k: float = 0.0) -> list:
    rng = random.Random(4)
    return [
        judge.Reading(
            "b",
            10.0 * k,
            "probe",
            bath_c + drift_k * k / count + error_k + rng.gauss(0, noise_k),
            bath_c + drift_k * k / count,
        )
        for k in range(count)
    ]


@pytest.mark.parametrize(
    "group, verdict",
    [
        (_group(0.0), "pass"),
        (_group(-0.3), "pass"),
        (_group(0.5), "cannot tell"),
        (_group(-0.9), "fail"),
        (_group(0.1, count=5), "cannot tell"),
        (_group(0.1, drift_k=1.0), "cannot tell"),
        (_group(0.1, bath_c=60.0), "cannot tell"),
        (_group(0.2, noise_k=1.5), "cannot tell"),
    ],
)
def test_verdicts(group, verdict):
    assert judge.judge(group, 0.1)[0].verdict == verdict


def test_uncertainty_is_the_hand_sum():
    # resolution 0.1 K twice, uniform, and a 0.3 K tolerance, uniform: 2 * sqrt(2*0.01/12 + 0.09/3) = 0.356 K
    group = [judge.Reading("b", float(k), "probe", 10.0, 10.0) for k in range(12)]
    assert judge.judge(group, 0.3)[0].uncertainty_k == pytest.approx(0.3559, abs=1e-3)


def test_a_poor_reference_cannot_pass_anything():
    assert judge.judge(_group(0.0), 1.0)[0].verdict == "cannot tell"


@pytest.mark.parametrize(
    "text, word",
    [
        ("", "first line"),
        (HEAD + "a,0,probe,1\n", "line 3"),
        (HEAD + "a,0,oven,1,1\n", "probe or bench"),
        (HEAD + "a,0,probe,1;2,1\n", "point"),
        (HEAD + "a,0,probe,nan,1\n", "between"),
        (HEAD + "a,0,probe,1,1\na,0,probe,1,1\n", "rise"),
        ("# unit: x\nbath,elapsed_s,sensor,shown_c,reference_c\na,0,probe,1,1\n", "how good is the reference"),
    ],
)
def test_bad_files_are_named(tmp_path: Path, text, word, capsys):
    file = tmp_path / "u.csv"
    file.write_text(text)
    assert judge.main([str(file)]) == 2
    assert word in capsys.readouterr().err


def test_control_characters_do_not_reach_the_terminal(tmp_path: Path, capsys):
    file = tmp_path / "u.csv"
    file.write_text("# unit: \x1b[2Jhello\n" + HEAD + "".join(f"a\x1b[31m,{k},probe,1.0,1.0\n" for k in range(12)))
    judge.main([str(file)])
    assert "\x1b" not in capsys.readouterr().out


def test_demo_says_it_is_invented_and_shows_both_outcomes():
    demo = ROOT / "hardware/validation/demo.csv"
    assert "INVENTED" in demo.read_text(encoding="utf-8").splitlines()[0]
    done = subprocess.run(
        [sys.executable, str(ROOT / "hardware/validation/judge.py"), str(demo)],
        capture_output=True,
        text=True,
    )
    assert done.returncode == 1
    assert done.stdout.startswith("DEMONSTRATION with invented numbers")
    assert " pass" in done.stdout and " fail" in done.stdout
