"""Nothing here depends on the clock or on chance.

Property tests have no deadline: the machine may be busy. Random numbers repeat: a test that fails once in a
thousand runs fails in every run. Secret addresses, case numbers and keys are drawn from the operating
system. A test that looks for "hiv" in a page with a secret of 43 letters fails by chance about once in 800
runs; with a stream of numbers named by the test it fails at once, or never. Uniqueness holds as before: the
stream does not repeat in a test.
"""

import os
import random
from collections.abc import Callable, Iterator
from hashlib import sha256
from itertools import count

import pytest
from hypothesis import settings

settings.register_profile("no_deadline", deadline=None)
settings.load_profile("no_deadline")

_system = os.urandom


def _stream(name: str) -> Callable[[int], bytes]:
    """Returns a stand-in for `os.urandom`: bytes that follow from the name and how often it was asked."""
    process, turn = os.getpid(), count()

    def draw(size: int) -> bytes:
        if os.getpid() != process:  # a forked writer must not repeat what its twin draws
            return _system(size)
        start = f"{name}/{next(turn)}/"
        return b"".join(
            sha256(f"{start}{block}".encode()).digest() for block in range(-(-size // 32))
        )[:size]

    return draw


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Iterator[None]:
    stream = _stream(item.nodeid)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "urandom", stream)
        patch.setattr(random, "_urandom", stream)
        return (yield)
