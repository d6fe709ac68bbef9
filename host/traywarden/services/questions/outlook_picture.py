"""One tray's outlook as a picture: the packaged chart, filled with the numbers of one answer."""

from datetime import datetime
from typing import Any

from traywarden.errors import ShortOfDataError
from traywarden.links.pictures import chart
from traywarden.services.questions.outlook import OutlookAnswer


def outlook_picture(answer: OutlookAnswer) -> dict[str, Any]:
    """A Vega-Lite spec of the present dry-down and the way to the dry line, in % of container capacity.

    Raises ShortOfDataError where the tray has no outlook to draw.
    """
    [tray] = answer.trays
    if not tray.measured or not tray.path:
        why = tray.why or "it is at its dry line already"
        raise ShortOfDataError(f"There is no outlook of “{tray.tray}” to draw: {why}.")
    spec = chart("outlook")
    now = _clock(answer.at)
    start = {"at": now, "moisture": tray.moisture_pct}
    spec["datasets"] = {
        "measured": [{"at": _clock(p.hour), "moisture": p.moisture_pct} for p in tray.measured],
        "foreseen": [start, *({"at": _clock(p.at), "moisture": p.moisture_pct} for p in tray.path)],
        "band": [
            {"early": now, "late": now, "moisture": tray.moisture_pct},
            *(
                {"early": _clock(p.earliest), "late": _clock(p.latest), "moisture": p.moisture_pct}
                for p in tray.path
            ),
        ],
        "line": [{"moisture": tray.dry_line_pct, "text": "dry line"}],
        "now": [{"at": now, "text": "now"}],
    }
    spec["title"]["text"] = f"{tray.tray}: when it will be dry"
    last = tray.path[-1]
    spec["title"]["subtitle"] = (
        f"{answer.garden}, by about {last.at:%a} {last.at.day} {last.at:%b %H:%M}; 80 % between "
        f"{last.earliest:%a} {last.earliest.day} {last.earliest:%b %H:%M} and "
        f"{last.latest:%a} {last.latest.day} {last.latest:%b %H:%M}"
    )
    return spec


def _clock(at: datetime) -> str:
    """The garden's own time of day, whatever zone the picture is drawn in."""
    return at.replace(tzinfo=None).isoformat()
