"""How are the probes: heard of when, battery, signal, what waits in them, and where each head is?"""

from traywarden.services.probe_cards import ProbeCard, probe_cards
from traywarden.services.probe_settings import wanted_settings
from traywarden.services.questions.ground import Ground
from traywarden.store.crops import load_crops


def ask_probes(ground: Ground) -> list[ProbeCard]:
    """Every probe that has reported, by name; none where none has."""
    wanted = wanted_settings(ground.tx, ground.settings, load_crops(), ground.now_ms)
    return probe_cards(ground.tx, ground.now_ms, wanted)
