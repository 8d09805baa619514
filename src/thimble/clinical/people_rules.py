"""How long it is kept who people of the register are: the site's settings, and what the law asks at least.

Nothing is erased unless a site sets a time. A time shorter than the law's is refused unless the site says
why; of several times that apply the latest holds.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from functools import cache

from thimble.clinical.durations import Duration, parse
from thimble.clinical.library import SHIPPED
from thimble.clinical.series.calendar_days import step
from thimble.clinical.settings import Settings

FOLDER = "retention"
_SOME_DAY = date(2001, 3, 1).toordinal()
"""Times are compared by where they lead to from here."""


@dataclass(frozen=True, slots=True)
class RetentionLaw:
    """How long a law has files kept, after leaving and after the last exposure; None where nothing was
    found, which says not that there is no such duty."""

    jurisdiction: str
    after_leaving: Duration | None
    after_exposure: Duration | None
    words: str
    source: str
    standing: str


@cache
def retention_law(protocol: str) -> RetentionLaw | None:
    """The law that goes with a site's protocol; None where none is known."""
    path = SHIPPED / FOLDER / f"{protocol}.toml"
    if not path.is_file():
        return None
    told = tomllib.loads(path.read_text(encoding="utf-8"))
    for name in ("after_leaving", "after_exposure"):
        told[name] = parse(told[name]) if told[name] else None
    return RetentionLaw(**told)


@dataclass(frozen=True, slots=True)
class PeopleRules:
    """A site's times. `after_leaving` None: nobody is erased. `after_exposure` None: the law's, if any.

    `hold` are references of files that nobody erases until the site takes them off. `shorter_because` is
    why a time may be shorter than the law's.
    """

    after_leaving: Duration | None = None
    after_exposure: Duration | None = None
    hold: tuple[str, ...] = ()
    shorter_because: str = ""


def read_people_rules(read: Settings, protocol: str) -> PeopleRules:
    """The table `people`, which may be left out; so may each of its keys."""
    if not read.has("people"):
        read.allow("people")
        return PeopleRules()
    table = read.table("people")
    if table is None:
        return PeopleRules()
    rules = PeopleRules(
        after_leaving=_time(table, "keep_after_leaving"),
        after_exposure=_time(table, "keep_after_exposure"),
        hold=table.texts("hold", may_be_empty=True),
        shorter_because=table.text("shorter_because", may_be_empty=True),
    )
    table.allow("keep_after_leaving", "keep_after_exposure")
    law = retention_law(protocol)
    if law is not None and not rules.shorter_because:
        for key, own, lawful in (
            ("keep_after_leaving", rules.after_leaving, law.after_leaving),
            ("keep_after_exposure", rules.after_exposure, law.after_exposure),
        ):
            if own is not None and lawful is not None and shorter(own, lawful):
                table.fault(
                    key,
                    f"is {own.words}, shorter than the {lawful.words} of {law.source}: what is erased is "
                    "gone. Set a longer time, or say under shorter_because why that law does not apply",
                )
    table.refuse_the_rest()
    return rules


def shorter(one: Duration, other: Duration) -> bool:
    """Whether a time is over before another that begins on the same day."""
    return step(_SOME_DAY, one) < step(_SOME_DAY, other)


def kept_until(
    rules: PeopleRules, law: RetentionLaw | None, left: date, exposures: Iterable[date]
) -> tuple[date, str] | None:
    """The last day on which it is kept who somebody is, and the rule that makes it so; None while the site
    sets no time.

    A period that begins on 29 February ends on 1 March, never a day early. Who was exposed here after the
    last day on file was at work then, so that the time after leaving begins there.

    Args:
        left: the last day at work, as the file has it.
        exposures: the days of every exposure that is known of them.
    """
    if rules.after_leaving is None:
        return None
    last = max(exposures, default=None)
    at_work = left if last is None else max(left, last)
    found = [(_after(at_work, rules.after_leaving), "site.toml: people.keep_after_leaving")]
    exposed = rules.after_exposure
    rule = "site.toml: people.keep_after_exposure"
    if exposed is None and law is not None and law.after_exposure is not None:
        exposed, rule = law.after_exposure, f"{law.source} ({law.standing})"
    if exposed is not None and last is not None:
        found.append((_after(last, exposed), rule))
    return max(found)


def _after(day: date, kept: Duration) -> date:
    return date.fromordinal(step(day.toordinal(), kept))


def _time(table: Settings, key: str) -> Duration | None:
    if not table.has(key):
        return None
    found = table.text(key)
    try:
        kept = parse(found)
    except ValueError:
        kept = None
    if kept is None or kept.unit not in ("months", "years") or not 1 <= kept.count <= 1200:
        table.fault(key, f"is a time in months or years, such as P30Y; found {found!r}")
        return None
    return kept
