"""What the host does: ingest, watch, deliver, import, replay, and the questions it answers."""
