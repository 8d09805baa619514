"""Tell the demo's stories on stores in memory."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from thimble.actions import MemoryIdentityStore
from thimble.clinical import library
from thimble.clinical.site import parse_site
from thimble.demo.build import build
from thimble.demo.hospital import SITE, STAFF
from thimble.demo.scene import Scene
from thimble.demo.stage import Stage
from thimble.demo.stories import STORIES, Story
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.fold import fold
from thimble.ledger.plan import Action, Plan
from thimble.ledger.situation import Situation
from thimble.ledger.store import MemoryStore


def stage() -> Stage:
    return Stage(
        MemoryStore(),
        MemoryIdentityStore(),
        library.protocol("us"),
        parse_site(tomllib.loads(SITE.format(base_url="http://127.0.0.1:8717"))),
        {member.sign_in: (f"u-{member.sign_in}", member.role) for member in STAFF},
    )


@dataclass(frozen=True)
class Told:
    """A story as it stands at `now`."""

    stage: Stage
    case: str
    now: datetime
    story: Story

    @property
    def entries(self) -> list[Entry]:
        return self.stage.store.entries(self.case)

    @property
    def kinds(self) -> list[Kind]:
        return [entry.kind for entry in self.entries]

    @property
    def plan(self) -> Plan:
        return self.plan_as_of(self.now)

    @property
    def situation(self) -> Situation:
        return fold(self.entries, self.now, self.stage.protocol.vocabulary)

    def plan_as_of(self, moment: datetime) -> Plan:
        scene = Scene(self.stage, self.now - self.story.ago, moment, self.case)
        return scene.plan()

    def action(self, id_: str) -> Action:
        return next(action for action in self.plan.actions if action.id == id_)

    def value(self, decision: str) -> str | None:
        return self.plan.findings[decision].value

    def reasons(self) -> set[str]:
        return {
            item.outputs["hiv_pep_expert_advice"]
            for item in self.plan.reasons["hiv_pep_expert_advice"]
            if item.certain
        }

    def cautions(self) -> str:
        return " ".join(caution.text for caution in self.plan.cautions if caution.certain)


def tell(id_: str, now: datetime) -> Told:
    story = next(story for story in STORIES if story.id == id_)
    on = stage()
    return Told(on, build(on, now, [story])[id_], now, story)


def tell_all(now: datetime, stories: Sequence[Story] = STORIES) -> tuple[Stage, dict[str, str]]:
    on = stage()
    return on, build(on, now, stories)
