"""What is known of a site, and the opening hours of its places."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, time
from zoneinfo import ZoneInfo

from thimble.clinical.diseases import ASKED
from thimble.clinical.durations import Duration
from thimble.clinical.labels import Labels
from thimble.clinical.laboratory import Local
from thimble.clinical.people_rules import PeopleRules
from thimble.clinical.source_rules import SourceRules
from thimble.clinical.stocked import Stocked

DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


@dataclass(frozen=True, slots=True)
class Session:
    """One stretch of opening on one day, in wall time: `opens` included, `closes` not."""

    opens: time
    closes: time

    def __str__(self) -> str:
        return f"{self.opens:%H:%M}-{self.closes:%H:%M}"


@dataclass(frozen=True, slots=True)
class Hours:
    """Weekly opening hours: seven days from Monday, each with its sessions in order; or always open."""

    week: tuple[tuple[Session, ...], ...] = ((),) * 7
    always: bool = False


@dataclass(frozen=True, slots=True)
class Place:
    """Somewhere to go: its name, the way there, its telephone number and when it is open."""

    name: str
    where: str
    phone: str
    hours: Hours


@dataclass(frozen=True, slots=True)
class Expert:
    """Whom to call for advice."""

    name: str
    number: str


@dataclass(frozen=True, slots=True)
class ClosedDay:
    """A day on which occupational medicine stays closed, beside public holidays, and why."""

    day: date
    reason: str


@dataclass(frozen=True, slots=True)
class Messages:
    """What calendars and mail to a worker may say, and whether mail is sent at all.

    Others see them: nothing here may tell what a visit is for. `appointment` is the whole of a subject
    and of a calendar's entry; `place` may be empty. `sender` is the address that mail comes from; while
    it is empty, none is sent. `days_ahead` is how many days before a visit a reminder goes out.
    """

    appointment: str = "Appointment"
    place: str = ""
    sender: str = ""
    days_ahead: int = 2


@dataclass(frozen=True, slots=True)
class Site:
    """One hospital's settings.

    `certificates_hold` is how long a certificate of clearance holds at most; None takes the shipped rule.

    `holidays_subdivision`, `consent_wording` and `first_aid_notes` may be empty; a document leaves a
    space to write in for an empty wording. `fitness_rule_set` is the one that fitness for work is decided
    by; empty, it is asked each time. `invented` marks a site that does not exist.
    """

    name: str
    short_name: str
    address_lines: tuple[str, ...]
    base_url: str
    zone: ZoneInfo
    holidays_country: str
    holidays_subdivision: str
    closed_days: tuple[ClosedDay, ...]
    protocol: str
    invented: bool
    occupational_medicine: Place
    emergency_department: Place
    expert_phone: Expert
    laboratory_phone: str
    emergency_phone: str
    consent_wording: str
    first_aid_notes: tuple[str, ...]
    evidence_asked: tuple[str, ...] = ASKED
    fitness_rule_set: str = ""
    certificates_hold: Duration | None = None
    messages: Messages = Messages()
    stocked: Stocked = field(default_factory=Stocked)
    source_patient: SourceRules = field(default_factory=SourceRules)
    people: PeopleRules = field(default_factory=PeopleRules)
    laboratory: Local = field(default_factory=Local)
    labels: Labels = field(default_factory=Labels)
