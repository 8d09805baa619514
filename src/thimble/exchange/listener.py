"""A server that takes frames over TCP and answers each after its sink has stored it.

A sender may be slow, break off, send nonsense or flood: its own connection is closed, the others go
on. Idle connections stay open, as senders expect, and are watched by TCP keep-alive.

The protocol has no security of its own: speak it inside TLS, or listen on the machine itself or on an
isolated network (docs/exchange.md).
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import socket
import ssl
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final

from thimble.exchange.hl7v2.answering import Refusal, Verdict, answers, header_of
from thimble.exchange.hl7v2.framing import (
    DEFAULT_LIMIT,
    Fault,
    Frame,
    Frames,
    Trouble,
    framed,
)
from thimble.exchange.receiving import Sink

CHUNK: Final = 64 * 1024
STORING_THREADS: Final = 8
"""Frames of different senders that are stored together."""

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Limits:
    """What one sender, and all together, may use.

    Attributes:
        message_bytes: of one message.
        connections: at once. Above it the longest idle one makes room; if none is idle, the new one
            is closed.
        bytes_in_flight: of messages that are being received or stored, all connections together.
        junk_bytes: outside frames, on one connection.
        read_seconds: of silence inside a frame.
        frame_seconds: for one whole frame, however it drips.
        last_byte_seconds: to wait for a carriage return that is forgotten.
        write_seconds: for a sender to take its answer.
        stop_seconds: for what is being stored when the server stops.
    """

    message_bytes: int = DEFAULT_LIMIT
    connections: int = 64
    bytes_in_flight: int = 128 * 1024 * 1024
    junk_bytes: int = 64 * 1024
    read_seconds: float = 30.0
    frame_seconds: float = 300.0
    last_byte_seconds: float = 1.0
    write_seconds: float = 30.0
    stop_seconds: float = 10.0


@dataclass(eq=False)
class _Connection:
    """One sender's connection; `idle_since` is None while a frame is received, stored or answered."""

    number: int
    peer: str
    writer: asyncio.StreamWriter
    frames: Frames
    idle_since: float | None
    begun: float = 0.0
    counted: int = field(default=0)


class _Close(Exception):
    """This connection is to be closed; the message is for the log."""


class Listener:
    """Listens from `start` to `stop`.

    Args:
        sink: stores; called from several threads, one frame of a connection at a time.
        clock: the time, aware; stands in answers and beside what is stored.
        control_id: gives a new control id for the answers that the sink cannot give.
        tls: speaks TLS with this context (`exchange.tls`); None: in clear.
    """

    def __init__(
        self,
        sink: Sink,
        *,
        clock: Callable[[], datetime],
        control_id: Callable[[], str],
        limits: Limits | None = None,
        tls: ssl.SSLContext | None = None,
    ) -> None:
        self._tls = tls
        self._sink, self._clock, self._control_id = sink, clock, control_id
        self._limits = limits or Limits()
        self._connections: dict[_Connection, asyncio.Task[None]] = {}
        self._storing = ThreadPoolExecutor(STORING_THREADS, thread_name_prefix="inbox")
        self._server: asyncio.Server | None = None
        self._stopping = False
        self._in_flight = 0
        self._opened = 0

    @property
    def port(self) -> int:
        """The port that is listened on; 0 before the start."""
        sockets = self._server.sockets if self._server else ()
        return int(sockets[0].getsockname()[1]) if sockets else 0

    async def start(self, host: str, port: int) -> None:
        """Begin to listen; port 0 takes any that is free.

        Raises:
            OSError: the address cannot be listened on.
        """
        # Who never finishes a handshake holds a connection no longer than a silent sender.
        handshake = self._limits.read_seconds if self._tls else None
        self._server = await asyncio.start_server(
            self._connected,
            host,
            port,
            limit=CHUNK,
            ssl=self._tls,
            ssl_handshake_timeout=handshake,
            ssl_shutdown_timeout=self._limits.last_byte_seconds if self._tls else None,
        )

    async def stop(self) -> None:
        """Take no more; finish and answer what is being stored; close."""
        self._stopping = True
        if self._server:
            self._server.close()
        for connection in list(self._connections):
            if connection.idle_since is not None or connection.frames.inside:
                connection.writer.close()
        tasks = list(self._connections.values())
        if tasks:
            _, late = await asyncio.wait(tasks, timeout=self._limits.stop_seconds)
            for task in late:
                task.cancel()
            await asyncio.gather(*late, return_exceptions=True)
        await asyncio.get_running_loop().run_in_executor(None, self._storing.shutdown)

    # -- one connection ---------------------------------------------------------------------------

    async def _connected(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        name = writer.get_extra_info("peername")
        self._opened += 1
        connection = _Connection(
            self._opened,
            str(name[0]) if name else "",
            writer,
            Frames(self._limits.message_bytes),
            idle_since=self._now(),
        )
        task = asyncio.current_task()
        assert task is not None  # noqa: S101 - asyncio runs this in a task
        try:
            if self._stopping or not self._has_room():
                log.warning("connection %d refused: there are too many", connection.number)
                return
            self._connections[connection] = task
            _keep_alive(writer)
            await self._serve(reader, connection)
        except _Close as reason:
            log.warning("connection %d closed: %s", connection.number, reason)
        except (ConnectionError, TimeoutError) as error:
            log.info("connection %d broke off: %s", connection.number, type(error).__name__)
        except Exception as error:  # one bad connection never hurts another
            log.error("connection %d failed: %s", connection.number, type(error).__name__)
        finally:
            self._count(connection, 0)
            self._connections.pop(connection, None)
            await self._hang_up(writer)

    async def _hang_up(self, writer: asyncio.StreamWriter) -> None:
        """Close, after a moment for the last answer to leave: one that nobody takes stays for ever."""
        writer.close()
        try:
            await asyncio.wait_for(writer.wait_closed(), self._limits.last_byte_seconds)
        except (OSError, TimeoutError):
            writer.transport.abort()

    def _has_room(self) -> bool:
        """Whether one more connection may be served; the longest idle one makes room for it."""
        if len(self._connections) < self._limits.connections:
            return True
        idle = [each for each in self._connections if each.idle_since is not None]
        if not idle:
            return False
        longest = min(idle, key=lambda each: each.idle_since or 0.0)
        del self._connections[longest]
        longest.writer.close()
        log.warning("connection %d, the longest idle, made room for another", longest.number)
        return True

    async def _serve(self, reader: asyncio.StreamReader, connection: _Connection) -> None:
        frames = connection.frames
        while not self._stopping:
            try:
                data = await asyncio.wait_for(reader.read(CHUNK), self._patience(connection))
            except TimeoutError:
                forgotten = frames.awaits_last_byte
                await self._handle(frames.finish(), connection)
                if not forgotten:
                    raise _Close("it was silent inside a message") from None
                data = None
            if data == b"":
                await self._handle(frames.finish(), connection)
                return
            if data:
                connection.idle_since = None
                found = frames.feed(data)
                complete = sum(len(each.content) for each in found if isinstance(each, Frame))
                self._count(connection, frames.held + complete)
                await self._handle(found, connection)
            self._watch(connection, frames)

    def _patience(self, connection: _Connection) -> float | None:
        """Seconds to wait for the next bytes; None between frames."""
        if connection.frames.awaits_last_byte:
            return self._limits.last_byte_seconds
        if not connection.frames.inside:
            return None
        left = connection.begun + self._limits.frame_seconds - self._now()
        return max(0.001, min(self._limits.read_seconds, left))

    def _watch(self, connection: _Connection, frames: Frames) -> None:
        """Note where the connection stands after what came."""
        if frames.junk > self._limits.junk_bytes:
            raise _Close("it sends what is no message")
        self._count(connection, frames.held)
        if not frames.inside:
            connection.begun = 0.0
            connection.idle_since = self._now()
        elif not connection.begun:
            connection.begun = self._now()
        elif self._now() - connection.begun > self._limits.frame_seconds:
            raise _Close("one message took too long")

    def _count(self, connection: _Connection, held: int) -> None:
        """Keep count of the bytes in memory."""
        self._in_flight += held - connection.counted
        connection.counted = held
        if held and self._in_flight > self._limits.bytes_in_flight:
            raise _Close("all messages on the way together are too large")

    async def _handle(self, found: list[Frame | Fault], connection: _Connection) -> None:
        for each in found:
            connection.begun = 0.0
            if isinstance(each, Frame):
                await self._take(each, connection)
            else:
                log.warning(
                    "connection %d: %s, %d bytes", connection.number, each.trouble, each.count
                )
                if each.trouble is Trouble.TOO_LONG:
                    await self._refuse(each.head, 104, self._too_long(), connection)
                    raise _Close("a message was too long")

    def _too_long(self) -> str:
        return f"A message may have {self._limits.message_bytes} bytes."

    async def _take(self, frame: Frame, connection: _Connection) -> None:
        loop = asyncio.get_running_loop()
        work = loop.run_in_executor(
            self._storing, self._sink.take, frame.content, self._clock(), connection.peer
        )
        try:
            outcome = await work
        except Exception as error:  # a full disk, above all: nothing is acknowledged
            # Not the text of the error: it may hold what the message says of a person.
            log.error("a message was not stored: %s", type(error).__name__)
            await self._refuse(
                frame.content, 207, "The message could not be stored; send it again.", connection
            )
            return
        await self._send(outcome.answers, connection)

    async def _refuse(self, raw: bytes, error: int, reason: str, connection: _Connection) -> None:
        header = header_of(raw)
        if header is None:
            raise _Close("a message without a header was not stored")
        refusal = Refusal(Verdict.REJECTED, error, reason)
        told = answers(header, refusal, at=self._clock(), control_id=self._control_id())
        await self._send(told, connection)

    async def _send(self, answers: tuple[bytes, ...], connection: _Connection) -> None:
        for answer in answers:
            connection.writer.write(framed(answer))
        await asyncio.wait_for(connection.writer.drain(), self._limits.write_seconds)

    def _now(self) -> float:
        """Seconds that only go forward; for limits of time alone."""
        return asyncio.get_running_loop().time()


def _keep_alive(writer: asyncio.StreamWriter) -> None:
    """Let the system notice a sender that is gone. The three times exist on Linux alone."""
    connected = writer.get_extra_info("socket")
    if connected is None:
        return
    with contextlib.suppress(OSError):
        connected.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        for name, value in (("TCP_KEEPIDLE", 60), ("TCP_KEEPINTVL", 20), ("TCP_KEEPCNT", 6)):
            option = getattr(socket, name, None)
            if option is not None:
                connected.setsockopt(socket.IPPROTO_TCP, option, value)
