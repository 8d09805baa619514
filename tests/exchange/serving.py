"""A listener on a real socket in a thread of its own, and a client that speaks to it."""

from __future__ import annotations

import asyncio
import itertools
import socket
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from types import TracebackType
from typing import Self

from thimble.exchange.hl7v2.framing import Frame, Frames, framed
from thimble.exchange.listener import Limits, Listener
from thimble.exchange.receiving import Outcome, Sink

PATIENCE = 30.0
"""Seconds after which something that should have happened will not."""

_numbers = itertools.count(1)


def control_id() -> str:
    return f"T{next(_numbers)}"


def clock() -> datetime:
    return datetime(2026, 3, 2, 3, 0, tzinfo=UTC)


class Served:
    """A running listener."""

    def __init__(self, listener: Listener, loop: asyncio.AbstractEventLoop) -> None:
        self._listener, self._loop = listener, loop
        self.port = listener.port

    def stop(self) -> None:
        asyncio.run_coroutine_threadsafe(self._listener.stop(), self._loop).result(PATIENCE)


@contextmanager
def serving(
    sink: Sink, limits: Limits | None = None, tls: ssl.SSLContext | None = None
) -> Iterator[Served]:
    listener = Listener(sink, clock=clock, control_id=control_id, limits=limits, tls=tls)
    loop = asyncio.new_event_loop()
    thread = threading.Thread(target=loop.run_forever)
    thread.start()
    try:
        asyncio.run_coroutine_threadsafe(listener.start("127.0.0.1", 0), loop).result(PATIENCE)
        served = Served(listener, loop)
        yield served
        served.stop()
    finally:
        loop.call_soon_threadsafe(loop.stop)
        thread.join(PATIENCE)
        loop.close()


class Client:
    """A sender. `answer` waits for one frame; None where the connection was closed instead."""

    def __init__(self, port: int, tls: ssl.SSLContext | None = None) -> None:
        self._socket = socket.create_connection(("127.0.0.1", port), timeout=PATIENCE)
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        if tls is not None:
            self._socket = tls.wrap_socket(self._socket, server_hostname="localhost")
        self._frames = Frames()
        self._found: list[bytes] = []

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self._socket.close()

    def raw(self, data: bytes) -> None:
        self._socket.sendall(data)

    def send(self, content: bytes) -> bytes | None:
        self.raw(framed(content))
        return self.answer()

    def half_close(self) -> None:
        self._socket.shutdown(socket.SHUT_WR)

    def answer(self) -> bytes | None:
        while not self._found:
            try:
                data = self._socket.recv(65536)
            except (ConnectionError, ssl.SSLError):
                return None
            if not data:
                return None
            self._found += [
                each.content for each in self._frames.feed(data) if isinstance(each, Frame)
            ]
        return self._found.pop(0)


class Remembering:
    """A sink that keeps what it is given in memory."""

    def __init__(self, answer: bytes = b"MSH|^~\\&|\rMSA|AA|\r") -> None:
        self.taken: list[bytes] = []
        self._answer = answer

    def take(self, raw: bytes, received_at: datetime, peer: str) -> Outcome:  # noqa: ARG002
        self.taken.append(raw)
        return Outcome((self._answer,))
