"""Runs at every start of the board: one wake cycle, then deep sleep. Whatever goes wrong, it sleeps."""

from probe import board

SLEEP_MS = 600000
PROMPT_MS = 7200000
"""Whoever interrupts it with Ctrl-C has the prompt for this long before the watchdog starts it again."""
MISHAP = "mishap.txt"
"""On the board: what ended a wake before its time, from the last time that happened."""


def main() -> None:
    sleep_ms = SLEEP_MS
    try:
        from probe.start import run

        sleep_ms = run()
    except KeyboardInterrupt:
        board.watchdog(PROMPT_MS)
        return
    except Exception as error:
        _note(error)
    board.sleep(sleep_ms)


def _note(error: Exception) -> None:
    import sys

    try:
        with open(MISHAP, "w") as file:
            sys.print_exception(error, file)
    except OSError:
        pass  # flash is out of order: sleep all the same


if __name__ == "__main__":
    main()
