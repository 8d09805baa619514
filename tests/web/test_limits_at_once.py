"""Requests sent at one moment are all counted. On SQLite, and on PostgreSQL by its own suite."""

from __future__ import annotations

import threading

import pytest
from django.db import connection
from django.test import RequestFactory

from thimble.web.limits import over_limit

pytestmark = pytest.mark.django_db
MANY, MOST = 12, 5


@pytest.mark.usefixtures("append_only_db", "_fresh_limits")
def test_of_many_at_once_no_more_get_through_than_one_after_the_other() -> None:
    """A code typed a hundred times at once is tried no oftener than one after the other."""
    request = RequestFactory().get("/")
    start = threading.Barrier(MANY, timeout=30)
    let_through: list[bool] = []
    broken: list[BaseException] = []

    def ask() -> None:
        try:
            start.wait()
            let_through.append(not over_limit(request, event="tried", most=MOST, seconds=600))
        except BaseException as error:
            broken.append(error)
        finally:
            connection.close()

    threads = [threading.Thread(target=ask) for _ in range(MANY)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)

    assert broken == []
    assert let_through.count(True) == MOST
