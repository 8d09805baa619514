"""`thimble demo`: build the invented hospital once, then serve it."""

from __future__ import annotations

import argparse
import os
import shutil
from datetime import UTC, datetime
from pathlib import Path

from thimble.commands import Commands, NotUnderstood
from thimble.commands.serve import add_address, listen, migrate, open_data
from thimble.demo.hospital import PASSWORD, SITE, STAFF

MARK = "invented-hospital"
"""A file that says that a data folder holds the demo: nothing else is ever deleted."""


def add_to(commands: Commands) -> None:
    """Add `thimble demo` to the command line."""
    parser = commands.add_parser("demo", help="build an invented hospital and serve it")
    parser.add_argument("--data", type=Path, default=Path("data/demo"), help="the data folder")
    parser.add_argument("--reset", action="store_true", help="delete the demo and start afresh")
    parser.add_argument("--build-only", action="store_true", help="build, and do not serve")
    add_address(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Build unless it is there, say where to look, serve."""
    # Mail of invented people goes into a folder, whatever the surroundings say.
    os.environ["THIMBLE_MAIL"] = "file"
    address = f"http://{options.host}:{options.port}"
    folder: Path = options.data
    if options.reset and folder.exists():
        _delete(folder)
    if not (folder / MARK).exists():
        _build(folder, address)
    else:
        open_data(folder)
        migrate()
    print(f"\nThimble, with an invented hospital: {address}/")
    print("  without sign-in: report an exposure, first aid at once")
    print(f"  sign in at {address}/sign-in with the password {PASSWORD}")
    for member in STAFF:
        print(f"    {member.sign_in:<10} {member.name:<24} {member.works}")
    print("  stop with Ctrl-C; `make demo-reset` starts afresh\n", flush=True)
    return 0 if options.build_only else listen(options)


def _delete(folder: Path) -> None:
    if not (folder / MARK).exists():
        raise NotUnderstood(
            f"{folder}: is not a demo folder (it holds no file {MARK!r}); it was left alone."
        )
    shutil.rmtree(folder)


def _build(folder: Path, address: str) -> None:
    if folder.exists() and any(folder.iterdir()):
        raise NotUnderstood(
            f"{folder}: holds something already that is not a finished demo; it was left alone. "
            "Delete it, or name another folder with --data."
        )
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    print("Building the invented hospital …", flush=True)
    (folder / "site.toml").write_text(SITE.format(base_url=address), encoding="utf-8")
    try:
        fill(folder, datetime.now(UTC))
    except BaseException:
        shutil.rmtree(folder)
        raise
    (folder / MARK).write_text("Everything in this folder is invented.\n", encoding="utf-8")


def fill(folder: Path, now: datetime) -> dict[str, str]:
    """Accounts and cases as of `now` in a folder that holds site.toml; case references by story id."""
    open_data(folder)
    migrate()
    from thimble.demo.build import build
    from thimble.demo.certified import build as certify
    from thimble.demo.cohort import build as enrol
    from thimble.demo.monitored import build as monitor
    from thimble.demo.sessions import build as hold
    from thimble.demo.stage import Stage
    from thimble.demo.starters import build as start
    from thimble.demo.stories import STORIES
    from thimble.demo.year import YEAR
    from thimble.web.certificates.keys import CertificateKeys
    from thimble.web.certificates.papers import DjangoPapers
    from thimble.web.clinic.store import get_clinic
    from thimble.web.cohort.standings import asked_of
    from thimble.web.context import (
        get_identities,
        get_people,
        get_people_identities,
        get_protocol,
        get_site,
        get_stock,
        get_store,
    )
    from thimble.web.models import Account

    accounts = {}
    for member in STAFF:
        account = Account.objects.create_account(
            member.sign_in,
            display_name=member.name,
            role=member.role,
            password=PASSWORD,
            must_change_password=False,
        )
        accounts[member.sign_in] = (account.id, member.role)
    stage = Stage(get_store(), get_identities(), get_protocol(), get_site(), accounts, get_stock())
    # One write for all: nobody waits for any of it before the last.
    with get_store().transaction():
        cases = build(stage, now, (*STORIES, *YEAR))
    workers = [who for case in cases.values() if (who := get_identities().worker(case))]
    starters = start(get_people(), get_people_identities(), *accounts["nurse"], now)
    hold(get_clinic(), get_people(), starters[:24], get_site(), accounts["nurse"][0], now)
    certify(
        get_people(), get_people_identities(), DjangoPapers(),
        lambda payload: CertificateKeys(folder).sign(payload, now), starters, get_site(),
        asked_of(get_site()), accounts["nurse"], accounts["physician"], now,
    )  # fmt: skip
    people = enrol(get_people(), get_people_identities(), *accounts["nurse"], now, workers)
    # The seventh works in a theatre and does exposure-prone procedures.
    monitor(get_people(), people[6], *accounts["physician"], now)
    return cases
