"""Every word of a case's history, from plain values. Pure."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from thimble.clinical.saying import minute
from thimble.clinical.site import Site
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.exposed import as_written, protocol_for, saying
from thimble.ledger.history import history
from thimble.protocol.protocol import Protocol
from thimble.web.desk.correcting import needed_to_correct
from thimble.web.desk.known import FactGroup, known_in_words
from thimble.web.desk.plan import PlanView
from thimble.web.desk.reading import Reading, actions_in_words
from thimble.web.desk.words import Clock, RuleLink, no_link

DIGEST_SHOWN = 12


@dataclass(frozen=True, slots=True)
class LineView:
    """One entry as it is read. `corrects` is the entry that it sets right; 0 for none."""

    number: int
    label: str
    details: tuple[str, ...]
    who: str
    role: str
    recorded: str
    happened: str
    digest: str
    full_digest: str
    corrects: int
    corrected_by: tuple[int, ...]
    withdrawn: bool
    departure: bool
    can_be_corrected: bool


WHERE: Mapping[str, str] = {
    "case": "on the case page",
    "worklist": "in the worklist",
    "worker_plan": "on the printed plan",
    "certificate": "on the printed certificate",
    "letter": "on a printed letter",
    "recall": "on the recall list",
    "reach": "on the page of how the worker may be reached",
    "source": "on the page of the source patient",
}
"""Where a name is shown, in words."""


@dataclass(frozen=True, slots=True)
class LookView:
    """One look at a name: who, at whose, where, when."""

    who: str
    whose: str
    where: str
    at: str

    @classmethod
    def of(
        cls,
        account: str,
        whose: str,
        where: str,
        at: datetime,
        *,
        names: Mapping[str, str],
        zone: tzinfo,
        say: Callable[[str], str] = as_written,
    ) -> LookView:
        """A look in words; `names` are the accounts' display names."""
        return cls(
            names.get(account, account),
            say("the source patient" if whose == "source" else "the worker"),
            say(WHERE.get(where, where)),
            minute(at, zone),
        )


@dataclass(frozen=True, slots=True)
class AsKnown:
    """The case as it was known at a moment."""

    at: str
    clock: Clock
    facts: tuple[FactGroup, ...]
    plan: PlanView


@dataclass(frozen=True, slots=True)
class HistoryPage:
    """The page: its lines, and the past moment that is looked at, if one is."""

    case: str
    lines: tuple[LineView, ...]
    total: int
    newest_first: bool
    as_known: AsKnown | None
    day: str
    clock: str
    fault: str
    may_correct: bool
    looks: tuple[LookView, ...] | None

    @classmethod
    def of(
        cls,
        entries: Sequence[Entry],
        *,
        protocol: Protocol,
        site: Site,
        now: datetime,
        names: Mapping[str, str],
        roles: Mapping[str, str],
        capabilities: frozenset[str],
        newest_first: bool = True,
        as_of: datetime | None = None,
        day: str = "",
        clock: str = "",
        fault: str = "",
        looks: Sequence[LookView] | None = None,
        link: RuleLink = no_link,
    ) -> HistoryPage:
        """The page of one case's entries.

        `looks` are the looks at names, or None for whoever may not know of them. With `as_of`, only
        what was recorded by then is shown, and the plan is the one of then.
        """
        zone = site.zone
        known = [entry for entry in entries if as_of is None or entry.recorded_at <= as_of]
        as_known = None
        reading = None
        if known:
            moment = now if as_of is None else as_of
            reading = Reading.of(known[0].case, known, protocol, site, moment)
        if as_of is not None and reading is not None:
            situation = reading.situation
            as_known = AsKnown(
                minute(as_of, zone),
                Clock.of(situation.occurred_at, situation.occurred_at_precision, as_of, zone),
                known_in_words(reading, protocol, site, names),
                PlanView.of(
                    reading.plan, situation, protocol=protocol, site=site, names=names, link=link
                ),
            )
        words = actions_in_words(reading.plan, protocol) if reading is not None else {}
        say: Callable[[str], str] = as_written
        if reading is not None:
            protocol, say = protocol_for(protocol, reading.situation), saying(reading.situation)
        corrects = {
            entry.position: int(entry.body["corrects"])
            for entry in known
            if entry.kind is Kind.CORRECTED
        }
        lines = [
            LineView(
                number=line.position,
                label=line.label,
                details=line.details,
                who=names.get(line.by, say("the worker") if line.by == "worker" else line.by),
                role="" if line.by == "worker" else roles.get(line.role, line.role),
                recorded=minute(line.recorded_at, zone),
                happened="" if line.happened_at is None else minute(line.happened_at, zone),
                digest=line.digest[:DIGEST_SHOWN],
                full_digest=line.digest,
                corrects=corrects.get(line.position, 0),
                corrected_by=line.corrected_by,
                withdrawn=line.withdrawn,
                departure=line.kind is Kind.DEPARTED,
                can_be_corrected=not line.withdrawn
                and as_of is None
                and needed_to_correct(entries, line.position) in ("", *capabilities),
            )
            for line in history(known, protocol.vocabulary, zone, actions=words, say=say)
        ]
        if newest_first:
            lines.reverse()
        return cls(
            case=entries[0].case,
            lines=tuple(lines),
            total=len(entries),
            newest_first=newest_first,
            as_known=as_known,
            day=day or now.astimezone(zone).date().isoformat(),
            clock=clock,
            fault=fault,
            may_correct="correct_entry" in capabilities,
            looks=None if looks is None else tuple(looks),
        )
