"""The garden in a notebook: names and dates in, pandas out. See docs/notebook.md.

from traywarden.notebook import open_garden

with open_garden() as garden:
    frame = garden.readings("Tomatoes 1", "2026-03-01", "2026-03-08")
"""

from traywarden.notebook.garden import NotebookGarden, open_garden

__all__ = ["NotebookGarden", "open_garden"]
