"""What is answered about emergence: one tray's state, dates with their bands, causes, second opinion."""

from dataclasses import dataclass
from datetime import datetime

NOTHING_SOWN, ON_ITS_WAY, LATE, COMING_UP, UP, UNKNOWN = (
    "nothing sown",
    "on its way",
    "late",
    "coming up",
    "up",
    "cannot be told",
)


@dataclass(frozen=True, slots=True)
class Between:
    """An expected instant with its 80 % band; None where it lies beyond what was looked at."""

    low: datetime | None
    expected: datetime | None
    high: datetime | None


@dataclass(frozen=True, slots=True)
class Done:
    """Fraction of the way to half emergence: 80 % band and middle."""

    low: float
    expected: float
    high: float


@dataclass(frozen=True, slots=True)
class Opinion:
    """What degree-days say: gathered of needed, and where that disagrees with the rate sum."""

    base_c: float
    needed_c_days: float
    gathered_c_days: float
    done: float
    half: datetime | None
    source: str
    disagreement: str


@dataclass(frozen=True, slots=True)
class Why:
    """A possible cause of lateness."""

    cause: str
    verdict: str
    says: str


@dataclass(frozen=True, slots=True)
class TrayEmergence:
    """One tray. `factor`: how many times the table's days this sowing is believed to take, with its band."""

    tray: str
    place: str | None
    state: str
    says: str
    crop: str | None = None
    lot: str | None = None
    sown: datetime | None = None
    days_since_sowing: float | None = None
    seeds: int | None = None
    seeds_known: bool = False
    done: Done | None = None
    first: Between | None = None
    half: Between | None = None
    up_since: datetime | None = None
    up_count: int | None = None
    looked: datetime | None = None
    factor: Done | None = None
    basis: str = ""
    basis_says: str = ""
    coverage: float | None = None
    mean_c: float | None = None
    filled_h: float = 0.0
    unsure_share: float = 0.0
    cold_h: float = 0.0
    cold_days: int = 0
    hot_h: float = 0.0
    hot_days: int = 0
    causes: tuple[Why, ...] = ()
    degree_days: Opinion | None = None
    outlook: str = ""


@dataclass(frozen=True, slots=True)
class EmergenceAnswer:
    garden: str
    at: datetime
    trays: tuple[TrayEmergence, ...]
