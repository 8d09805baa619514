"""How long the server works on a page: `python -m bench.pages`.

A site of 500 invented cases in a database of its own. Each page is asked for through Django's test
client, so that middleware, session, queries and template are all in the time. The first call fills what
the process keeps; the others are what people meet. Prints the median and its ratio to the aim.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

AIM_MS = 60.0
CASES = 500
ROUNDS = 15

SITE = """
name = "Invented Hospital of Lindenfurt"
short_name = "Lindenfurt"
address_lines = ["1 Invented Street"]
base_url = "https://thimble.example"
zone = "Europe/Zurich"
holidays_country = "CH"
protocol = "us"
invented = true
laboratory_phone = "4410"
emergency_phone = "4499"
consent_wording = ""
first_aid_notes = []
[occupational_medicine]
name = "Occupational medicine"
where = "Building C"
phone = "4400"
[occupational_medicine.hours]
monday = ["08:00-16:30"]
[emergency_department]
name = "Emergency department"
where = "Building A"
phone = "4444"
[expert_phone]
name = "Infectious diseases on call"
number = "4455"
"""


def prepare(folder: Path) -> None:
    """A data folder with a site and an empty, migrated database; Django is set up on it."""
    (folder / "site.toml").write_text(SITE, encoding="utf-8")
    os.environ["THIMBLE_DATA"] = str(folder)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "thimble.web.settings")
    import django
    from django.core.management import call_command

    django.setup()
    call_command("migrate", verbosity=0)


def timed(ask: Callable[[], object], rounds: int) -> list[float]:
    """Milliseconds of each call."""
    found = []
    for _ in range(rounds):
        begin = time.perf_counter()
        ask()
        found.append((time.perf_counter() - begin) * 1000)
    return found


def main() -> int:
    """Build, measure, print."""
    with tempfile.TemporaryDirectory(prefix="thimble-bench-") as name:
        prepare(Path(name))
        measure()
    return 0


def measure() -> None:
    """Each page: what the first call cost, the median of the others, and the ratio to the aim."""
    from bench.cases import build
    from django.test import Client
    from django.urls import NoReverseMatch, reverse

    from thimble.web import clock
    from thimble.web.context import get_identities, get_protocol, get_site, get_store
    from thimble.web.models import Account
    from thimble.web.roles import Role

    now = datetime.now(UTC)
    store = get_store()
    with store.transaction():
        cases = build(store, get_identities(), get_protocol(), get_site(), count=CASES, now=now)
    account = Account(sign_in="bench", role=Role.OCCUPATIONAL_PHYSICIAN.value)
    account.set_unusable_password()
    account.save()
    client = Client(SERVER_NAME="127.0.0.1")
    client.get(reverse("report:alive"))  # loads the middleware, which counts a session's age
    client.force_login(account, backend="django.contrib.auth.backends.ModelBackend")
    pages = {
        f"worklist of {CASES} cases": reverse("worklist:worklist"),
        f"handover of {CASES} cases": reverse("worklist:handover"),
    }
    try:
        pages["one case"] = reverse("desk:case", args=[cases[-1]])
    except NoReverseMatch:
        print("There is no case page yet; it is left out.")
    print(f"{'page':<28}{'first':>10}{'median':>10}{'aim':>8}  ratio to the aim")
    for label, address in pages.items():
        minutes = count(1)

        def ask(address: str = address, minutes: Iterator[int] = minutes) -> None:
            # Each call is a minute later, so that no page is the same as the last.
            with clock.standing_at(now + timedelta(minutes=next(minutes))):
                answer = client.get(address)
            assert answer.status_code == 200, (address, answer.status_code)

        first, *others = timed(ask, ROUNDS + 1)
        median = statistics.median(others)
        print(
            f"{label:<28}{first:>7.1f} ms{median:>7.1f} ms{AIM_MS:>5.0f} ms  {median / AIM_MS:.2f}"
        )


if __name__ == "__main__":
    sys.exit(main())
