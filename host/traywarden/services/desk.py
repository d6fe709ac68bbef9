"""The desk: watch and deliver by one set of settings, with the threads they live on."""

import threading
from collections.abc import Callable, Iterable, Mapping

from traywarden.links.channels import Channel
from traywarden.services.asking.hearing import Hearing
from traywarden.services.asking.round import Vitals
from traywarden.services.asking.standing import Asked
from traywarden.services.clock import Clock
from traywarden.services.deliver import Deliver
from traywarden.services.one_time import footers
from traywarden.services.threads import Fail, Threads
from traywarden.services.watch import Watch
from traywarden.settings import Settings
from traywarden.store.crops import load_crops
from traywarden.store.store import Store
from traywarden.turns import Turns


class Desk:
    """`start`, then `stop`. Another with other settings takes over as a host does that starts anew: all it
    needs is in the store. `settled` waits until what came in meanwhile is stored, or the event is set. `left`
    says of a notice's id whether a channel of a desk before may still be given it.
    """

    def __init__(
        self,
        store: Store,
        settings: Settings,
        clock: Clock,
        sends: Clock,
        channels: Mapping[str, Channel],
        *,
        asked: Iterable[Asked],
        vitals: Callable[[], Vitals],
        hearing: Hearing,
        turns: Turns,
        settled: Callable[[threading.Event], None],
        fail: Fail,
        left: Callable[[str], bool] = lambda notice_id: False,
    ) -> None:
        self._settled = settled
        self._threads = Threads(fail)
        self._asking: threading.Thread | None = None
        self.watch = Watch(
            store,
            settings,
            clock,
            load_crops(),
            paced=asked,
            after_write=self.wake,
            vitals=vitals,
            turns=turns,
            hearing=hearing,
            sending=lambda notice_id: self.is_sending(notice_id) or left(notice_id),
        )
        self._deliver = Deliver(
            store, settings, sends, channels, ready=self.watch.ready, footer=footers(settings)
        )

    def start(self) -> None:
        self._threads.start("judge the trays", self._judge)
        self._asking = self._threads.start("ask the slower rules", self.watch.run_paced)
        self._deliver.start()

    def stop(self) -> None:
        """What is being asked is waited for; till then it judges and sends. What is being sent is waited for
        a little; what is not confirmed by then is sent again."""
        self._threads.ending.set()
        self.watch.end_asking()
        if self._asking is not None:
            self._asking.join()
        self.watch.end()
        self._deliver.stop()
        self._threads.join()

    def wake(self) -> None:
        """Notices may be due."""
        self._deliver.wake()

    def is_sending(self, notice_id: str) -> bool:
        """Whether a channel may have been given it already, though the store does not know."""
        return self._deliver.is_sending(notice_id)

    @property
    def hangs(self) -> bool:
        """Whether after `stop` a channel is still being given something."""
        return self._deliver.hangs

    def _judge(self) -> None:
        self._settled(self._threads.ending)
        self.watch.run(asks=False)
