"""Levels and delays of the rules, a section for each; some may be given for a crop, a mix or a stage."""

from traywarden.settings.kinds import Setting, between

DAY_S = 86_400.0
NO_SOURCE = "common practice, no source"


def _delays(
    rule: str, says: str, open_s: float, close_s: float, *, varies: bool = True
) -> tuple[Setting, Setting]:
    """How long it must be so before the rule opens, and how long not before it closes."""
    return (
        Setting(
            f"{rule}.open_delay_s",
            float,
            open_s,
            "s",
            f"How long {says} before that is told ({NO_SOURCE}).",
            between(0, 14 * DAY_S),
            varies,
        ),
        Setting(
            f"{rule}.close_delay_s",
            float,
            close_s,
            "s",
            f"How long that must be over before it counts as over ({NO_SOURCE}).",
            between(0, 14 * DAY_S),
            varies,
        ),
    )


def _level(key: str, default: float, unit: str, says: str, low: float, high: float) -> Setting:
    return Setting(key, float, default, unit, says, between(low, high), varies=True)


ROWS: tuple[Setting, ...] = (
    _level(
        "dry.line_times",
        1.0,
        "times the mix's dry line",
        "Where a tray counts as dry; less for what likes it drier, or once it is up.",
        0.2,
        2,
    ),
    *_delays("hot", "the mix must be too warm for its seed", 7200.0, DAY_S),
    _level("hot.close_below_c", 1.0, "°C", "How far below the limit the mix must fall to close.", 0, 20),
    *_delays("waterlogged", "a tray must stand soaked", 2 * DAY_S, 3600.0),
    _level(
        "waterlogged.above",
        0.95,
        "fraction of container capacity",
        f"From here up a tray counts as soaked: its air space is full ({NO_SOURCE}).",
        0.5,
        1.2,
    ),
    _level(
        "waterlogged.close_below",
        0.05,
        "fraction of container capacity",
        "How far below that it must drain to close.",
        0,
        0.5,
    ),
    *_delays("damp", "seedlings must be kept wet", 2 * DAY_S, 3600.0),
    _level(
        "damp.above",
        0.85,
        "fraction of container capacity",
        f"Seedlings that never dry below this are kept as wet as seed ({NO_SOURCE}).",
        0.3,
        1.2,
    ),
    _level(
        "damp.close_below",
        0.10,
        "fraction of container capacity",
        "How far below that it must dry to close.",
        0,
        0.5,
    ),
    *_delays("drying", "a tray must be foreseen dry before the next visit", 1800.0, 3600.0),
    Setting(
        "drying.morning_h",
        float,
        8.0,
        "h",
        "When you look at the bench in the morning, until the journal shows when you do.",
        between(0, 24),
    ),
    Setting("drying.evening_h", float, 18.0, "h", "The same for the evening.", between(0, 24)),
    Setting(
        "drying.spare_h",
        float,
        2.0,
        "h",
        "A tray foreseen dry no more than this after the visit stays as it is.",
        between(0, 24),
    ),
    *_delays("late", "seed must be late", 0.0, DAY_S),
    *_delays("tilted", "a tray must be out of level", 0.0, DAY_S),
    *_delays("frost", "frost must be likely", 0.0, 3 * 3600.0),
    Setting(
        "frost.tender_c",
        float,
        7.2,
        "°C",
        "Below this tender seedlings are chilled: 45 °F, Hennepin County Master Gardeners (Univ. of "
        "Minnesota Extension).",
        between(-10, 20),
    ),
    Setting(
        "frost.half_hardy_c",
        float,
        0.0,
        "°C",
        "Below this half-hardy seedlings freeze: light freeze, AMS Glossary.",
        between(-10, 20),
    ),
    Setting(
        "frost.hardy_c",
        float,
        -2.2,
        "°C",
        "Below this hardy seedlings are killed: 28 °F, North Carolina State Climate Office.",
        between(-20, 20),
    ),
    _level(
        "frost.warmer_by_c",
        0.0,
        "°C",
        "Warn this much above the limit of its class; below zero for what bears more.",
        -10,
        10,
    ),
    Setting(
        "frost.least_chance",
        float,
        0.3,
        "",
        f"The least chance of it that is told ({NO_SOURCE}).",
        between(0.01, 0.99),
    ),
    Setting(
        "frost.from_h",
        float,
        12.0,
        "h",
        "From this hour on the coming night is told; the night before is over at six.",
        between(7, 23),
    ),
    *_delays("vent", "a frame must be too hot", 600.0, 3600.0),
    Setting(
        "vent.close_below_c",
        float,
        3.0,
        "°C",
        "How far below frames.vent_above_c its air must fall to close.",
        between(0, 20),
    ),
    Setting(
        "vent.least_excess_c",
        float,
        3.0,
        "°C",
        f"A cover no warmer than this above the open air is open, or opening would not help ({NO_SOURCE}).",
        between(0, 20),
    ),
    *_delays("shut", "a frame must stand open in the cold", 900.0, 0.0),
    _level(
        "shut.below_c",
        7.2,
        "°C",
        "A frame is closed when the open air falls below this: 45 °F for cool-season seedlings, 55 °F "
        "(12.8 °C) for warm-season ones (secondary sources).",
        -10,
        25,
    ),
    Setting(
        "shut.least_excess_c",
        float,
        1.0,
        "°C",
        f"A frame this little warmer than the open air by night stands open ({NO_SOURCE}; closed, it is 3 to "
        "6 °C warmer: Univ. of Missouri Extension G6965).",
        between(0, 10),
    ),
    *_delays("rain", "heavy rain must be recorded or forecast", 0.0, 3600.0),
    Setting(
        "rain.day_mm",
        float,
        20.0,
        "mm",
        f"So much rain in a day is heavy for seed in trays ({NO_SOURCE}).",
        between(1, 500),
    ),
    *_delays("quiet", "a probe must be silent beyond what counts as quiet", 0.0, 0.0, varies=False),
    Setting(
        "quiet.after_s",
        float,
        7200.0,
        "s",
        f"A probe of which nothing was measured for this long has gone quiet ({NO_SOURCE}).",
        between(60, 604_800),
    ),
    *_delays("battery", "a battery must be low", 10_800.0, 10_800.0, varies=False),
    Setting(
        "battery.below_v",
        float,
        3.5,
        "V",
        f"One lithium cell below this is nearly empty ({NO_SOURCE}).",
        between(2.5, 4.2),
    ),
    Setting(
        "battery.close_above_v",
        float,
        0.1,
        "V",
        "How far above that it must come to close.",
        between(0, 1),
    ),
    *_delays("faulty", "a head must be faulty", 3600.0, 3600.0, varies=False),
    *_delays("pulled", "a head must be out of its mix", 0.0, 3600.0, varies=False),
    *_delays("clock", "a probe's clock must be wrong", 0.0, 3600.0, varies=False),
    *_delays("disk", "the disk must be nearly full", 0.0, 0.0, varies=False),
    Setting(
        "disk.least_free_mb",
        float,
        500.0,
        "MB",
        f"Less room than this where the garden is kept is little ({NO_SOURCE}).",
        between(10, 1_000_000),
    ),
    *_delays("broker", "the broker must be out of reach", 300.0, 60.0, varies=False),
    *_delays("slow", "storing must take too long", 300.0, 300.0, varies=False),
    Setting(
        "slow.commit_s",
        float,
        5.0,
        "s",
        f"Readings that take longer than this to store are slow ({NO_SOURCE}).",
        between(0.1, 600),
    ),
    *_delays("parked", "notices must be given up", 0.0, 0.0, varies=False),
)
