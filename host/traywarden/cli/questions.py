"""The grower's questions and the doctor, each a module of its own."""

import typer

from traywarden.cli import (
    backtest,
    batch,
    batches,
    compare,
    degree_days,
    doctor,
    dry_down,
    emergence,
    level,
    mixes,
    moisture,
    outlook,
    places,
    plan,
    quality,
    record,
    seeds,
    today,
    waterings,
    week,
)

QUESTIONS = (
    today,
    outlook,
    emergence,
    seeds,
    degree_days,
    waterings,
    record,
    moisture,
    mixes,
    dry_down,
    compare,
    plan,
    batch,
    batches,
    backtest,
    level,
    places,
    quality,
    week,
    doctor,
)


def register(app: typer.Typer) -> None:
    for question in QUESTIONS:
        question.register(app)
