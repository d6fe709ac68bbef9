"""What a rule is called when it is told: what to do, that it is over, and what it was."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Saying:
    """`title`: what to do, or what is the matter; `over`: what is said of its end; `was`: what it was."""

    title: str
    over: str
    was: str


SAYINGS_BY_RULE: dict[str, Saying] = {
    "hot": Saying("Too warm for seed", "over", "too warm for its seed"),
    "waterlogged": Saying("Lift it to drain", "over", "waterlogged"),
    "damp": Saying("Water less, give air", "over", "kept as wet as seed"),
    "drying": Saying("Water before you leave", "over", "drying before the next visit"),
    "late": Saying("Seed is late", "over", "late"),
    "tilted": Saying("Out of level", "over", "out of level"),
    "frost": Saying("Frost or chill tonight", "over", "a night with frost or chill"),
    "vent": Saying("Open it", "over", "too hot under cover"),
    "shut": Saying("Close it", "over", "open in the cold"),
    "rain": Saying("Heavy rain", "over", "heavy rain"),
    "quiet": Saying("Probe quiet", "heard again", "quiet"),
    "battery": Saying("Battery low", "charged again", "low battery"),
    "faulty": Saying("Head faulty", "measures well again", "a faulty head"),
    "pulled": Saying("Head out of its mix", "over", "a head out of its mix"),
    "clock": Saying("Clock wrong", "over", "a wrong clock"),
    "disk": Saying("Disk nearly full", "over", "a nearly full disk"),
    "broker": Saying("Broker out of reach", "over", "no broker"),
    "slow": Saying("Storing is slow", "over", "slow storing"),
    "parked": Saying("Notices given up", "over", "notices given up"),
}
