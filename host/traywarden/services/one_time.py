"""Links in notices that do one thing once: write down the deed it asks for, or hush it.

A link carries what it may do, signed; nothing else can be done with it, and whoever has it needs no password.
"""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from itsdangerous import BadSignature, URLSafeSerializer

from traywarden.domain.episodes import ChangeKind, Episode
from traywarden.domain.hushes import untils
from traywarden.domain.notice_words import rule_words
from traywarden.domain.notices import Notice
from traywarden.domain.remedies import ONE_TAP
from traywarden.domain.subjects import SubjectKind
from traywarden.errors import UsageError
from traywarden.services.hushing import hush_subject
from traywarden.services.journal import Draft, put
from traywarden.services.knowledge import Knowledge
from traywarden.services.questions.ground import Ground
from traywarden.services.signing import signing_key
from traywarden.services.until import parse_until
from traywarden.settings import Settings
from traywarden.store import episodes as episode_store
from traywarden.store import notices as notice_store
from traywarden.store import used_links
from traywarden.store.store import Tx

GOOD_FOR_MS = 3 * 86_400_000
"""Then a link does nothing any more (common practice, no source)."""
LONGEST_LINK = 300
BY_A_LINK = "a link in a notice"
NO_LINK = "This link is not one of ours, or was cut short; open the notice again, or the page Now."
TOO_OLD = "This link is too old; open the page Now."
USED = "This link has done its work already."
OVER = "What this link was for is over; there is nothing left to do."


class Act(StrEnum):
    DONE = "done"
    HUSH = "hush"


@dataclass(frozen=True, slots=True)
class Offer:
    """What a link would do, in words; the trays or places by name."""

    act: Act
    says: str
    button: str


class Links:
    """Makes and reads the links of one home. `address`: where its pages are reached; empty: no links."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._address: str = settings["notices.address"].rstrip("/")
        self._signer: URLSafeSerializer | None = None

    def _signing(self) -> URLSafeSerializer:
        if self._signer is None:
            self._signer = URLSafeSerializer(signing_key(self._settings.home), salt="traywarden link")
        return self._signer

    def footer(self, notice: Notice) -> str:
        """The links of a notice, to stand below its words; empty where it has none."""
        needs = [e for e, kind in notice.changes if kind in (ChangeKind.OPENED, ChangeKind.REMINDED)]
        if not self._address or not needs:
            return ""
        lines = []
        if all(e.partition(":")[0] in ONE_TAP for e in needs):
            lines.append(f"Done: {self.link(notice.notice_id, Act.DONE)}")
        lines.append(f"Hush until tonight: {self.link(notice.notice_id, Act.HUSH)}")
        return "\n".join(lines)

    def link(self, notice_id: str, act: Act) -> str:
        return f"{self._address}/once/{self._signing().dumps([notice_id, act.value])}"

    def read(self, token: str) -> tuple[str, Act]:
        """The notice and the act of a link. Raises UsageError where it is none of ours."""
        try:
            notice_id, act = self._signing().loads(token[:LONGEST_LINK])
            return str(notice_id), Act(act)
        except (BadSignature, ValueError, TypeError):
            raise UsageError(NO_LINK) from None

    def offer(self, on: Ground, token: str) -> Offer:
        """What the link would do now. Raises UsageError where it does nothing (any more)."""
        return self._looked_at(on.tx, on, token)[0]

    def do(self, tx: Tx, on: Ground, token: str) -> str:
        """Do it, once; what was done, in words. Raises UsageError where it does nothing (any more)."""
        offer, open_now = self._looked_at(tx, on, token)
        used_links.use(tx, self._name(token), on.now_ms, offer.says)
        if offer.act is Act.DONE:
            for kind, subject in dict.fromkeys((ONE_TAP[e.rule], e.subject) for e in open_now):
                tray = subject.number if subject.kind is SubjectKind.TRAY else None
                place = subject.number if subject.kind is SubjectKind.PLACE else None
                put(tx, Draft(kind, on.now_ms, tray_id=tray, place_id=place, note=BY_A_LINK), on.now_ms)
            return offer.says
        until_ms = parse_until(_until(on), now_ms=on.now_ms, zone=on.zone)
        for episode in open_now:
            hush_subject(
                tx, episode.subject, episode.rule, until_ms, BY_A_LINK, zone=on.zone, now_ms=on.now_ms
            )
        return offer.says

    def _looked_at(self, tx: Tx, on: Ground, token: str) -> tuple[Offer, list[Episode]]:
        notice_id, act = self.read(token)
        if used_links.is_used(tx, self._name(token)):
            raise UsageError(USED)
        try:
            notice = notice_store.notice_named(tx, notice_id)
        except UsageError:
            raise UsageError(NO_LINK) from None
        if on.now_ms - notice.created_ms > GOOD_FOR_MS:
            raise UsageError(TOO_OLD)
        known = episode_store.episodes_named(tx, (e for e, _ in notice.changes))
        open_now = [
            e for e in known.values() if e.closed_ms is None and (act is Act.HUSH or e.rule in ONE_TAP)
        ]
        if act is Act.DONE:
            open_now = [e for e in open_now if not _done_since(on, e, notice.created_ms)]
        if not open_now:
            raise UsageError(OVER)
        knowledge = Knowledge(tx, {})
        names = {e.subject: knowledge.name_of(e.subject) for e in open_now}
        rules = " and ".join(sorted({rule_words(e.rule) for e in open_now}))
        listed = ", ".join(sorted(names.values()))
        if act is Act.DONE:
            kinds = " and ".join(sorted({ONE_TAP[e.rule].value for e in open_now}))
            return Offer(act, f"{listed}: {kinds}", f"Yes, {kinds}"), open_now
        until = untils(on.at(on.now_ms))[0].with_hour
        return Offer(act, f"{listed}, {rules}: hushed until {until}", f"Hush until {until}"), open_now

    def _name(self, token: str) -> str:
        notice_id, act = self.read(token)
        return f"{notice_id}:{act.value}"


def footers(settings: Settings) -> Callable[[Notice], str]:
    return Links(settings).footer


def _until(on: Ground) -> str:
    return untils(on.at(on.now_ms))[0].words


def _done_since(on: Ground, episode: Episode, since_ms: int) -> bool:
    """Whether the journal has it already: by the same link over another channel, or by hand."""
    kind, subject = ONE_TAP[episode.rule], episode.subject
    return any(
        entry.kind is kind
        and entry.at_ms >= since_ms
        and subject.number == (entry.tray_id if subject.kind is SubjectKind.TRAY else entry.place_id)
        for entry in on.facts.entries
    )
