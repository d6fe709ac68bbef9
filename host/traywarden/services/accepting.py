"""A container capacity that thorough waterings show, or a person says, made to hold for a mix."""

from dataclasses import dataclass

from traywarden.domain.garden import Mix, Tray
from traywarden.domain.journal import Kind
from traywarden.errors import ShortOfDataError
from traywarden.services.journal import Draft
from traywarden.services.questions.ground import Ground
from traywarden.services.questions.moisture import DEFAULT_DAYS, mix_capacity
from traywarden.store import garden as garden_store


@dataclass(frozen=True, slots=True)
class Accepting:
    """What is to hold, ready to be written, and what it is instead of [m³/m³]."""

    draft: Draft
    mix: Mix
    tray: Tray | None
    m3_m3: float
    instead_m3_m3: float

    @property
    def says(self) -> str:
        where = f" in tray {self.tray.name}" if self.tray else ""
        return (
            f"“{self.mix.name}”{where} is taken to hold {self.m3_m3:.3f} m³/m³ after draining, "
            f"instead of {self.instead_m3_m3:.3g}."
        )


def accepting(
    on: Ground,
    mix: str,
    tray: str = "",
    value_m3_m3: float | None = None,
    days: float = DEFAULT_DAYS,
    *,
    at_ms: int,
    note: str = "",
) -> Accepting:
    """The capacity that is given, or else what heads in the mix (in one tray) show over so many days.

    Raises ShortOfDataError where nothing shows it, UnknownNameError.
    """
    of = garden_store.mix_named(on.tx, mix)
    into = garden_store.tray_named(on.tx, tray) if tray else None
    shown = mix_capacity(on, of, into.name if into else "", days)
    waterings = None if value_m3_m3 is not None or shown is None else shown.waterings
    chosen = value_m3_m3 if value_m3_m3 is not None else shown.learned_m3_m3 if shown else None
    if chosen is None:
        why = shown.reason if shown else f"no head is in a tray with “{of.name}”"
        raise ShortOfDataError(
            f"Nothing shows the container capacity of “{of.name}” yet: {why}. Water thoroughly a few "
            "times, or give it with --value 0.55."
        )
    draft = Draft(
        Kind.CAPACITY_ACCEPTED,
        at_ms,
        tray_id=into.tray_id if into else None,
        mix_id=of.mix_id,
        data={"container_capacity_m3_m3": round(chosen, 3), "waterings": waterings},
        note=note,
    )
    return Accepting(draft, of, into, chosen, shown.set_m3_m3 if shown else of.container_capacity_m3_m3)
