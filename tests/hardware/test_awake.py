"""What a wake of the real firmware waits is what the power budget counts."""

import binascii

import pytest

from hardware import power
from tests.interpreter.node import Node
from tests.interpreter.probes import BENCH, settings

pytestmark = pytest.mark.system
NOW_MS = 1_790_000_000_000
BOARD = "f412fa0000aa"


def wakes(count: int, **script: str) -> list[dict[str, float]]:
    """That many wakes of a fresh board whose network is as the script says."""
    text = binascii.b2a_base64(settings("north", 1883), newline=False).decode()
    answers = []
    now_ms = NOW_MS
    with Node() as node:
        node.order("board", board=BOARD, flash={"/settings.json": text})
        for _ in range(count):
            answer = node.wake(BOARD, {"now_ms": now_ms, "bench": BENCH, **script})
            assert answer["ended"] == "deep sleep", answer["error"]
            answers.append(answer)
            now_ms += round(answer["awake_ms"] + answer["sleep_ms"])
    return answers


def test_a_reading_on_the_interpreter_waits_as_long_as_the_budget_says() -> None:
    reading = [answer for answer in wakes(5, wifi="silent") if answer["radio_ms"] == 0]
    assert len(reading) >= 3
    wait_ms = power.FIGURES["read_wait_s"].value * 1e3
    compute_ms = power.FIGURES["compute_s"].value * 1e3
    for answer in reading:
        assert wait_ms <= answer["awake_ms"] <= wait_ms + compute_ms


def test_a_send_that_fails_has_the_radio_on_as_long_as_the_budget_says() -> None:
    (first,) = wakes(1, wifi="silent")
    assert first["radio_ms"] / 1e3 == pytest.approx(power.ALLOWED_S, rel=0.01)
