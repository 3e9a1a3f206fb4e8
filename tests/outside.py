"""What stands for the outside in tests: an outbox in memory, a receiver of events."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from server.errors import NotFound
from server.quoting.desk.delivery import LEASE, Delivery, DeliveryCounts, DeliveryState
from server.quoting.desk.outbox import OutboxMessage
from server.quoting.desk.sharing import ShareLink
from server.quoting.inquiries import ReceivedInquiry

NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)
SECRET = "a secret of thirty-two characters"  # noqa: S105 (of the test)


def a_message(subject: str = "2026-0001", kind: str = "quote.accepted") -> OutboxMessage:
    """Return an event."""
    return OutboxMessage(kind, subject, NOON, f'{{"event":"{kind}","number":"{subject}","ü":1}}')


@dataclass
class MemoryOutbox:
    """Satisfies ``quoting.desk.delivery.Outbox``."""

    kept: list[Delivery] = field(default_factory=list)
    bells: list[Callable[[], None]] = field(default_factory=list)

    def put(self, messages: Sequence[OutboxMessage]) -> None:
        """Keep events."""
        for message in messages:
            key = f"{len(self.kept):032x}"
            self.kept.append(Delivery(key, message, DeliveryState.WAITING, 0, message.at))
        for ring in self.bells:
            ring()

    def claim(self, now: datetime) -> Delivery | None:
        """Take the oldest event that is due."""
        blocked: set[str] = set()
        for at, each in enumerate(self.kept):
            if each.state is not DeliveryState.WAITING or each.message.subject in blocked:
                continue
            blocked.add(each.message.subject)
            if each.due_at <= now:
                self.kept[at] = replace(
                    each,
                    attempts=each.attempts + 1,
                    due_at=now + LEASE,
                    first_tried_at=each.first_tried_at or now,
                )
                return self.kept[at]
        return None

    def delivered(self, key: str, now: datetime) -> None:
        """Mark as delivered."""
        self._change(key, state=DeliveryState.DELIVERED, done_at=now, last_error="")

    def failed(self, key: str, error: str, again_at: datetime | None) -> None:
        """Note a failure."""
        if again_at is None:
            self._change(key, state=DeliveryState.STUCK, last_error=error)
        else:
            self._change(key, due_at=again_at, last_error=error)

    def next_due(self) -> datetime | None:
        """Return when the next is due."""
        waiting = (each.due_at for each in self.kept if each.state is DeliveryState.WAITING)
        return min(waiting, default=None)

    def retry(self, key: str, now: datetime) -> None:
        """Let a stuck event wait again."""
        if next((e for e in self.kept if e.key == key and e.state is DeliveryState.STUCK), None):
            self._change(key, state=DeliveryState.WAITING, due_at=now, first_tried_at=None)
            for ring in self.bells:
                ring()
        else:
            raise NotFound("This event is not stuck.")

    def recent(self, count: int) -> tuple[Delivery, ...]:
        """Return stuck ones first, then the newest."""
        newest = self.kept[::-1]
        newest.sort(key=lambda each: each.state is not DeliveryState.STUCK)
        return tuple(newest[:count])

    def counts(self) -> DeliveryCounts:
        """Return how many stand where."""
        states = [each.state for each in self.kept]
        return DeliveryCounts(**{str(state): states.count(state) for state in DeliveryState})

    def on_news(self, ring: Callable[[], None]) -> None:
        """Have a bell rung."""
        self.bells.append(ring)

    def _change(self, key: str, **fields: object) -> None:
        at = next((at for at, each in enumerate(self.kept) if each.key == key), None)
        if at is None:
            raise NotFound("There is no such event.")
        self.kept[at] = replace(self.kept[at], **fields)  # type: ignore[arg-type]


@dataclass
class MemoryInquiryBox:
    """Satisfies ``quoting.inquiries.InquiryBox``."""

    kept: dict[str, ReceivedInquiry] = field(default_factory=dict)

    def add(self, inquiry: ReceivedInquiry) -> None:
        """Keep an inquiry."""
        self.kept[inquiry.token] = inquiry

    def get(self, token: str) -> ReceivedInquiry:
        """Return an inquiry or raise ``NotFound``."""
        if token not in self.kept:
            raise NotFound("There is no such inquiry.")
        return self.kept[token]

    def open(self, token: str, who: str, now: datetime) -> ReceivedInquiry:
        """Note that somebody looks after it."""
        self.kept[token] = self.get(token).opened(who, now)
        return self.kept[token]

    def note_advice(self, token: str, advice_token: str) -> None:
        """Note the advice made on it."""
        self.kept[token] = self.get(token).advised(advice_token)

    def note_quote(self, advice_token: str, number: str) -> None:
        """Note the quote made on its advice."""
        if (found := self.of_advice(advice_token)) is not None:
            self.kept[found.token] = found.quoted(number)

    def of_advice(self, advice_token: str) -> ReceivedInquiry | None:
        """Return the inquiry of an advice."""
        found = (each for each in self.kept.values() if each.advice_token == advice_token)
        return next(found, None) if advice_token else None

    def recent(self, count: int) -> tuple[ReceivedInquiry, ...]:
        """Return the newest."""
        newest = sorted(self.kept.values(), key=lambda each: each.received_at, reverse=True)
        return tuple(newest[:count])


@dataclass
class MemoryShareLinks:
    """Satisfies ``quoting.desk.sharing.ShareLinks``."""

    kept: dict[str, ShareLink] = field(default_factory=dict)

    def add(self, link: ShareLink) -> None:
        """Keep a link."""
        self.kept[link.digest] = link

    def by_digest(self, digest: str) -> ShareLink | None:
        """Return the link of a fingerprint."""
        return self.kept.get(digest)

    def of_quote(self, number: str) -> tuple[ShareLink, ...]:
        """Return the links of a quote, newest first."""
        own = [link for link in self.kept.values() if link.number == number]
        return tuple(sorted(own, key=lambda link: link.made_at, reverse=True))

    def revoke(self, digest: str, now: datetime) -> None:
        """End a link."""
        if digest not in self.kept:
            raise NotFound("There is no such link.")
        link = self.kept[digest]
        self.kept[digest] = replace(link, revoked_at=link.revoked_at or now)


@dataclass
class Receiver:
    """The next system, on a port of this machine: a real server with headers, bodies, statuses."""

    address: str = ""
    answers: list[int] = field(default_factory=list)
    """Statuses to answer with, in turn; then 204."""
    location: str = ""
    taken: list[tuple[str, dict[str, str], bytes]] = field(default_factory=list)
    """Path, headers and body of what was sent to it."""
    came: threading.Semaphore = field(default_factory=lambda: threading.Semaphore(0))


@contextmanager
def receiving() -> Iterator[Receiver]:
    """Serve a receiver until the test is done with it."""
    receiver = Receiver()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            receiver.taken.append((self.path, dict(self.headers), body))
            self.send_response(receiver.answers.pop(0) if receiver.answers else 204)
            if receiver.location:
                self.send_header("Location", receiver.location)
            self.send_header("Content-Length", "0")
            self.end_headers()
            receiver.came.release()

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    receiver.address = f"http://127.0.0.1:{server.server_address[1]}/in?from=desk"
    try:
        yield receiver
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
