"""How the garden is shown and judged: coverage, frames, emergence, moisture, mixes."""

from traywarden.settings.kinds import Setting, between, one_of

ROWS: tuple[Setting, ...] = (
    Setting("display.temperature", str, "C", "", "°C or °F on screen.", one_of("C", "F")),
    Setting("display.length", str, "mm", "", "Millimetres or inches on screen.", one_of("mm", "in")),
    Setting(
        "coverage.least",
        float,
        0.8,
        "fraction",
        "Least part of a day that readings must cover for its degree-days, minimum and maximum to count.",
        between(0, 1),
    ),
    Setting(
        "coverage.longest_gap_s",
        float,
        7200.0,
        "s",
        "Longest stretch between two readings that still counts as covered.",
        between(1, 86_400),
    ),
    Setting(
        "frames.vent_above_c",
        float,
        27.0,
        "°C",
        "Air under a cover above this wants the cover opened (common practice; a general reference page, "
        "not an extension service).",
        between(0, 60),
    ),
    Setting(
        "frames.lid_falls_by",
        float,
        0.35,
        "fraction",
        "Part of its excess over the open air that a cold frame loses within ten minutes when its lid opens "
        "(computed on a simple frame, no source).",
        between(0.01, 0.99),
    ),
    Setting(
        "frames.vents_fall_by",
        float,
        0.06,
        "fraction",
        "The same for a greenhouse or other cover with vents (chosen on a recorded glasshouse).",
        between(0.01, 0.99),
    ),
    Setting(
        "emergence.seed_spread",
        float,
        0.2,
        "",
        "How seeds of one lot differ in the logarithm of their time to emergence; 0.13 to 0.3 were measured.",
        between(0.02, 1),
    ),
    Setting(
        "emergence.looked_every_s",
        float,
        172_800.0,
        "s",
        "How long before an emergence was written down you last looked, where the journal does not tell "
        "(common practice, no source).",
        between(3600, 1_209_600),
    ),
    *(
        Setting(
            f"moisture.level{number}_from",
            float,
            begins,
            "fraction from the dry end to container capacity",
            f"Where level {number} ({name}) of the 1–5 moisture scale begins (common practice, no source: "
            "no published source maps the levels to % of volume).",
            between(0, 2),
        )
        for number, name, begins in (
            (2, "medium-dry", 0.25),
            (3, "medium", 0.5),
            (4, "wet", 0.8),
            (5, "saturated", 1.05),
        )
    ),
    Setting(
        "mix.soaked_above",
        float,
        0.95,
        "fraction of container capacity",
        "From here up a mix counts as soaked: its air space is full (common practice, no source).",
        between(0.5, 1.2),
    ),
    Setting(
        "mix.wet_too_long_h",
        float,
        48.0,
        "h",
        "Soaked for longer than this after a watering, seed drowns or damps off "
        "(common practice, no source).",
        between(1, 1000),
    ),
    Setting(
        "mix.cool_below_c",
        float,
        12.0,
        "°C",
        "Mean air below which weather counts as cool for a mix (common practice, no source).",
        between(-20, 40),
    ),
    Setting(
        "mix.dry_within_h",
        float,
        24.0,
        "h",
        "A mix at its dry line sooner than this after a watering dries within the day "
        "(common practice, no source).",
        between(1, 1000),
    ),
    Setting(
        "mix.hot_above_c",
        float,
        22.0,
        "°C",
        "Mean air from which weather counts as hot for a mix (common practice, no source).",
        between(-20, 60),
    ),
    Setting(
        "mix.worth_knowing",
        float,
        1.25,
        "times",
        "Two mixes that dry nearer to each other than this are alike at the bench "
        "(common practice, no source).",
        between(1.01, 10),
    ),
)
