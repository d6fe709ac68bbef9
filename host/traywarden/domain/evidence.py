"""What is known about one tray at one measured instant: all that a rule may look at."""

from dataclasses import dataclass

from traywarden.domain.garden import Mix


@dataclass(frozen=True, slots=True)
class HeadSample:
    """The latest usable values of one head in the tray, none of them older than the blind limit.

    None: not measured, too old, or left out of computation; `*_trouble` then says why, in words
    (“frozen”, “stuck”, “not measured”).
    """

    label: str
    moisture_m3_m3: float | None = None
    moisture_calibrated: bool = False
    moisture_trouble: str = ""
    soil_temp_c: float | None = None
    soil_temp_trouble: str = ""


@dataclass(frozen=True, slots=True)
class Sown:
    """What stands sown in the tray. `floor_c` is the lowest temperature the crop's table gives."""

    crop: str
    sown_ms: int
    floor_c: float | None
    floor_kind: str = "published minimum"  # or “recommended range begins at” where no minimum is published
    floor_source: str = ""
    emerged_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Evidence:
    """One tray at one measured instant. `sown` is the sowing that stands there, None for an empty tray."""

    at_ms: int
    tray: str
    heads: tuple[HeadSample, ...] = ()
    mix: Mix | None = None
    litres: float | None = None
    sown: Sown | None = None
