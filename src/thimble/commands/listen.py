"""`thimble listen`: take laboratory results (HL7 v2 over MLLP) into a data folder."""

from __future__ import annotations

import argparse
import asyncio
import logging
import os
import signal
import sqlite3
import ssl
import sys
import uuid
from functools import partial
from pathlib import Path

from thimble.clinical.site import SiteError
from thimble.commands import Commands, NotUnderstood
from thimble.commands.serve import has_database, open_data
from thimble.exchange.hl7v2.decoding import SINGLE_BYTE
from thimble.exchange.hl7v2.framing import DEFAULT_LIMIT
from thimble.exchange.hl7v2.message import read_bytes
from thimble.exchange.inbox import Inbox
from thimble.exchange.listener import Limits, Listener
from thimble.exchange.receiving import Receiver
from thimble.exchange.recording import Recorder
from thimble.exchange.tls import TlsFault, server_context
from thimble.web import clock

MEGABYTE = 1024 * 1024
STOP_SECONDS = 30.0
"""For what was acknowledged and is being recorded when the server stops."""


def add_to(commands: Commands) -> None:
    """Add `thimble listen` to the command line."""
    parser = commands.add_parser("listen", help="take laboratory results into a data folder")
    parser.add_argument("data", type=Path, metavar="DATA", help="the data folder")
    parser.add_argument("--host", default="127.0.0.1", help="the address to listen on")
    parser.add_argument("--port", type=int, default=2575, help="the port; 0 takes any that is free")
    parser.add_argument(
        "--charset",
        choices=SINGLE_BYTE,
        metavar="SET",
        help="of messages that name none and are not UTF-8, by its HL7 name: "
        + ", ".join(SINGLE_BYTE),
    )
    parser.add_argument(
        "--largest",
        type=int,
        default=DEFAULT_LIMIT // MEGABYTE,
        metavar="MB",
        help="the largest message, in megabytes",
    )
    parser.add_argument(
        "--answer-unasked",
        action="store_true",
        help="answer senders that ask for no acknowledgement at all (MSH-15 and MSH-16 NE) with "
        "AA, AE or AR; without this they get none, as they ask",
    )
    parser.add_argument(
        "--certificate",
        type=Path,
        metavar="PEM",
        help="speak TLS with this certificate chain; the private key may stand in the same file",
    )
    parser.add_argument("--key", type=Path, metavar="PEM", help="the certificate's private key")
    parser.add_argument(
        "--senders",
        type=Path,
        metavar="PEM",
        help="take messages only from senders with a certificate that one of these authorities issued",
    )
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Listen until told to stop by SIGINT or SIGTERM."""
    folder: Path = options.data
    if not folder.is_dir():
        raise NotUnderstood(f"{folder}: there is no such data folder.")
    if options.largest < 1:
        raise NotUnderstood(f"--largest {options.largest}: name a megabyte or more.")
    tls = _tls(options)
    os.umask(0o077)
    logging.basicConfig(stream=sys.stderr, level=logging.WARNING, format="%(asctime)s %(message)s")
    try:
        with Inbox(folder) as inbox:
            asyncio.run(_listen(inbox, options, tls))
    except sqlite3.Error as error:
        raise NotUnderstood(f"{folder}: the inbox cannot be opened: {error}.") from error
    return 0


def _tls(options: argparse.Namespace) -> ssl.SSLContext | None:
    """What the options say of TLS; None without a certificate."""
    if options.certificate is None:
        if options.key or options.senders:
            raise NotUnderstood(
                "--key and --senders need --certificate: without one nothing is TLS."
            )
        return None
    try:
        return server_context(options.certificate, options.key, options.senders)
    except TlsFault as fault:
        raise NotUnderstood(str(fault)) from fault


async def _listen(inbox: Inbox, options: argparse.Namespace, tls: ssl.SSLContext | None) -> None:
    recorder = _recorder(inbox, options.data, options.charset)
    receiver = Receiver(
        inbox,
        control_id=_control_id,
        single_byte=options.charset,
        answer_unasked=options.answer_unasked,
        processor=recorder,
    )
    listener = Listener(
        receiver,
        clock=lambda: clock.now().astimezone(),
        control_id=_control_id,
        limits=Limits(message_bytes=options.largest * MEGABYTE),
        tls=tls,
    )
    stopped = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stopped.set)
    if recorder:
        # Django keeps its database out of the event loop.
        await asyncio.to_thread(recorder.catch_up)
        recorder.start()
    try:
        await listener.start(options.host, options.port)
    except (OSError, OverflowError) as error:
        raise NotUnderstood(
            f"{options.host}:{options.port} cannot be listened on: {error}. "
            "Name another address with --host and --port."
        ) from error
    print(
        f"Thimble takes laboratory results for {options.data} at "
        f"{options.host}:{listener.port} (MLLP{' over TLS' if tls else ''})",
        flush=True,
    )
    await stopped.wait()
    await listener.stop()
    if recorder and not await asyncio.to_thread(recorder.stop, STOP_SECONDS):
        print("What is not recorded yet is taken up at the next start.", flush=True)
    print("Stopped; everything acknowledged is stored.", flush=True)


def _recorder(inbox: Inbox, folder: Path, charset: str | None) -> Recorder | None:
    """What places results in cases and files; None where the folder holds no hospital yet."""
    if not (folder / "site.toml").is_file() or not has_database(folder):
        print(f"{folder} holds no cases yet: messages are stored and wait.", flush=True)
        return None
    open_data(folder, existing=True)
    from thimble.web.context import (
        check_laboratory,
        get_identities,
        get_protocol,
        get_site,
        get_store,
    )
    from thimble.web.laboratory.processing import LedgerProcessor
    from thimble.web.laboratory.register import get_register

    try:
        check_laboratory()
    except SiteError as error:
        raise NotUnderstood(str(error)) from error
    processor = LedgerProcessor(
        inbox, get_store(), get_identities(), get_protocol(), get_site(), clock.now, get_register()
    )
    return Recorder(inbox, processor, read=partial(read_bytes, single_byte=charset))


def _control_id() -> str:
    """Nineteen characters that no other answer has; a control id may have twenty."""
    return uuid.uuid4().hex[:19]
