"""Urgency: a reading that crosses a limit the host has set wakes the radio at once.

A limit that was crossed counts again only after the value has come back by the hysteresis. A value that
dances wider than that is held by an allowance of urgent wakes.
"""

from probe.settings import MOST_HEAD

MOST_WAKES = 4
"""Urgent wakes that can come at once; each comes back after REFILL_MS."""
REFILL_MS = 3600000

# name, setting, +1 when above is bad, its hysteresis and that one's default
_KINDS = (
    ("dry", "dry_v", 1, "hysteresis_v", 0.02),
    ("frost", "frost_c", -1, "hysteresis_c", 0.5),
    ("cold", "cold_c", -1, "hysteresis_c", 0.5),
    ("hot", "hot_c", 1, "hysteresis_c", 0.5),
)


def judge(
    values: "dict[tuple[int, str], float]",
    limits: "dict[str, dict[str, float]]",
    active: int,
) -> "tuple[int, list[str]]":
    """Which limits are crossed now (one bit each), and those newly crossed in words.

    `active` is what the last call returned. Soil temperature is judged for heads, air temperature for
    head 0. A value that is missing leaves its limit as it was.
    """
    now = 0
    reasons = []
    for head in range(MOST_HEAD + 1):
        set_for_head = limits.get(str(head)) or {}
        for index, (name, setting, sign, hysteresis, default) in enumerate(_KINDS):
            limit = set_for_head.get(setting)
            if limit is None:
                continue
            bit = 1 << (head * len(_KINDS) + index)
            was = active & bit
            value = values.get((head, _quantity(head, name)))
            if value is None:
                now |= was
                continue
            band = set_for_head.get(hysteresis, default) if was else 0.0
            if (value - limit) * sign > -band:
                now |= bit
                if not was:
                    reasons.append("head %d %s: %g, limit %g" % (head, name, value, limit))
    return now, reasons


def allowance(left: int, since_ms: int, now_ms: int) -> "tuple[int, int]":
    """How many urgent wakes are left at a mark, and the mark that counts from."""
    back = (now_ms - since_ms) // REFILL_MS
    if left + back >= MOST_WAKES:
        return MOST_WAKES, now_ms
    return left + back, since_ms + back * REFILL_MS


def _quantity(head: int, name: str) -> str:
    if name == "dry":
        return "moisture_voltage"
    return "soil_temperature" if head else "air_temperature"
