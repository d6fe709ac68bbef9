"""The host itself: disk, broker, store, notices given up."""

from traywarden.domain.host_rules import broker_verdict, disk_verdict, parked_verdict, slow_verdict
from traywarden.domain.notices import NoticeState
from traywarden.domain.subjects import HOST
from traywarden.services.asking.round import Round, Verdicts
from traywarden.store import notices as notice_store


def disk(round_: Round) -> Verdicts:
    least = round_.ground.settings["disk.least_free_mb"]
    return {HOST: disk_verdict(round_.vitals.free_mb, least_free_mb=least)}


def broker(round_: Round) -> Verdicts:
    return {HOST: broker_verdict(round_.vitals.broker_gone_s, where=round_.vitals.broker)}


def slow(round_: Round) -> Verdicts:
    return {HOST: slow_verdict(round_.vitals.commit_s, slow_s=round_.ground.settings["slow.commit_s"])}


def parked(round_: Round) -> Verdicts:
    found = notice_store.in_states(round_.ground.tx, NoticeState.PARKED)
    first = f"“{found[0].title}”, on {found[0].channel}: {found[0].trouble}" if found else ""
    return {HOST: parked_verdict(len(found), first)}
