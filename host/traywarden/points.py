"""Named points in the host's course at which a test may have the process killed.

`point("episodes written")` does nothing, unless KILL_TRAYWARDEN_AT in its environment names it: then the
process ends there as by `kill -9`. `name:3` means the third time. A test reads the names from the source.
"""

import os
import signal
from itertools import count

ASKED_BY = "KILL_TRAYWARDEN_AT"
_passed = count(1)


def point(name: str) -> None:
    """The process has come here."""
    asked = os.environ.get(ASKED_BY)
    if asked:
        named, _, time = asked.partition(":")
        if name == named and next(_passed) >= int(time or 1):
            os.kill(os.getpid(), signal.SIGKILL)
