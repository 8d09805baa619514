"""`thimble serve`: clients that begin a request and fall silent do not stop it for the others."""

from __future__ import annotations

import os
import socket
import subprocess
import time
import urllib.request
from collections.abc import Iterator
from contextlib import ExitStack, closing
from pathlib import Path

import pytest

from commands.data_folders import COMMAND, environment
from thimble.demo.hospital import SITE

THREADS = 8
HALF_A_HEAD = b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Never-Ends: "
HALF_A_BODY = (
    b"POST /now/bite HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 4000\r\n"
    b"Content-Type: application/x-www-form-urlencoded\r\n\r\nwhen="
)


@pytest.fixture
def port(tmp_path: Path) -> Iterator[int]:
    """A site that is being served, on a port of its own."""
    site = SITE.format(base_url="http://127.0.0.1")
    (tmp_path / "site.toml").write_text(site, encoding="utf-8")
    with closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        number: int = free.getsockname()[1]
    options = ["--data", str(tmp_path), "--port", str(number), "--threads", str(THREADS)]
    with (tmp_path / "server.log").open("wb") as log:
        server = subprocess.Popen(
            [*COMMAND, "serve", *options], env=environment(), stdout=log, stderr=log
        )
    try:
        for _ in range(300):
            assert server.poll() is None, (tmp_path / "server.log").read_text()
            try:
                _alive(number, 1)
                break
            except OSError:
                time.sleep(0.2)
        yield number
    finally:
        server.terminate()
        server.wait(timeout=30)


def _alive(port: int, seconds: float) -> bytes:
    with urllib.request.urlopen(f"http://127.0.0.1:{port}/alive", timeout=seconds) as answer:
        told: bytes = answer.read()
        return told


@pytest.mark.skipif(os.uname().sysname != "Linux", reason="inheriting the limit is Linux's way")
@pytest.mark.parametrize("half", [HALF_A_HEAD, HALF_A_BODY], ids=["half a head", "half a body"])
def test_half_sent_requests_do_not_keep_the_others_out(port: int, half: bytes) -> None:
    with ExitStack() as stalled:
        for _ in range(THREADS + 4):
            client = stalled.enter_context(socket.create_connection(("127.0.0.1", port)))
            client.sendall(half)
        time.sleep(1)  # until each of them holds a thread, if it can
        assert _alive(port, 15) == b"yes"
