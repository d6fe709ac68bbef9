"""The whole program, every command in it: for help, for completion, and for commands in groups."""

from traywarden.cli import (
    boards,
    broker,
    calibrate,
    crops,
    demo,
    entries,
    export,
    imports,
    journal,
    lots,
    notice_levels,
    notice_replay,
    notice_rules,
    notices,
    outside,
    pages,
    password,
    probes,
    questions,
    renaming,
    replay,
    run,
    setup,
    tokens,
    trays,
    upkeep,
)
from traywarden.cli.root import made_app

app = made_app()

setup.register(app)
trays.register(app)
lots.register(app)
renaming.register(app)
crops.register(app)
probes.register(app)
boards.register(app)
broker.register(app)
calibrate.register(app)
entries.register(app)
journal.register(app)
run.register(app)
pages.register(app)
password.register(app)
tokens.register(app)
imports.register(app)
outside.register(app)
export.register(app)
replay.register(app)
upkeep.register(app)
questions.register(app)
notices.register(app)
notice_replay.register()
notice_rules.register()
notice_levels.register()
demo.register(app)
