# mypy: disable-error-code="var-annotated"
"""Tables. The ledger's rows are only ever inserted; names live apart from it."""

from __future__ import annotations

import secrets
from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models

from thimble.web.roles import LABELS, Role, may

_LETTERS = "23456789abcdefghjkmnpqrstuvwxyz"  # no 0/o, 1/i/l: these are read aloud and typed


def pseudonym() -> str:
    """A new account id that says nothing about its holder, such as `u-7k2m9qxt`."""
    return "u-" + "".join(secrets.choice(_LETTERS) for _ in range(8))


class AccountManager(BaseUserManager["Account"]):
    """Makes accounts with a hashed password."""

    def create_account(
        self,
        sign_in: str,
        *,
        display_name: str,
        role: str,
        password: str,
        must_change_password: bool = True,
    ) -> Account:
        """A new active account. `role` is one of `thimble.web.roles.Role`."""
        account = Account(
            sign_in=sign_in.strip().lower(),
            display_name=display_name,
            role=Role(role).value,
            must_change_password=must_change_password,
        )
        account.set_password(password)
        account.full_clean()
        account.save(using=self._db)
        return account

    def get_by_natural_key(self, username: str | None) -> Account:
        return self.get(sign_in=(username or "").strip().lower())


class Account(AbstractBaseUser):
    """Somebody who signs in. Entries name the pseudonymous `id`, never the person."""

    id = models.CharField(primary_key=True, max_length=12, default=pseudonym, editable=False)
    sign_in = models.SlugField("sign-in name", max_length=40, unique=True)
    display_name = models.CharField(max_length=80)
    role = models.CharField(max_length=30, choices=[(r.value, LABELS[r]) for r in Role])
    is_active = models.BooleanField(default=True)
    must_change_password = models.BooleanField(default=False)

    objects: ClassVar[AccountManager] = AccountManager()

    USERNAME_FIELD = "sign_in"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["display_name", "role"]

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(role__in=[r.value for r in Role]), name="account_role_is_known"
            )
        ]

    def __str__(self) -> str:
        return self.id

    @property
    def role_label(self) -> str:
        """The role in words."""
        return LABELS[Role(self.role)]

    def has_perm(self, capability: str, obj: Any = None) -> bool:  # noqa: ARG002
        """Whether this account may use a capability (see `thimble.web.roles`)."""
        return self.is_active and may(self.role, capability)

    def has_module_perms(self, _app: str) -> bool:
        return self.is_active


class _Entry(models.Model):
    """One entry as it was appended. Instants and body are kept as the very text that the digest was
    taken over, so that no database can round or re-zone them."""

    number = models.PositiveBigIntegerField(primary_key=True)
    case = models.CharField(max_length=40)
    position = models.PositiveIntegerField()
    kind = models.CharField(max_length=40)
    happened_at = models.CharField(max_length=40)
    recorded_at = models.CharField(max_length=40)
    by = models.CharField(max_length=40)
    role = models.CharField(max_length=40)
    body = models.TextField()
    previous = models.CharField(max_length=64)
    digest = models.CharField(max_length=64, unique=True)

    class Meta:
        abstract = True
        ordering = ["number"]

    def __str__(self) -> str:
        return f"{self.number}: {self.case}/{self.position} {self.kind}"


class LedgerEntry(_Entry):
    """An entry of the ledger of cases."""

    class Meta(_Entry.Meta):
        constraints = [
            models.UniqueConstraint(fields=["case", "position"], name="one_entry_a_position"),
            # A chain has no forks: each digest is followed at most once.
            models.UniqueConstraint(fields=["previous"], name="one_entry_after_another"),
        ]


class PersonEntry(_Entry):
    """An entry of the ledger of people; `case` is the reference of the person's file."""

    class Meta(_Entry.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["case", "position"], name="one_person_entry_a_position"
            ),
            models.UniqueConstraint(fields=["previous"], name="one_person_entry_after_another"),
        ]


class _Identity(models.Model):
    """Who a case is about. Inserted, never changed: the latest row of a case is the one that holds."""

    case = models.CharField(max_length=40, db_index=True)
    recorded_at = models.DateTimeField()
    recorded_by = models.CharField(max_length=40)
    body = models.TextField()

    class Meta:
        abstract = True
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"identity for {self.case}"


class WorkerIdentity(_Identity):
    """Name and way to reach the exposed worker, as JSON."""


class SourceIdentity(_Identity):
    """Who the source patient is, as JSON. Seen by the fewest."""


class PersonIdentity(models.Model):
    """Who a person of the register is, as JSON. Inserted, never changed: the latest row of a person
    holds. `position` is that of the entry it was written with; `number_key` is the number as it is
    compared, to find a case's worker without reading everybody."""

    person = models.CharField(max_length=40, db_index=True)
    position = models.PositiveIntegerField()
    number_key = models.CharField(max_length=200, db_index=True, blank=True, default="")
    recorded_at = models.DateTimeField()
    recorded_by = models.CharField(max_length=40)
    body = models.TextField()

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"identity of {self.person}"


class PeopleImport(models.Model):
    """A list of people from elsewhere, while somebody looks at what it would do, and what came of it.

    Working material, not a record: what was written stands in the ledger of people, under `id`. The file
    lies sealed in the vault as `file` until it is written or dropped; then it is deleted.
    """

    OPEN, APPLIED, DROPPED, UNDONE = "open", "applied", "dropped", "undone"
    STATES = (OPEN, APPLIED, DROPPED, UNDONE)

    id = models.CharField(primary_key=True, max_length=20)
    by = models.CharField(max_length=40)
    at = models.DateTimeField()
    state = models.CharField(max_length=10, choices=[(s, s) for s in STATES], default=OPEN)
    file = models.CharField(max_length=32, blank=True)
    size = models.PositiveIntegerField()
    plan = models.TextField()
    counts = models.TextField(default="{}")

    class Meta:
        ordering = ["-at"]

    def __str__(self) -> str:
        return f"import {self.id}: {self.state}"


class ToScrub(models.Model):
    """That somebody was erased from a table, and that traces of them may still be in the database's files
    (see `thimble.web.scrubbing`)."""

    table = models.CharField(max_length=63, primary_key=True)

    def __str__(self) -> str:
        return self.table


class IdentityLook(models.Model):
    """That an account was shown who a case is about. Inserted, never changed; holds no name.

    The account is named as entries of the ledger name it, by its pseudonym.
    """

    case = models.CharField(max_length=40)
    account = models.CharField(max_length=40)
    whose = models.CharField(max_length=10, choices=[("worker", "worker"), ("source", "source")])
    where = models.CharField(max_length=20)
    at = models.DateTimeField()

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(fields=["case", "at"], name="looks_of_a_case")]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(whose__in=["worker", "source"]), name="look_is_at_somebody"
            )
        ]

    def __str__(self) -> str:
        return f"{self.account} at the {self.whose} of {self.case}"


class AccountEvent(models.Model):
    """What an administrator did to an account. Inserted, never changed; holds no name.

    `by` is "" where it was done on the command line. `role` is the account's role from then on.
    """

    CREATED, ROLE, PASSWORD, CLOSED, OPENED = "created", "role", "password", "closed", "opened"
    KINDS = (CREATED, ROLE, PASSWORD, CLOSED, OPENED)

    account = models.CharField(max_length=40, db_index=True)
    what = models.CharField(max_length=10, choices=[(kind, kind) for kind in KINDS])
    role = models.CharField(max_length=30)
    by = models.CharField(max_length=40, blank=True)
    at = models.DateTimeField()

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"{self.account}: {self.what}"


class StockMovement(models.Model):
    """One movement of stock, see `thimble.ledger.stock.movements`. Inserted, never changed."""

    number = models.PositiveBigIntegerField(primary_key=True)
    move = models.CharField(max_length=10)
    product = models.CharField(max_length=40)
    place = models.CharField(max_length=40, blank=True)
    to_place = models.CharField(max_length=40, blank=True)
    lot = models.CharField(max_length=60, blank=True)
    quantity = models.PositiveIntegerField()
    expires = models.DateField(null=True)
    case = models.CharField(max_length=40, blank=True)
    entry = models.PositiveIntegerField(default=0)
    gtin = models.CharField(max_length=14, blank=True, default="")
    reason = models.CharField(max_length=500, blank=True)
    by = models.CharField(max_length=40)
    at = models.DateTimeField()
    # Of the form that sent it: what is sent twice is recorded once.
    token = models.CharField(max_length=64, null=True, unique=True)

    class Meta:
        ordering = ["number"]

    def __str__(self) -> str:
        return f"{self.number}: {self.move} {self.product} {self.lot}"


class StockAlertTold(models.Model):
    """An alert about stock that a mail told of and that stands still. It goes once the alert does, so that
    the same alert, when it comes back, is told again. Derived: without it one more mail goes out."""

    alert = models.CharField(max_length=160, primary_key=True)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return self.alert


class MailClaim(models.Model):
    """That somebody took it on to send one mail, written before it is sent: nobody else sends it then.

    `state` is an id of `mailing.claims.STATES`. One that stays `claimed` was neither sent for certain nor
    certainly not: whoever took it on stopped in between. `day` is that of the attempt at the site. Neither
    an address nor a name is in it.
    """

    case = models.CharField(max_length=40)
    about = models.CharField(max_length=20)
    visit = models.DateField()
    day = models.DateField()
    state = models.CharField(max_length=10)
    claimed_at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [
            # What was not sent may be tried again on another day; nothing else ever is.
            models.UniqueConstraint(
                fields=["case", "about", "visit"],
                condition=~models.Q(state="not_sent"),
                name="one_mail_about_a_visit",
            ),
            models.UniqueConstraint(
                fields=["case", "about", "visit", "day"], name="one_try_to_mail_a_day"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.case} {self.about} {self.visit}: {self.state}"


class LastLook(models.Model):
    """Up to where an account has seen a case, so that a screen can say what changed since."""

    account = models.ForeignKey(Account, on_delete=models.CASCADE)
    case = models.CharField(max_length=40)
    position = models.PositiveIntegerField()
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["account", "case"], name="one_last_look_a_case")
        ]

    def __str__(self) -> str:
        return f"{self.case} to {self.position}"


class SecretLink(models.Model):
    """That something of a case may be read with a secret, of which only the digest is kept.

    `ended_at` is when it was revoked or replaced. See `thimble.web.secret_links`.
    """

    case = models.CharField(max_length=40, db_index=True)
    digest = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=40)
    ended_at = models.DateTimeField(null=True)
    ended_by = models.CharField(max_length=40, blank=True)

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return f"link of {self.case}"


class CalendarLink(SecretLink):
    """That a worker's calendar may be fetched. A case has at most one that stands."""

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["case"],
                condition=models.Q(ended_at__isnull=True),
                name="one_calendar_link_a_case",
            )
        ]


class FitnessLink(SecretLink):
    """That a manager may read one decision about fitness. A case has at most one that stands.

    `entry` is the decision's position: with another decision the link tells nothing any more. `shown`
    is how the worker is named, an id of `fitness.told.SHOWN`; the name itself stays in the vault.
    """

    entry = models.PositiveIntegerField()
    shown = models.CharField(max_length=10)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["case"],
                condition=models.Q(ended_at__isnull=True),
                name="one_fitness_link_a_case",
            )
        ]


class PersonLink(SecretLink):
    """That a person may open their own page; `case` is the reference of their file. Several may stand side
    by side: a letter adds one, and ends none that somebody may have in hand.

    It opens until `until` (exclusive). `wrong` counts wrong birth dates since the last right one.
    """

    until = models.DateTimeField()
    wrong = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["-id"]


class ClinicSession(models.Model):
    """A session of the clinic, see `thimble.people.sessions.Session`."""

    day = models.DateField(db_index=True)
    opens = models.TimeField()
    closes = models.TimeField()
    place = models.CharField(max_length=120)
    purpose = models.CharField(max_length=20)
    capacity = models.PositiveSmallIntegerField()
    slot_minutes = models.PositiveSmallIntegerField(default=0)
    stock_place = models.CharField(max_length=40, blank=True, default="")
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=40)
    called_off_at = models.DateTimeField(null=True)
    called_off_by = models.CharField(max_length=40, blank=True)

    class Meta:
        ordering = ["day", "opens", "id"]

    def __str__(self) -> str:
        return f"session {self.pk} on {self.day}"


class Booking(models.Model):
    """That a person is booked for a time of a session, see `thimble.people.sessions.Booked`.

    It stands while `ended_at` is null. The database itself refuses a second booking of a person for a
    session, and two bookings of one place.
    """

    session = models.ForeignKey(ClinicSession, on_delete=models.PROTECT, related_name="bookings")
    person = models.CharField(max_length=40, db_index=True)
    at = models.TimeField()
    number = models.PositiveSmallIntegerField()
    uid = models.CharField(max_length=32)
    sequence = models.PositiveSmallIntegerField(default=0)
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=40)
    ended_at = models.DateTimeField(null=True)
    ended_by = models.CharField(max_length=40, blank=True)
    came = models.CharField(max_length=10, blank=True)

    class Meta:
        ordering = ["at", "number", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["session", "person"],
                condition=models.Q(ended_at__isnull=True),
                name="one_booking_a_person_and_session",
            ),
            models.UniqueConstraint(
                fields=["session", "at", "number"],
                condition=models.Q(ended_at__isnull=True),
                name="one_booking_a_place",
            ),
        ]

    def __str__(self) -> str:
        return f"booking {self.pk} of {self.person}"


class ProductCode(models.Model):
    """That a product number on a package (GTIN) is a vaccine, by its CVX code, as somebody said.

    Inserted, never changed: the latest row of a number holds, those before it say what was taken for true.
    """

    gtin = models.CharField(max_length=14, db_index=True)
    cvx = models.CharField(max_length=10)
    said_by = models.CharField(max_length=40)
    said_at = models.DateTimeField()

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"{self.gtin}: CVX {self.cvx}"


class SampleNumber(models.Model):
    """That a number was printed on labels for a person's sample; no number is printed for two."""

    number = models.CharField(primary_key=True, max_length=12)
    person = models.CharField(max_length=40, db_index=True)
    session = models.ForeignKey(ClinicSession, on_delete=models.PROTECT, null=True)
    made_by = models.CharField(max_length=40)
    made_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.number} for {self.person}"


class LetterRun(models.Model):
    """Letters of one kind to many people: who asked for them and when, and how far they are.

    Working material, not a record: what went out stands in each person's file. `said` holds, as JSON, what
    all letters share (day and place of a session). `held_until` keeps two workers from the same run; a run
    that is held by nobody goes on when somebody says so. `file` is the vault's name of the PDF with every
    letter on paper, `in_file` how many it holds; `handed_on` the day on which those on paper were posted or
    handed out, where somebody said so.
    """

    id = models.CharField(primary_key=True, max_length=20)
    about = models.CharField(max_length=12)
    cohort = models.CharField(max_length=200, blank=True)
    said = models.TextField(default="{}")
    by = models.CharField(max_length=40)
    role = models.CharField(max_length=30)
    at = models.DateTimeField()
    held_until = models.DateTimeField(null=True)
    file = models.CharField(max_length=32, blank=True)
    in_file = models.PositiveIntegerField(default=0)
    handed_on = models.DateField(null=True)
    fault = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-at"]

    def __str__(self) -> str:
        return f"letters {self.id}"


class LetterTo(models.Model):
    """One letter of a run. A person has one at most; `letter` is the vault's name of one on paper."""

    WAITING, SENDING, SENT, FAILED = "waiting", "sending", "sent", "failed"
    STATES = (WAITING, SENDING, SENT, FAILED)

    run = models.ForeignKey(LetterRun, on_delete=models.CASCADE, related_name="letters")
    person = models.CharField(max_length=40)
    how = models.CharField(max_length=10)
    state = models.CharField(max_length=10, choices=[(s, s) for s in STATES], default=WAITING)
    reason = models.CharField(max_length=200, blank=True)
    letter = models.CharField(max_length=32, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["run", "person"], name="one_letter_a_person_and_run")
        ]

    def __str__(self) -> str:
        return f"letter to {self.person}: {self.state}"


class RecallLine(models.Model):
    """Where one case stood on the recall list at `since`, and until when that holds (exclusive).

    Derived from the ledger: the table may be emptied at any time and is made again. `last` is the
    number of the last entry that was read, `rules` what it was read by
    (see `thimble.web.visits.recall.lines`). `part` is "" for a case that has no visit to keep.
    """

    case = models.CharField(primary_key=True, max_length=40)
    last = models.PositiveBigIntegerField(db_index=True)
    rules = models.CharField(max_length=64)
    since = models.DateTimeField()
    until = models.DateTimeField(db_index=True)
    part = models.CharField(max_length=10)
    day = models.DateField(null=True)
    said = models.TextField()

    class Meta:
        indexes = [models.Index(fields=["part", "day", "case"], name="recall_in_order")]

    def __str__(self) -> str:
        return f"{self.case}: {self.part or 'nothing'}"


class CertificateKey(models.Model):
    """The public half of a key that certificates are or were signed with (32 bytes, base64url).

    `id` is what signatures name it by. The private half is a file of the data folder, see
    `thimble.web.certificates.keys`. One that was `stolen` is published no more.
    """

    id = models.CharField(primary_key=True, max_length=16)
    public = models.CharField(max_length=43)
    made_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)
    stolen = models.BooleanField(default=False)

    class Meta:
        ordering = ["made_at", "id"]

    def __str__(self) -> str:
        return f"key {self.id}"


class CertificatePaper(models.Model):
    """What the paper of a certificate shows of a person. Added, and erased as an identity is; what was
    certified stands in the ledger of people under the same number."""

    number = models.CharField(primary_key=True, max_length=11)
    person = models.CharField(max_length=40, db_index=True)
    name = models.CharField(max_length=500)
    born = models.DateField()
    code = models.CharField(max_length=14)
    proof = models.TextField()
    salt = models.CharField(max_length=32)

    def __str__(self) -> str:
        return self.number
