"""How often a password may be tried: after a few wrong ones the wait grows, for one address and for all."""

import ipaddress
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

FREE_TRIES = 5
LONGEST_WAIT_S = 60.0
FORGOTTEN_S = 3600.0
MOST_WRONG, MOST_WRONG_IN_S = 60, 600.0
"""Wrong tries of all addresses together in so long; then everybody waits (common practice, no source)."""
MOST_ADDRESSES = 1000


@dataclass(slots=True)
class _Tries:
    wrong: int
    last_s: float


class Attempts:
    """Counts every try as wrong when it begins, so that many at once gain nothing; `right` forgets them."""

    def __init__(self, clock_s: Callable[[], float] = time.monotonic) -> None:
        self._clock_s = clock_s
        self._lock = threading.Lock()
        self._of: OrderedDict[str, _Tries] = OrderedDict()
        self._all: list[float] = []
        self.checking = threading.Lock()
        """Held while a password is checked: each check takes tens of megabytes."""

    def begin(self, address: str) -> float:
        """0 where a try may be made, which is then counted; else the seconds to wait."""
        with self._lock:
            now_s, key = self._clock_s(), _who(address)
            self._all = [at for at in self._all if now_s - at < MOST_WRONG_IN_S]
            tries = self._of.get(key)
            if tries is not None and now_s - tries.last_s >= FORGOTTEN_S:
                del self._of[key]
                tries = None
            wait_s = 0.0
            if tries is not None and tries.wrong >= FREE_TRIES:
                wait_s = tries.last_s + min(2.0 ** (tries.wrong - FREE_TRIES + 1), LONGEST_WAIT_S) - now_s
            if len(self._all) >= MOST_WRONG:
                wait_s = max(wait_s, self._all[0] + MOST_WRONG_IN_S - now_s)
            if wait_s > 0:
                return wait_s
            self._of[key] = _Tries((tries.wrong if tries else 0) + 1, now_s)
            self._of.move_to_end(key)
            while len(self._of) > MOST_ADDRESSES:
                self._of.popitem(last=False)
            self._all.append(now_s)
            return 0.0

    def right(self, address: str) -> None:
        """The try that was begun last was no wrong one."""
        with self._lock:
            self._of.pop(_who(address), None)
            if self._all:
                self._all.pop()


def _who(address: str) -> str:
    """One household of IPv6 addresses counts as one: it has as many as it likes."""
    try:
        known = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address[:100]
    if known.version == 6:
        return str(ipaddress.ip_network((known, 64), strict=False))
    return str(known)
