"""`thimble certificate verify` and `thimble certificate new-key`."""

from __future__ import annotations

import argparse
from datetime import UTC, date, datetime
from pathlib import Path

from thimble.commands import Commands, NotUnderstood, group
from thimble.commands.serve import migrate, open_data
from thimble.people.certificates.checking import Worth, worth_on
from thimble.people.certificates.payload import Presented, presented
from thimble.people.certificates.signing import Forged, read_key_set

LONGEST_TEXT = 10_000


def add_to(commands: Commands) -> None:
    """Add `thimble certificate` to the command line."""
    about = group(commands, "certificate", "verify certificates of clearance; change their key")
    verify = about.add_parser(
        "verify", help="say whether a house signed what a square code holds; no network is needed"
    )
    verify.add_argument("square", help="the text of the square code, or a file that holds it")
    keys = verify.add_mutually_exclusive_group(required=True)
    keys.add_argument("--keys", type=Path, help="the house's public keys, as it publishes them")
    keys.add_argument("--data", type=Path, help="the house's own data folder")
    verify.add_argument("--name", help="the name on the paper, exactly as printed")
    verify.add_argument("--born", help="the date of birth on the paper, such as 1999-02-28")
    verify.add_argument("--on", help="the day for which it is asked; today if left out")
    verify.set_defaults(run=verify_certificate)
    renew = about.add_parser(
        "new-key",
        help="sign with a new key from now on; what was signed before can still be verified",
    )
    renew.add_argument("--data", type=Path, required=True, help="the data folder")
    renew.add_argument(
        "--stolen",
        action="store_true",
        help="the key in use came into other hands: publish it no more",
    )
    renew.set_defaults(run=new_key)


def verify_certificate(options: argparse.Namespace) -> int:
    """Status 1 if it is not signed by the house, does not hold on the day, or is about somebody else."""
    if (options.name is None) != (options.born is None):
        raise NotUnderstood("--name and --born go together: both stand on the paper.")
    born = _day("--born", options.born) if options.born else None
    on = _day("--on", options.on) if options.on else datetime.now(UTC).astimezone().date()
    keys = _published(options.data) if options.data else _read(options.keys)
    try:
        found = presented(_text(options.square), keys)
    except Forged as refusal:
        print(f"NOT GENUINE. {refusal}")
        return 1
    payload, statement = found.payload, found.payload.statement
    print(f"Signed by {payload.by}: certificate {payload.number}")
    for sentence in (statement.words, statement.about_exposure_prone):
        if sentence:
            print(f"  {sentence}.")
    print(f"  Issued on {payload.issued}, valid until {payload.until}, that day included.")
    holds = worth_on(on, payload.until) is Worth.HOLDS
    if not holds:
        print(f"EXPIRED on {on}.")
    same = _about(found, options.name, born)
    print("Whether it was withdrawn since, the house's own page alone can say.")
    return 0 if holds and same else 1


def _about(found: Presented, name: str | None, born: date | None) -> bool:
    if name is None or born is None:
        print("  Whom it is about was not checked: give --name and --born.")
        return True
    same = found.payload.is_about(name, born, found.salt)
    if same:
        print("  Name and date of birth are those that were signed.")
    else:
        print("ANOTHER PERSON: name and date of birth are not those that were signed.")
        print("  Write the name exactly as it is printed, capitals and commas included.")
    return same


def new_key(options: argparse.Namespace) -> int:
    """Print the id of the new key."""
    open_data(options.data, existing=True)
    migrate()
    from thimble.web import clock
    from thimble.web.certificates.keys import FILE, CertificateKeys

    kid = CertificateKeys(options.data).renew(clock.now(), stolen=options.stolen)
    print(f"Certificates are signed with the key {kid} from now on. Back up {options.data / FILE}.")
    if options.stolen:
        print(
            "The key before is published no more: what it signed is told genuine by the house's page alone."
        )
    return 0


def _text(square: str) -> str:
    """The argument itself, or what the file of that name holds."""
    if "#" in square or square.count(".") == 3:
        return square
    path = Path(square)
    try:
        with path.open("rb") as file:
            return file.read(LONGEST_TEXT).decode("ascii", errors="replace")
    except OSError as error:
        raise NotUnderstood(
            f"{square[:80]}: is neither the text of a square code nor a file that can be read "
            f"({error.strerror})."
        ) from error


def _read(path: Path) -> dict[str, bytes]:
    try:
        return read_key_set(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise NotUnderstood(
            f"--keys {path}: cannot be read as a set of public keys ({error}). The house publishes them at "
            "/.well-known/jwks.json."
        ) from error


def _published(folder: Path) -> dict[str, bytes]:
    open_data(folder, existing=True)
    migrate()
    from thimble.web.certificates.keys import CertificateKeys

    return dict(CertificateKeys(folder).published())


def _day(option: str, text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise NotUnderstood(f"{option}: is a day such as 1999-02-28; found {text!r}.") from error
