"""When a rule opens and closes, and how its notices go out."""

from traywarden.settings.kinds import Setting, between

ROWS: tuple[Setting, ...] = (
    Setting(
        "dry.open_delay_s",
        float,
        1800.0,
        "s",
        "How long a tray must be below its dry line before water-now opens.",
        between(0, 86_400),
    ),
    Setting(
        "dry.close_above",
        float,
        0.05,
        "fraction of container capacity",
        "How far above the dry line the tray must rise to close.",
        between(0, 1),
    ),
    Setting("dry.close_delay_s", float, 0.0, "s", "How long it must stay there.", between(0, 86_400)),
    Setting(
        "cold.open_delay_s",
        float,
        10_800.0,
        "s",
        "How long the mix must be below the crop's minimum before too-cold opens.",
        between(0, 604_800),
    ),
    Setting(
        "cold.close_above_c",
        float,
        1.0,
        "°C",
        "How far above the minimum the mix must rise to close.",
        between(0, 20),
    ),
    Setting("cold.close_delay_s", float, 10_800.0, "s", "How long it must stay there.", between(0, 604_800)),
    Setting("notices.console", bool, True, "", "Print notices where the host runs."),
    Setting(
        "notices.blind_after_s",
        float,
        7200.0,
        "s",
        "A head silent for longer than this cannot be judged.",
        between(60, 604_800),
    ),
    Setting(
        "notices.remind_after_s",
        float,
        21_600.0,
        "s",
        "Remind after so long of what still holds and had nothing done about it; the gap doubles each time. "
        "0: never.",
        between(0, 2_592_000),
    ),
    Setting(
        "notices.longest_remind_s",
        float,
        172_800.0,
        "s",
        "Longest gap between reminders; also how long a reminder waits after something was done.",
        between(60, 2_592_000),
    ),
    Setting(
        "notices.first_retry_s",
        float,
        30.0,
        "s",
        "Wait before the first retry of a failed notice; doubled each time.",
        between(0.01, 86_400),
    ),
    Setting(
        "notices.longest_retry_s",
        float,
        3600.0,
        "s",
        "Longest wait between retries.",
        between(0.01, 604_800),
    ),
    Setting(
        "notices.most_attempts",
        int,
        120,
        "attempts",
        "After so many attempts a notice is parked, where `doctor` and `notices` show it. With the waits by "
        "default that is after nearly five days (RFC 5321, section 4.5.4.1, asks for four or five).",
        between(1, 10_000),
    ),
)
