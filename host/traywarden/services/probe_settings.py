"""What the host asks of each probe: how often to measure and send, and when not to wait for that.

The limits follow from the facts that hold now: the dry line of the mix a head stands in, turned into raw
volts by that head's calibration, and the temperatures of the crop sown there. A probe that crosses one wakes
its radio at once; what is then told, and to whom, the rules decide as for any other reading.
"""

import zlib
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from itertools import pairwise
from threading import Event
from typing import Any, Protocol

import msgspec

from traywarden.domain.crops import Crop
from traywarden.domain.garden import Head, Mix
from traywarden.domain.journal import Calibration
from traywarden.domain.moisture import DEFAULT_CALIBRATION, volts_from_m3_m3
from traywarden.errors import StoreError
from traywarden.services.clock import Clock
from traywarden.services.knowledge import Knowledge
from traywarden.settings import Settings
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store
from traywarden.store import probes as probe_store
from traywarden.store.store import Store, Tx
from traywarden.wire import topics

LOOK_S = 2.0
LOOK_ANYWAY_MS = 3_600_000
LIMIT_V = (-0.5, 6.0)
Payload = Mapping[str, Any]


class Publish(Protocol):
    def __call__(self, topic: str, payload: bytes, *, retain: bool = False) -> None: ...


@dataclass(frozen=True, slots=True)
class Answered:
    """What a probe says of the settings it was sent: taken, refused, not taken yet; empty where it says
    nothing of any settings, as a sensor of another make does.
    """

    state: str
    reason: str = ""

    @property
    def words(self) -> str:
        return f"{self.state}: {self.reason}" if self.reason else self.state


def wanted_settings(
    tx: Tx, settings: Settings, crops: Mapping[str, Crop], now_ms: int
) -> dict[str, dict[str, Any]]:
    """For every probe that has reported, by name: the message that is to lie on its settings topic.

    `revision` is made from the rest (CRC-32), so the same facts give the same number on any host and after
    any restart.
    """
    known = Knowledge(tx, crops)
    lot_crops = {lot.lot_id: lot.crop for lot in garden_store.lots(tx)}
    asked: dict[str, dict[str, Any]] = {}
    for probe in probe_store.probes(tx):
        asked[probe.name] = {
            name: settings[f"probes.{name}"] for name in ("read_s", "send_s") if settings[f"probes.{name}"]
        } | {"limits": {}}
    for head in probe_store.heads(tx):
        limits = _limits(head, known, lot_crops, crops, settings, now_ms)
        if limits:
            asked[head.probe]["limits"][str(head.number)] = limits
    for message in asked.values():
        message["revision"] = zlib.crc32(msgspec.json.encode(message, order="deterministic")) & 0x7FFFFFFF
    return asked


def answered(state: Mapping[str, Any], wanted: Mapping[str, Any] | None) -> Answered:
    """What the probe's own state says of the settings that are wanted of it now."""
    if state.get("settings_refused"):
        return Answered("refused", str(state["settings_refused"]))
    if wanted is not None and state.get("settings_revision") == wanted["revision"]:
        return Answered("taken")
    return Answered("not taken yet" if "settings_revision" in state else "")


class ProbeSettings:
    """Keeps every probe's settings topic true: `run` is the life of one thread, until `ending` is set."""

    def __init__(
        self,
        store: Store,
        garden: str,
        settings: Settings,
        clock: Clock,
        crops: Mapping[str, Crop],
        publish: Publish,
    ) -> None:
        self._store, self._garden, self._settings = store, garden, settings
        self._clock, self._crops, self._publish = clock, crops, publish
        self._seen: object = None
        self._told: dict[str, bytes] = {}

    def take(self, settings: Settings) -> None:
        """From the next look on probes are told by these."""
        self._settings = settings

    def run(self, ending: Event) -> None:
        while True:
            with suppress(StoreError):  # ingest says so; what is wanted is looked up again in a moment
                self.tell()
            if ending.wait(LOOK_S):
                return

    def tell(self) -> None:
        """Publish, retained, what has changed since it was last told; all of it the first time."""
        settings = self._settings
        with self._store.read() as tx:
            seen = (
                settings,
                journal_store.newest_entry_id(tx),
                garden_store.mixes(tx),
                probe_store.heads(tx),
                [probe.name for probe in probe_store.probes(tx)],
                self._clock.now_ms() // LOOK_ANYWAY_MS,
            )
            if seen == self._seen:
                return
            wanted = wanted_settings(tx, settings, self._crops, self._clock.now_ms())
        for probe, message in wanted.items():
            payload = msgspec.json.encode(message)
            if topics.NAME_RE.fullmatch(probe) and self._told.get(probe) != payload:
                self._publish(topics.settings_topic(self._garden, probe), payload, retain=True)
                self._told[probe] = payload
        self._seen = seen


def _limits(
    head: Head,
    known: Knowledge,
    lot_crops: Mapping[int, str],
    crops: Mapping[str, Crop],
    settings: Settings,
    now_ms: int,
) -> dict[str, float]:
    if head.number == 0:
        return {"frost_c": settings["probes.frost_c"], "hysteresis_c": settings["cold.close_above_c"]}
    stays = known.head_stays.get(head.head_id, [])
    tray_id = next((tray for tray, since, to in stays if since <= now_ms < (to or now_ms + 1)), None)
    if tray_id is None:
        return {}
    limits: dict[str, float] = {}
    facts = known.of(tray_id).facts
    mix = known.mixes.get(facts.mix_of_tray(tray_id, now_ms) or -1)
    if mix is not None:
        mix = facts.mix_as_held(mix, tray_id, now_ms)
        limits |= _dry(mix, _in_force(facts.calibrations(head.head_id, mix.mix_id), now_ms), settings)
    sowing = facts.sowing_of_tray(tray_id, now_ms)
    if sowing is not None and facts.emergence_of_sowing(sowing, now_ms) is None:
        crop = crops.get(str(sowing.data.get("crop") or lot_crops.get(sowing.lot_id or -1)))
        temperatures = {"cold_c": crop.floor_c, "hot_c": crop.max_c} if crop else {}
        limits |= {name: round(value, 2) for name, value in temperatures.items() if value is not None}
    if "cold_c" in limits or "hot_c" in limits:
        limits["hysteresis_c"] = settings["cold.close_above_c"]
    return limits


def _in_force(calibrations: list[Calibration], now_ms: int) -> Calibration:
    """The newest that has begun; the first also holds before it began."""
    usable = [c for c in calibrations if c.usable]
    begun = [c for c in usable if c.from_ms <= now_ms]
    return begun[-1] if begun else usable[0] if usable else DEFAULT_CALIBRATION


def _dry(mix: Mix, calibration: Calibration, settings: Settings) -> dict[str, float]:
    """The volts of the mix's dry line; none for a sensor whose volts rise with water.

    The probe's limit is crossed upwards. Such a sensor is judged by the host when its readings come.
    """
    if any(later >= earlier for (_, earlier), (_, later) in pairwise(calibration.points)):
        return {}
    line = mix.dry_line_m3_m3
    clear = line + settings["dry.close_above"] * mix.container_capacity_m3_m3
    dry_v, clear_v = volts_from_m3_m3(line, calibration), volts_from_m3_m3(clear, calibration)
    if not LIMIT_V[0] <= dry_v <= LIMIT_V[1]:
        return {}
    return {"dry_v": round(dry_v, 4), "hysteresis_v": round(min(dry_v - clear_v, 2.0), 4)}
