"""`thimble account add`: the first account of a site; further ones are made on the screen."""

from __future__ import annotations

import argparse
import secrets
from pathlib import Path

from thimble.commands import Commands, NotUnderstood, group
from thimble.commands.serve import migrate, open_data


def add_to(commands: Commands) -> None:
    """Add `thimble account add` to the command line."""
    add = group(commands, "account", "manage accounts").add_parser(
        "add", help="create an account with a one-time password"
    )
    add.add_argument("sign_in", help="the name to sign in with")
    add.add_argument("--name", required=True, help="the name shown beside entries")
    add.add_argument("--role", default="administrator", help="what the account acts as")
    add.add_argument("--data", type=Path, required=True, help="the data folder")
    add.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print the one-time password, once."""
    open_data(options.data)
    migrate()
    from django.core.exceptions import ValidationError
    from django.db import transaction

    from thimble.web import clock
    from thimble.web.models import Account, AccountEvent
    from thimble.web.roles import Role
    from thimble.web.store import record_account_event

    if options.role not in set(Role):
        raise NotUnderstood(f"--role: is one of {', '.join(Role)}; found {options.role!r}.")
    password = secrets.token_urlsafe(12)
    try:
        with transaction.atomic():
            made = Account.objects.create_account(
                options.sign_in, display_name=options.name, role=options.role, password=password
            )
            record_account_event(made, AccountEvent.CREATED, by="", now=clock.now())
    except ValidationError as error:
        raise NotUnderstood("\n".join(error.messages)) from error
    print(f"{options.sign_in}: one-time password {password} (to be changed at the first sign-in)")
    return 0
