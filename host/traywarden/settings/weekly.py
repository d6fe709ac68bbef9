"""The week's report by schedule: on which day of the week, and at what hour."""

from traywarden.settings.kinds import Setting, between, one_of

NEVER = "never"
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
ROWS: tuple[Setting, ...] = (
    Setting(
        "week.day",
        str,
        NEVER,
        "",
        "Day on which the week's report is made and its summary sent over the notice channels.",
        one_of(NEVER, *WEEKDAYS),
    ),
    Setting(
        "week.hour",
        int,
        18,
        "o'clock",
        "Hour of that day, in the garden's time. Before noon the report is of the seven days before; from "
        "noon on that day is in it as far as it has come.",
        between(0, 23),
    ),
)
