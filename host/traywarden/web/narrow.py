"""A chart for a phone held upright: the same specification, narrower, legends below and titles folded."""

import copy
from collections.abc import Mapping
from textwrap import wrap
from typing import Any

ASKED = "narrow"
"""The parameter of a chart's address that asks for it."""
WHOLE_PX, INNER_PX = 350, 262
"""A whole chart, and one drawing area beside its axis: what a page leaves on a screen of 390."""
TITLE_LETTERS, SUBTITLE_LETTERS = 36, 50
LABEL_PX, EDGE_PX = 108, 6
LEAST_LETTERS_PX = 12
_FONTS = ("fontSize", "labelFontSize", "titleFontSize", "subtitleFontSize")
_PARTS = ("vconcat", "hconcat", "concat", "layer")


def narrowed(spec: Mapping[str, Any]) -> dict[str, Any]:
    """The specification at most so wide as a phone; nothing of its data is changed.

    A chart says under `usermeta.narrow` what it needs besides: `inner_px`, another width of its areas;
    `right_px`, room for words beside them; `without`, the data whose layers are left out.
    """
    made = copy.deepcopy(dict(spec))
    told = made.get("usermeta", {}).get("narrow", {})
    parted = any(part in made for part in ("vconcat", "hconcat", "concat", "facet", "spec"))
    fits = not parted and not isinstance(made.get("height"), dict)  # as high as it has rows is never fitted
    _views(made, WHOLE_PX if fits else told.get("inner_px", INNER_PX), frozenset(told.get("without", ())))
    if fits:
        made["autosize"] = {"type": "fit-x", "contains": "padding"}
    padding = made.get("padding", EDGE_PX)
    sides = padding if isinstance(padding, dict) else {}
    made["padding"] = {
        "top": EDGE_PX,
        "bottom": EDGE_PX,
        "left": sides.get("left", EDGE_PX),
        "right": told.get("right_px", sides.get("right", EDGE_PX)),
    }
    _title(made)
    config = made.setdefault("config", {})
    legend = config.setdefault("legend", {})
    legend |= {"orient": "bottom", "columns": 2, "labelLimit": 140, "columnPadding": 18}
    legend["layout"] = {"bottom": {"direction": "vertical", "anchor": "start", "margin": 6}}
    axis = config.setdefault("axis", {})
    axis["labelLimit"] = LABEL_PX
    config["axisX"] = config.get("axisX", {}) | {"labelOverlap": "greedy", "labelSeparation": 8}
    config["title"] = config.get("title", {}) | {"fontSize": 15, "subtitleFontSize": LEAST_LETTERS_PX}
    for part in ("text", "legend", "axis", "header"):
        _letters(config.get(part, {}))
    return made


def _views(view: dict[str, Any], width: int, without: frozenset[str]) -> None:
    """Each drawing area in turn; layers of data that there is no room for are left out."""
    if isinstance(view.get("width"), int | float):
        view["width"] = min(view["width"], width)
    _encoding(view.get("encoding", {}))
    if isinstance(view.get("mark"), dict):
        _letters(view["mark"])
    for part in _PARTS:
        if part in view:
            view[part] = [each for each in view[part] if each.get("data", {}).get("name") not in without]
            for each in view[part]:
                _views(each, width, without)
    if isinstance(view.get("spec"), dict):
        _views(view["spec"], width, without)


def _encoding(encoding: dict[str, Any]) -> None:
    for name, channel in encoding.items():
        if not isinstance(channel, dict):
            continue
        if isinstance(channel.get("legend"), dict):
            channel["legend"] |= {"orient": "bottom", "columns": 2, "labelLimit": 140}
            channel["legend"].pop("direction", None)
            _letters(channel["legend"])
        axis = channel.get("axis")
        if isinstance(axis, dict):
            _letters(axis)
            if "labelLimit" in axis:
                axis["labelLimit"] = min(axis["labelLimit"], LABEL_PX)
            if name == "x" and "tickCount" in axis and isinstance(axis["tickCount"], int):
                axis["tickCount"] = min(axis["tickCount"], 4)


def _letters(told: dict[str, Any]) -> None:
    for name in _FONTS:
        if isinstance(told.get(name), int | float):
            told[name] = max(LEAST_LETTERS_PX, min(told[name], LEAST_LETTERS_PX + 1))


def _title(spec: dict[str, Any]) -> None:
    title = spec.get("title")
    if isinstance(title, str):
        spec["title"] = {"text": _folded(title, TITLE_LETTERS), "anchor": "start"}
    elif isinstance(title, dict):
        title["text"] = _folded(title.get("text", ""), TITLE_LETTERS)
        title["subtitle"] = _folded(title.get("subtitle", ""), SUBTITLE_LETTERS)
        title.pop("limit", None)


def _folded(text: str | list[str], letters: int) -> list[str] | str:
    lines = text if isinstance(text, list) else [text]
    folded = [part for line in lines for part in wrap(line, letters)]
    return folded if len(folded) != 1 else folded[0]
