"""The next step after a missed visit, and what a physician decides at the last one, in words. Pure."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from thimble.clinical.ladder import Ladder
from thimble.clinical.saying import calendar_day
from thimble.ledger.bodies import REACHING_DECISIONS
from thimble.ledger.exposed import say
from thimble.ledger.follow_up.reaching import AGREE, CAME, CLOSE, DECIDE, Rung
from thimble.ledger.next_thing import time_left
from thimble.ledger.pressing import Group, group_of
from thimble.ledger.situation import Situation


@dataclass(frozen=True, slots=True)
class StepLine:
    """One step of the ladder: what, from when on, and whether it is the next one."""

    what: str
    day: str
    here: bool


@dataclass(frozen=True, slots=True)
class NextStep:
    """What is due about a worker who did not come. `decisions` is empty for whoever may not decide."""

    what: str
    when: str
    due: bool
    missed: str
    attempt: bool
    writes: bool
    tells_practitioner: bool
    ladder: tuple[StepLine, ...]
    source: str
    decided: str
    decisions: tuple[tuple[str, str, bool], ...]
    asks_physician: bool
    closes: bool

    @classmethod
    def of(
        cls,
        rung: Rung,
        situation: Situation,
        ladder: Ladder,
        now: datetime,
        capabilities: Collection[str],
    ) -> NextStep:
        """The words for a rung as of `now`."""
        decided = ""
        if rung.last is not None:
            until = "" if rung.last.until is None else f", until {calendar_day(rung.last.until)}"
            decided = f"{say(REACHING_DECISIONS[rung.last.decision], situation)}{until}: {rung.last.reason}"
        agreed = situation.follow_up.agreements.get("gp_letter", False)
        may = "decide_reaching" in capabilities
        steps = [] if rung.step == CAME else [(s, s.id == rung.step) for s in ladder.steps]
        return cls(
            what=rung.action.what,
            when=when_words(rung, now),
            due=group_of(rung.action, now) is Group.NOW,
            missed=calendar_day(rung.missed),
            attempt=bool(rung.how) or rung.step in (AGREE, DECIDE),
            writes="letter" in rung.how or "registered_letter" in rung.how,
            tells_practitioner=rung.last is not None and rung.last.decision == "inform_gp",
            ladder=tuple(
                StepLine(
                    say(step.what, situation),
                    f"from day {step.after_days}" if step.after_days else "at once",
                    here,
                )
                for step, here in steps
            ),
            source=ladder.source,
            decided=decided,
            decisions=tuple(
                (id_, say(words, situation), id_ != "inform_gp" or agreed)
                for id_, words in REACHING_DECISIONS.items()
            )
            if may and rung.step not in (CAME, CLOSE)
            else (),
            asks_physician=rung.step == DECIDE,
            closes=rung.step == CLOSE,
        )


def when_words(rung: Rung, now: datetime) -> str:
    """When a step is due: "due today", "due since 3 days", "opens in 2 days"."""
    window = rung.action.window
    opens, ends = window.earliest, window.target
    if opens is not None and ends is not None and opens <= now < ends:
        return "due today"
    return time_left(rung.action, now)
