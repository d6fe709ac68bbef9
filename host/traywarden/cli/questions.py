"""The grower's questions and the doctor, each a module of its own."""

import typer

from traywarden.cli import compare, degree_days, doctor, dry_down, emergence, quality, today, waterings


def register(app: typer.Typer) -> None:
    for question in (today, emergence, degree_days, waterings, dry_down, compare, quality, doctor):
        question.register(app)
