"""What the probe answers when it is asked over USB."""

import sys

from probe import sensors as sensing
from probe import settings as table

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

HIDDEN = "***"


class Answers:
    """Answers to {"ask": …}. New settings are saved, and hold from the next start on.

    An answer's "then" is called once the answer has gone out.
    """

    def __init__(
        self,
        settings: "dict[str, Any]",
        fs: "Any",
        hardware: "Any",
        pause: "Callable[[int], Any]",
        spool: "Any",
        reset: str,
        firmware: str,
        gathered: "Callable[[], int] | None" = None,
        restart: "Callable[[], Any] | None" = None,
    ) -> None:
        self.settings = settings
        self._fs = fs
        self._hardware = hardware
        self._pause = pause
        self._spool = spool
        self._reset = reset
        self._firmware = firmware
        self._gathered = gathered
        self._restart = restart

    def __call__(self, question: "dict[str, Any]") -> "dict[str, Any]":
        """The answer to one question; {"answer": "error", "why": …} to one that is not known."""
        ask = question["ask"]
        known: dict[str, Any] = {
            "hello": self._hello,
            "check": self._check,
            "read": self._read,
            "spool": self._spooled,
            "reset cause": self._reset_cause,
            "settings": self._settings,
            "restart": self._restarted,
        }
        if ask not in known:
            why = f"{ask} is not a question; " + ", ".join(sorted(known)) + " are"
            return {"answer": "error", "why": why}
        answer: dict[str, Any] = known[ask](question)
        answer["answer"] = ask
        return answer

    def here(self) -> "dict[str, Any]":
        """Who this is."""
        return {
            "name": self.settings["name"],
            "garden": self.settings["garden"],
            "board": self.settings["board"],
            "firmware": self._firmware,
            "micropython": ".".join([str(part) for part in sys.implementation.version[:3]]),
        }

    def _hello(self, question: "dict[str, Any]") -> "dict[str, Any]":
        return self.here()

    def _sensors(self) -> "list[Any]":
        return sensing.sensors(self._hardware, self.settings["heads"], self._pause)

    def _check(self, question: "dict[str, Any]") -> "dict[str, Any]":
        found = sensing.check(self._sensors(), self._hardware.power, self._pause)
        return {"ok": all(finding["ok"] for finding in found), "findings": found}

    def _read(self, question: "dict[str, Any]") -> "dict[str, Any]":
        values, faults = sensing.read_all(self._sensors(), self._hardware.power, self._pause)
        named = {}
        for (head, quantity), value in values.items():
            named["battery" if quantity == "battery" else f"{head}/{quantity}"] = round(value, 4)
        return {"values": named, "faults": [f"{sensor}: {why}" for sensor, why in faults]}

    def _spooled(self, question: "dict[str, Any]") -> "dict[str, Any]":
        return {
            "waiting": len(self._spool),
            "gathered": self._gathered() if self._gathered else 0,
            "dropped": self._spool.dropped,
            "damaged": self._spool.damaged,
        }

    def _reset_cause(self, question: "dict[str, Any]") -> "dict[str, Any]":
        return {"words": self._reset}

    def _settings(self, question: "dict[str, Any]") -> "dict[str, Any]":
        given = question.get("set")
        if given is None:
            return {"settings": table.masked(self.settings)}
        if isinstance(given, dict):
            given = _without_hidden(given)
        new, problems = table.check(given, self.settings)
        if problems:
            return {"refused": problems, "settings": table.masked(self.settings)}
        try:
            table.save(self._fs, new)
        except OSError as error:
            return {
                "refused": [f"they could not be written ({error})"],
                "settings": table.masked(self.settings),
            }
        self.settings = new
        return {"settings": table.masked(new)}

    def _restarted(self, question: "dict[str, Any]") -> "dict[str, Any]":
        if self._restart is None:
            return {"why": "this board cannot be restarted from here; take its power away for a moment"}
        return {"then": self._restart}


def _without_hidden(given: "dict[str, Any]") -> "dict[str, Any]":
    """Without the stars that `masked` puts for a password: sent back they mean no change."""
    kept = {}
    for key, value in given.items():
        if isinstance(value, dict):
            kept[key] = _without_hidden(value)
        elif key != "password" or value != HIDDEN:
            kept[key] = value
    return kept
