"""Which people a request is about: a cohort, and the part of it that the filters leave."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from django.http import QueryDict

from thimble.people.fold import Person
from thimble.people.identity import PersonIdentity
from thimble.people.readiness.cohorts import Member
from thimble.web import clock
from thimble.web.cohort import page
from thimble.web.cohort.standings import standings
from thimble.web.context import get_people_identities, get_site, zone
from thimble.web.people.roster import roster


@dataclass(frozen=True, slots=True)
class Chosen:
    """A cohort and the part of it that is shown, in order. `filters` are what was chosen, as typed."""

    cohort: str
    today: date
    members: tuple[Member, ...]
    shown: tuple[Member, ...]
    identities: Mapping[str, PersonIdentity]
    filters: Mapping[str, str]

    @property
    def name(self) -> str:
        """As the page is headed."""
        return self.cohort or "Everybody who starts"

    def counts(self) -> dict[str, int]:
        """How many each part of the cohort holds."""
        return {show: sum(page.passes(m, show) for m in self.members) for show in page.SHOWS}

    def options(self, field: str) -> list[str]:
        """The roles or sites that occur."""
        return sorted({getattr(m, field) for m in self.members} - {""})

    def groups(self) -> list[tuple[str, str, int]]:
        """What is missing, in groups, the commonest first: id, words, how many."""
        found = Counter(group for m in self.members for group in m.missing())
        return [(group, page.missing_words(group), n) for group, n in found.most_common()]


def people_of(cohort: str, today: date) -> list[Person]:
    """Everybody of a cohort who has not left; of "" everybody who starts."""
    everybody = roster().people(clock.now())
    if cohort:
        return [
            p for p in everybody if p.employment.cohort == cohort and p.employment.here_on(today)
        ]
    return [p for p in everybody if p.employment.starts_on and page.followed(p, today)]


def chosen(asked: QueryDict) -> Chosen:
    """What a request's parameters choose. What is no choice chooses everybody."""
    today = clock.now().astimezone(zone()).date()
    cohort = asked.get("cohort", "")
    identities = get_people_identities().all_identities()
    members = standings().of(people_of(cohort, today), identities, today, get_site())
    show = asked.get("show", "all")
    filters = {
        "show": show if show in page.SHOWS else "all",
        **{name: asked.get(name, "") for name in ("missing", "role", "site")},
    }
    shown = [
        m
        for m in members
        if page.passes(m, filters["show"])
        and filters["missing"] in {"", *m.missing()}
        and filters["role"] in {"", m.role}
        and filters["site"] in {"", m.site}
    ]
    ordered = page.ordered(shown, identities)
    return Chosen(cohort, today, tuple(members), tuple(ordered), identities, filters)
