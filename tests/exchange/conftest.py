"""An inbox of messages on disk."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from thimble.exchange.inbox import Inbox


@pytest.fixture
def inbox(tmp_path: Path) -> Iterator[Inbox]:
    with Inbox(tmp_path) as opened:
        yield opened
