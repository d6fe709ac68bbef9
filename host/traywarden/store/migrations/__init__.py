"""Alembic's side of the store; run by `traywarden.store.upgrade`."""
