"""Charts about mixes: how fast they dry, and how long they stay soaked."""

from traywarden.services.questions.dry_down import ask_dry_down
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.mix_picture import dry_down_picture, soaked_picture
from traywarden.services.questions.soaked import ask_soaked
from traywarden.web.charts import Chart, Maker, Params
from traywarden.web.mix_asked import DRY_DAYS, SOAKED_DAYS, days_asked


def dry_down_chart(on: Ground, params: Params) -> Chart:
    answer = ask_dry_down(on, days=days_asked(params, DRY_DAYS))
    columns = ("mix", "tray", "from", "days", "lost a day, % of container capacity", "air, kPa", "remark")
    rows = [
        (s.mix, s.tray, s.start.isoformat(), s.days, s.rate_pct_per_day, s.mean_vpd_kpa, s.reason)
        for s in answer.stretches
    ]
    says = "How fast each mix dries: every stretch between two wettings, by tray, and the median of the mix."
    return Chart(dry_down_picture(answer), says, columns, rows)


def soaked_chart(on: Ground, params: Params) -> Chart:
    answer = ask_soaked(on, days=days_asked(params, SOAKED_DAYS))
    columns = ("mix", "tray", "place", "watered", "soaked, h", "ended")
    rows = [
        (w.mix, w.tray, w.place, w.at.isoformat(), w.soaked_h, "yes" if w.ended else "no, at least so long")
        for w in answer.waterings
    ]
    return Chart(soaked_picture(answer), answer.sentence, columns, rows)


MIX_CHARTS: dict[str, Maker] = {"dry_down": dry_down_chart, "soaked": soaked_chart}
