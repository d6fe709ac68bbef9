"""`notices`: what was told, what waits and why; the chain behind one; test a channel; retry a parked one."""

from collections.abc import Callable
from datetime import datetime

import typer

from traywarden.cli import context, hushes
from traywarden.cli.context import JSON_OPTION, Bench, bench, console, emit
from traywarden.cli.tables import print_table, say
from traywarden.domain.clock_words import clock
from traywarden.domain.notice_words import rule_words
from traywarden.domain.notices import NoticeState, severity_words
from traywarden.errors import ChannelError, UnknownNameError, UsageError
from traywarden.links.channels import Channel, made_channels
from traywarden.services.channel_test import ChannelTest, send_test
from traywarden.services.questions.notices import (
    ChainAnswer,
    Link,
    NoticeLine,
    NoticesAnswer,
    ask_chain,
    ask_notices,
)
from traywarden.services.ways_out import ways_out
from traywarden.store import notices as notice_store

notices_app = typer.Typer(
    invoke_without_command=True,
    help="Notices: what was told, what waits and why. Without a command it does what `list` does.",
)
ALL = typer.Option(False, "--all", help="Also those that were sent.")
LIMIT = typer.Option(30, "--limit", "-n", min=1, help="The newest so many.")
NOTICE = typer.Argument(..., help="The notice's id, or enough of its beginning.")
_STYLES = {"parked": "bold red", "waiting": "yellow", "held": "dim", "sent": "green", "spared": "dim"}
_CHANGES = {
    "opened": "Told here: its beginning",
    "closed": "Told here: its end",
    "past": "Told here: that it is past",
    "reminded": "Told here: a reminder",
}
hushes.register(notices_app)


def register(app: typer.Typer) -> None:
    app.add_typer(notices_app, name="notices", rich_help_panel="Questions")


@notices_app.callback()
def notices(
    asked: typer.Context,
    everything: bool = ALL,
    limit: int = LIMIT,
    as_json: bool = JSON_OPTION,
) -> None:
    """Notices: what was told, what waits and why. Without a command it does what `list` does.

    Example: `traywarden notices --all`
    """
    if asked.invoked_subcommand is None:
        notices_list(everything=everything, limit=limit, as_json=as_json)


@notices_app.command("list")
def notices_list(everything: bool = ALL, limit: int = LIMIT, as_json: bool = JSON_OPTION) -> None:
    """List notices that wait, are held or parked (with --all also the sent ones), newest first.

    Example: `traywarden notices list --all --limit 10`
    """
    with bench() as b, b.store.read() as tx:
        answer = ask_notices(tx, limit, with_sent=everything)
        emit(answer, lambda found: _print_list(b, found), as_json=as_json)


def _print_list(b: Bench, answer: NoticesAnswer) -> None:
    if not answer.notices:
        sent = answer.counts.get(NoticeState.SENT.value, 0)
        say(f"Nothing waits. {sent} sent so far; see them with --all." if sent else "No notices yet.")
        _say_who_is_reached(b)
        return
    channels = {n.channel for n in answer.notices}
    print_table(
        ("when", "says", "what became of it", "over", "notice"),
        [
            (
                _when(b, n.created_ms),
                n.title,
                _state(b, n),
                n.channel if len(channels) > 1 else "",
                n.notice_id,
            )
            for n in answer.notices
        ],
    )
    if len(channels) == 1:
        say(f"All of them over {channels.pop()}.")
    if answer.left_out:
        all_of_them = len(answer.notices) + answer.left_out
        say(f"The newest {len(answer.notices)} of {all_of_them}; all of them with --limit {all_of_them}.")
    _say_who_is_reached(b)
    if any(n.state == NoticeState.PARKED.value for n in answer.notices):
        say("Parked notices wait for you: put right what the reason says, then: traywarden notices retry ID")


def _say_who_is_reached(b: Bench) -> None:
    if not b.settings.channels and not b.settings["notices.mqtt"]:
        say("Notices reach nobody's phone yet: choose where they go on the page Settings, “Notices”.")


@notices_app.command("show")
def notices_show(notice: str = NOTICE, as_json: bool = JSON_OPTION) -> None:
    """Show one notice and everything behind it: readings, verdict, episode, attempts.

    Example: `traywarden notices show 3fa9c1`
    """
    with bench() as b, b.store.read() as tx:
        answer = ask_chain(tx, b.settings, notice)
        emit(answer, lambda found: _print_chain(b, found), as_json=as_json)


def _print_chain(b: Bench, answer: ChainAnswer) -> None:
    notice = answer.notice
    console.print(notice.title, style="bold", markup=False)
    say(notice.body)
    for link in answer.links:
        _print_link(b, link)
    say("")
    how = f"How it was told: {_state(b, notice)}"
    console.print(how, style=_STYLES[notice.state], markup=False, soft_wrap=True)
    say(f"  over {notice.channel}, {severity_words(notice.severity)}; written {_when(b, notice.created_ms)}")
    if notice.sent_ms is not None:
        say(f"  taken {_when(b, notice.sent_ms)}, at the {_nth(notice.attempts)} attempt")
    else:
        say(f"  attempts: {notice.attempts}")
    say(f"  notice {notice.notice_id}")


def _nth(number: int) -> str:
    ending = "th" if number % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{ending}"


def _print_link(b: Bench, link: Link) -> None:
    episode = link.episode
    until = "still so" if episode.closed_ms is None else f"until {_when(b, episode.closed_ms)}"
    decided = "" if link.decided_ms is None else f", decided {_when(b, link.decided_ms)}"
    console.print(f"\nWhy: {episode.subject}", style="bold", markup=False)
    say(f"  {link.question or rule_words(episode.rule).capitalize()}")
    say(f"  Yes: {episode.why}." if episode.why else "  Yes.")
    say(f"  Since {_when(b, episode.opened_ms)}{decided}; {until}. ({_CHANGES[episode.change]}.)")
    say(f"  episode {episode.episode_id}")
    if not link.readings:
        return
    say("  What its heads measured then:")
    print_table(
        ("measured", "moisture", "soil", "head"),
        [
            (
                _when(b, row.at_ms),
                "" if row.moisture_m3_m3 is None else f"{row.moisture_m3_m3:.3f} m³/m³",
                "" if row.soil_temp_c is None else b.display.temp(row.soil_temp_c),
                row.head,
            )
            for row in link.readings
        ],
    )


@notices_app.command("test")
def notices_test(
    channel: str = typer.Argument("", help="The channel's name in settings.toml, or “console”."),
    everything: bool = typer.Option(False, "--all", help="Over every channel."),
    as_json: bool = JSON_OPTION,
) -> None:
    """Send a test message now, and say whether it was taken. Ends with exit code 8 when one was not.

    Example: `traywarden notices test mail`
    """
    known = _ways_out(lambda text: typer.echo(text, err=as_json))
    if not everything and not channel:
        raise UsageError(
            "Name the channel to test, or give --all; channels: " + ", ".join(sorted(known)) + "."
        )
    if not everything and channel not in known:
        raise UnknownNameError("channel", channel, known)
    results = [send_test(known[name], context.now_ms()) for name in (known if everything else [channel])]
    emit(results, _print_tested, as_json=as_json)
    if not all(result.delivered for result in results):
        raise typer.Exit(ChannelError.exit_code)


def _ways_out(say: Callable[[str], None]) -> dict[str, Channel]:
    """A channel can be tried before there is a garden; the broker's topic alone needs one for its name."""
    settings = context.settings()
    if not settings["notices.mqtt"]:
        return made_channels(settings, say)
    with bench() as b:
        return ways_out(settings, say, b.garden.slug)


def _print_tested(results: list[ChannelTest]) -> None:
    for result in results:
        mark, style = ("✓", "green") if result.delivered else ("✗", "bold red")
        console.print(f"{mark} {result.channel}", style=style, end="", markup=False)
        say(" took it" if result.delivered else f" did not take it: {result.reason}")


@notices_app.command("retry")
def notices_retry(notice: str = NOTICE, as_json: bool = JSON_OPTION) -> None:
    """Try a parked notice again, with its attempts counted afresh; the running host sends it at once.

    Example: `traywarden notices retry 3fa9c1`
    """
    with bench() as b:
        with b.store.write() as tx:
            found = notice_store.notice_named(tx, notice)
            if found.state is not NoticeState.PARKED:
                raise UsageError(
                    f"Notice {found.notice_id} is {found.state.value}; only a parked one needs it."
                )
            notice_store.release(tx, found.notice_id, b.now_ms)
        emit(
            {"notice_id": found.notice_id, "state": NoticeState.WAITING.value},
            lambda _: say(f"Notice {found.notice_id} is due now: {found.title}"),
            as_json=as_json,
        )


def _when(b: Bench, at_ms: int) -> str:
    at, now = (datetime.fromtimestamp(ms / 1000, b.zone) for ms in (at_ms, b.now_ms))
    return clock(at, now)


def _state(b: Bench, notice: NoticeLine) -> str:
    """What became of it, and why."""
    if notice.next_try_ms is None:
        return notice.became
    return notice.became.replace("will be again", f"will be again {_when(b, notice.next_try_ms)}", 1)
