"""Links in notices that do one thing once: write down the deed it asks for, or hush it.

A link carries what it may do, signed; nothing else can be done with it, and whoever has it needs no password.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from itsdangerous import BadSignature, URLSafeSerializer

from traywarden.domain.episodes import ChangeKind, Episode, rule_of
from traywarden.domain.hushes import untils
from traywarden.domain.notice_words import rule_words
from traywarden.domain.notices import Notice
from traywarden.errors import UsageError
from traywarden.services.hushing import hush_subject
from traywarden.services.journal import put
from traywarden.services.knowledge import Knowledge
from traywarden.services.link_deeds import BY_A_LINK, BY_A_TAP, Way, done_since, ways_to_answer, with_count
from traywarden.services.questions.ground import Ground
from traywarden.services.signing import signing_key
from traywarden.services.until import parse_until
from traywarden.settings import Settings
from traywarden.store import episodes as episode_store
from traywarden.store import notices as notice_store
from traywarden.store import used_links
from traywarden.store.crops import load_crops
from traywarden.store.store import Tx

GOOD_FOR_MS = 3 * 86_400_000
"""Then a link does nothing any more (common practice, no source)."""
LONGEST_LINK = 300
NO_LINK = "This link is not one of ours, or was cut short; open the notice again, or the page Now."
TOO_OLD = "This link is too old; open the page Now."
USED = "This link has done its work already."
NO_DEED = "There is nothing here that a tap could write down; write it down on the page of the journal."
OVER = "What this link was for is over; there is nothing left to do."


class Act(StrEnum):
    DONE = "done"
    HUSH = "hush"


@dataclass(frozen=True, slots=True)
class Offer:
    """What a link would do, in words, trays or places by name; and its buttons, of which one is pressed."""

    act: Act
    says: str
    ways: tuple[Way, ...]


@dataclass(frozen=True, slots=True)
class Right:
    """What a link may do: of a notice, of the needs of one rule in it, or with an empty one of all."""

    notice_id: str
    act: Act
    rule: str = ""

    @property
    def name(self) -> str:
        """By which it is known to have been used."""
        return ":".join(filter(None, (self.notice_id, self.act.value, self.rule)))


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
        """The links of a notice, to stand below its words: for each rule its own; empty where it has none."""
        needs = [e for e, kind in notice.changes if kind in (ChangeKind.OPENED, ChangeKind.REMINDED)]
        if not self._address or not needs:
            return ""
        rules = list(dict.fromkeys(rule_of(episode_id) for episode_id in needs))
        lines = []
        for rule in rules:
            only = rule if len(rules) > 1 else ""
            about = f", {rule_words(rule)}" if only else ""
            if rule in BY_A_TAP:
                lines.append(f"Done{about}: {self.link(notice.notice_id, Act.DONE, only)}")
            lines.append(f"Hush until tonight{about}: {self.link(notice.notice_id, Act.HUSH, only)}")
        return "\n".join(lines)

    def link(self, notice_id: str, act: Act, rule: str = "") -> str:
        named = [notice_id, act.value, rule] if rule else [notice_id, act.value]
        return f"{self._address}/once/{self._signing().dumps(named)}"

    def read(self, token: str) -> Right:
        """What a link may do. Raises UsageError where it is none of ours."""
        try:
            notice_id, act, *rule = self._signing().loads(token[:LONGEST_LINK])
            return Right(str(notice_id), Act(act), str(rule[0]) if rule else "")
        except (BadSignature, ValueError, TypeError):
            raise UsageError(NO_LINK) from None

    def offer(self, on: Ground, token: str) -> Offer:
        """What the link would do now. Raises UsageError where it does nothing (any more)."""
        return self._looked_at(on.tx, on, self.read(token))[0]

    def do(self, tx: Tx, on: Ground, token: str, way: str = "", count: int | None = None) -> str:
        """Do it, once, in the way that was chosen; what was done, in words.

        Raises UsageError where it does nothing (any more), or nothing was chosen where there is a choice.
        """
        right = self.read(token)
        offer, open_now = self._looked_at(tx, on, right)
        chosen = next(
            (w for w in offer.ways if w.value == way), offer.ways[0] if len(offer.ways) == 1 else None
        )
        if chosen is None:
            raise UsageError("Choose what was done.")
        used_links.use(tx, right.name, on.now_ms, chosen.says)
        for draft in with_count(chosen.drafts, count if chosen.counts else None):
            put(tx, draft, on.now_ms)
        if offer.act is Act.HUSH:
            until_ms = parse_until(_until(on), now_ms=on.now_ms, zone=on.zone)
            for episode in open_now:
                hush_subject(
                    tx, episode.subject, episode.rule, until_ms, BY_A_LINK, zone=on.zone, now_ms=on.now_ms
                )
        return chosen.says

    def _looked_at(self, tx: Tx, on: Ground, right: Right) -> tuple[Offer, list[Episode]]:
        if used_links.is_used(tx, right.name):
            raise UsageError(USED)
        try:
            notice = notice_store.notice_named(tx, right.notice_id)
        except UsageError:
            raise UsageError(NO_LINK) from None
        if on.now_ms - notice.created_ms > GOOD_FOR_MS:
            raise UsageError(TOO_OLD)
        known = episode_store.episodes_named(tx, (e for e, _ in notice.changes))
        open_now = [e for e in known.values() if e.closed_ms is None and right.rule in ("", e.rule)]
        knowledge = Knowledge(tx, load_crops())
        if right.act is Act.DONE:
            open_now = [e for e in open_now if not done_since(knowledge, e, notice.created_ms)]
        if not open_now:
            raise UsageError(OVER)
        rules = list(dict.fromkeys(e.rule for e in open_now))
        if right.act is Act.HUSH:
            return _hush_offer(on, knowledge, rules, open_now), open_now
        # A link of before may be about several rules: it does what it did then, the first that has a deed.
        ways = next(filter(None, (_ways(on, knowledge, rule, open_now) for rule in rules)), [])
        if not ways:
            raise UsageError(NO_DEED)
        says = ways[0].says if len(ways) == 1 else f"{_listed(knowledge, open_now)}: what was done"
        return Offer(right.act, says, tuple(ways)), open_now


def footers(settings: Settings) -> Callable[[Notice], str]:
    return Links(settings).footer


def _ways(on: Ground, knowledge: Knowledge, rule: str, open_now: Sequence[Episode]) -> list[Way]:
    return ways_to_answer(on, knowledge, rule, [e for e in open_now if e.rule == rule])


def _hush_offer(on: Ground, knowledge: Knowledge, rules: Sequence[str], open_now: Sequence[Episode]) -> Offer:
    about = " and ".join(sorted(map(rule_words, rules)))
    until = untils(on.at(on.now_ms))[0].with_hour
    says = f"{_listed(knowledge, open_now)}, {about}: hushed until {until}"
    return Offer(Act.HUSH, says, (Way("hush", f"Hush until {until}", says, ()),))


def _listed(knowledge: Knowledge, episodes: Sequence[Episode]) -> str:
    return ", ".join(sorted({knowledge.name_of(e.subject) for e in episodes}))


def _until(on: Ground) -> str:
    return untils(on.at(on.now_ms))[0].words
