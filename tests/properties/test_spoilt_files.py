"""A sample of what `tests/studies/fuzz_files.py` tries by the thousand."""

import os
import random
import sys

import pytest

if sys.platform == "win32":
    pytest.skip("processes are forked here", allow_module_level=True)

from tests.properties.fuzzing import MOST_MB, TARGETS, called, example, tried

pytestmark = pytest.mark.filterwarnings("ignore:This process.*fork:DeprecationWarning")
EACH = 6
FIRST = int(os.environ.get("FUZZ_SEED", "1"))


@pytest.fixture(scope="module")
def base(tmp_path_factory):
    return example(tmp_path_factory.mktemp("base") / "tiny")


@pytest.mark.parametrize("target", TARGETS, ids=lambda t: f"{t.kind} {t.command[0]}")
def test_one_message_each(base, tmp_path, target):
    for number in range(FIRST, FIRST + EACH):
        outcome, how = tried(target, base, tmp_path, random.Random(f"{target.file} {number}"))
        # Time is left to the study: the processor may be shared.
        faults = [fault for fault in outcome.faults if not fault.endswith(" s")]
        assert faults == [], (number, how, outcome.shown)


def test_sound_files_pass(base, tmp_path):
    """So that what is refused is refused for what was done to it."""
    for target in TARGETS:
        parts = [part.replace("{}", str(base)) for part in target.command]
        if target.command[0] in ("fit", "tables", "wear", "reduce"):
            parts += [] if "--out" in parts else ["--out", str(tmp_path / "out")]
        if target.command[0] in ("logs", "check", "calibrations", "lock", "plan", "figures"):
            outcome = called(parts, tmp_path)
            assert outcome.code in (0, 3), (target, outcome)
            assert outcome.faults == ()


def test_the_harness_sees_what_it_looks_for(base, tmp_path, monkeypatch):
    """A traceback, a second message, terminal codes, memory and a wrong exit code."""
    planted = {
        "traceback": lambda: 1 / 0,
        "not one message": lambda: (sys.stderr.write("rigdata: a\nrigdata: b\n"), sys.exit(1)),
        "control characters": lambda: (sys.stdout.write("\x1b[31m"), sys.exit(0)),
        "exit code 2": lambda: sys.exit(2),
        " MB": lambda: (bytearray(int((MOST_MB + 50) * 2**20)), sys.exit(0)),
    }
    for words, does in planted.items():
        monkeypatch.setattr("tests.properties.fuzzing.main", lambda *_, does=does, **__: does())
        outcome = called(["check"], tmp_path)
        assert any(words in fault for fault in outcome.faults), (words, outcome)
