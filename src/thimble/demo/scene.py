"""What a story can do: a thin hand on `actions`, with the clock of the moment it is told."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from thimble import actions
from thimble.actions import IdentityStore, MemoryStock, SourceIdentity, WorkerIdentity
from thimble.clinical.serology import Analyte, Quantity, Result, Status, Word
from thimble.clinical.site import Site
from thimble.ledger.assess import assess
from thimble.ledger.course import FIRST_DOSE
from thimble.ledger.course_record import STOP
from thimble.ledger.fold import fold
from thimble.ledger.plan import TO_DO, Action, Plan, Situation
from thimble.ledger.stock.movements import StockStore
from thimble.ledger.store import LedgerStore
from thimble.ledger.visiting import to_agree, visiting
from thimble.protocol import Protocol, Value


@dataclass(frozen=True, slots=True)
class Stage:
    """Where every story plays: the stores, the rules, and the account of each sign-in name."""

    store: LedgerStore
    identities: IdentityStore
    protocol: Protocol
    site: Site
    accounts: Mapping[str, tuple[str, str]]
    stock: StockStore = field(default_factory=MemoryStock)


@dataclass
class Scene:
    """One case while its story is told. `now` moves; `who` names the demo account that acts."""

    stage: Stage
    occurred_at: datetime
    now: datetime
    case: str = ""
    who: str = "night"
    doses: dict[str, str] = field(default_factory=dict)

    @property
    def by(self) -> str:
        return self.stage.accounts[self.who][0]

    @property
    def role(self) -> str:
        return self.stage.accounts[self.who][1]

    def report(
        self,
        name: str,
        occupation: str,
        place: str,
        *,
        task: str = "",
        account: str = "",
        source: SourceIdentity | None = None,
        facts: Mapping[str, Value] | None = None,
        **more: Value,
    ) -> None:
        """The worker reports, without signing in."""
        told = actions.report(
            self.stage.store,
            facts={**(facts or {}), **more},
            occurred_at=self.occurred_at,
            occurred_at_precision="minute",
            vocabulary=self.stage.protocol.vocabulary,
            now=self.now,
            place=place,
            task=task,
            account=account,
            identities=self.stage.identities,
            worker=WorkerIdentity(
                name=name,
                staff_number=f"Q{sum(map(ord, name)) % 9000 + 1000}",
                phone=f"555-01{sum(map(ord, name)) % 40 + 50}",
                email=f"{name.removeprefix('Dr. ').split(maxsplit=1)[0].lower()}@quillhaven.example",
                occupation=occupation,
                department=place,
            ),
        )
        self.case = told.case
        if source is not None:
            self.stage.identities.save_source(self.case, source, by="worker", now=self.now)

    def learn(self, said_by: actions.record.SaidBy = "clinician", /, **facts: Value) -> None:
        actions.learn_facts(
            self.stage.store,
            self.case,
            facts,
            said_by=said_by,
            vocabulary=self.stage.protocol.vocabulary,
            now=self.now,
            by=self.by,
            role=self.role,
        )

    def result(self, text: str = "", action: str | None = None, **facts: Value) -> None:
        actions.receive_result(
            self.stage.store,
            self.case,
            facts=facts,
            text=text,
            action=action,
            vocabulary=self.stage.protocol.vocabulary,
            now=self.now,
            by=self.by,
            role=self.role,
        )

    def blood(self, *negative: Analyte, drawn_for: str, taken_ago: timedelta) -> None:
        """The laboratory found nothing of these in the worker's blood."""
        self.laboratory(
            dict.fromkeys(negative, Word.NEGATIVE), drawn_for=drawn_for, taken_ago=taken_ago
        )

    def laboratory(
        self,
        said: Mapping[Analyte, Word | Quantity],
        *,
        drawn_for: str,
        taken_ago: timedelta,
        looked_at: str = "",
    ) -> None:
        """What the laboratory says of one sample of the worker."""
        actions.record_results(
            self.stage.store,
            self.case,
            [
                Result(
                    analyte=analyte, of="worker", status=Status.FINAL,
                    taken_at=self.now - taken_ago, reported_at=self.now,
                    word=word if isinstance(word, Word) else None,
                    quantity=word if isinstance(word, Quantity) else None,
                )
                for analyte, word in said.items()
            ],
            drawn_for=drawn_for,
            laboratory="Invented Virology",
            looked_at=looked_at,
            protocol=self.stage.protocol,
            site=self.stage.site,
            now=self.now,
            by=self.by,
            role=self.role,
        )  # fmt: skip

    def decide_fitness(
        self,
        outcome: str,
        restriction: str,
        *,
        review_in: timedelta,
        facts: Mapping[str, Value],
        sampled: Mapping[str, timedelta],
        reason: str = "",
    ) -> None:
        """A decision about fitness; `sampled` says how long ago the samples of monitoring were taken."""
        today = self.now.astimezone(self.stage.site.zone).date()
        actions.decide_fitness(
            self.stage.store, self.case,
            actions.FitnessVerdict(outcome, restriction, today + review_in, reason), facts=facts,
            days={name: today - ago for name, ago in sampled.items()},
            today=today, now=self.now, by=self.by, role=self.role,
        )  # fmt: skip

    def see(self) -> None:
        """A clinician sees the worker."""
        actions.assessed(self.stage.store, self.case, now=self.now, by=self.by, role=self.role)

    def correct_report(self, reason: str, **facts: Value) -> None:
        """Set right what the report said; the report stays in the history as it was."""
        actions.correct(
            self.stage.store,
            self.case,
            1,
            reason=reason,
            facts=facts,
            vocabulary=self.stage.protocol.vocabulary,
            now=self.now,
            by=self.by,
            role=self.role,
        )

    def cannot_know(self, fact: str, reason: str = "") -> None:
        actions.cannot_be_known(
            self.stage.store,
            self.case,
            fact,
            reason=reason,
            vocabulary=self.stage.protocol.vocabulary,
            now=self.now,
            by=self.by,
            role=self.role,
        )

    def first_aid(self, *steps: str, minutes: float) -> None:
        actions.give_first_aid(
            self.stage.store,
            self.case,
            steps=steps,
            minutes=minutes,
            action="first_aid",
            now=self.now,
            by=self.by,
            role=self.role,
            happened_at=self.occurred_at,
        )

    def sign(self) -> None:
        actions.sign_plan(
            self.stage.store,
            self.case,
            protocol=self.stage.protocol,
            site=self.stage.site,
            seen_position=len(self.stage.store.entries(self.case)),
            now=self.now,
            by=self.by,
            role=self.role,
        )

    def depart(self, subject: str, advised: str, decided: str, reason: str) -> None:
        actions.depart(
            self.stage.store,
            self.case,
            subject=subject,
            advised=advised,
            decided=decided,
            reason=reason,
            now=self.now,
            by=self.by,
            role=self.role,
        )

    def note(self, text: str) -> None:
        actions.note(self.stage.store, self.case, text, now=self.now, by=self.by, role=self.role)

    def source_refuses(self) -> None:
        actions.source_refuses(
            self.stage.store, self.case, now=self.now, by=self.by, role=self.role
        )

    def source_consents(self) -> None:
        actions.source_consents(
            self.stage.store, self.case, now=self.now, by=self.by, role=self.role
        )

    def sample_source(self, specimen: str = "") -> None:
        actions.sample_source(
            self.stage.store, self.case, specimen=specimen, now=self.now, by=self.by,
            role=self.role,
        )  # fmt: skip

    def close(self, reason: str, text: str = "") -> None:
        actions.close(
            self.stage.store,
            self.case,
            reason=reason,
            text=text,
            protocol=self.stage.protocol,
            site=self.stage.site,
            may_leave=self.role == "occupational_physician",
            now=self.now,
            by=self.by,
            role=self.role,
        )

    def situation(self) -> Situation:
        stage = self.stage
        return fold(stage.store.entries(self.case), self.now, stage.protocol.vocabulary)

    def plan(self) -> Plan:
        stage = self.stage
        return assess(self.situation(), stage.protocol, self.now, stage.site)

    def agree_visits(self) -> None:
        """The worker is told the fewest visits that the plan needs."""
        found = visiting(self.plan(), self.situation(), self.stage.site)
        actions.agree_visits(
            self.stage.store, self.case, to_agree(found.planned, found.expected),
            now=self.now, by=self.by, role=self.role,
        )  # fmt: skip

    def miss_visit(self) -> None:
        """The worker did not come to the first agreed visit."""
        today = self.now.astimezone(self.stage.site.zone).date()
        actions.miss_visit(
            self.stage.store, self.case, self.situation().follow_up.visits[0].day, today=today,
            now=self.now, by=self.by, role=self.role,
        )  # fmt: skip

    def contact(self, how: str, outcome: str, text: str = "") -> None:
        actions.contact(
            self.stage.store, self.case, how=how, outcome=outcome, text=text,
            now=self.now, by=self.by, role=self.role,
        )  # fmt: skip

    def agrees(self, to: str, *, agreed: bool = True) -> None:
        actions.worker_agrees(
            self.stage.store, self.case, to, agreed=agreed, now=self.now, by=self.by, role=self.role
        )

    def do(self, *wanted: str) -> None:
        """Carry out actions of the plan by id, also those that may turn out not to be needed.

        Raises:
            ValueError: the plan does not hold one of them.
        """
        by_id = {action.id: action for action in self.plan().actions}
        for id_ in wanted:
            if id_ not in by_id:
                raise ValueError(f"the plan holds no {id_!r}; it holds {', '.join(by_id)}")
            self._carry_out(by_id[id_])

    def from_shelf(self, place: str, product: str, lot: str, days: int = 0) -> None:
        """Give the first dose of prophylaxis from a shelf; with `days`, hand out tablets for so many."""
        name = next(p.name for p in self.stage.site.stocked.products if p.id == product)
        told: dict[str, Any] = {"now": self.now, "by": self.by, "role": self.role}
        store, case = self.stage.store, self.case

        def record() -> Any:
            if days:
                return actions.hand_out(store, case, product=name, days=days, batch=lot, **told)
            return actions.give_dose(
                store, case, FIRST_DOSE, product=name, amount="1 tablet", batch=lot, days=5, **told
            )

        actions.give_from_stock(
            self.stage.stock, actions.Taken(place, product, lot), record,
            stocked=self.stage.site.stocked, now=self.now, by=self.by,
            today=self.now.astimezone(self.stage.site.zone).date(),
        )  # fmt: skip

    def on_course(self, act: Callable[..., object], **more: object) -> None:
        """One of the actions of a course, in this scene's moment and name."""
        act(self.stage.store, self.case, now=self.now, by=self.by, role=self.role, **more)

    def do_what_is_due(self, *except_for: str) -> None:
        """Carry out everything that the plan asks for certain and whose window has opened."""
        for action in self.plan().actions:
            earliest = action.window.earliest
            due = action.certain and not action.window.waits_for
            if (
                due
                and action.state in TO_DO
                and (earliest is None or earliest <= self.now)
                and action.id not in except_for
            ):
                self._carry_out(action)

    def _carry_out(self, action: Action) -> None:
        store, case = self.stage.store, self.case
        by, role, now = self.by, self.role, self.now
        if action.id == "assess":
            self.see()
        elif action.kind == "sample":
            actions.take_sample(store, case, action.id, now=now, by=by, role=role)
        elif action.kind == "dose":
            product = self.doses.get(action.id, "invented product")
            actions.give_dose(
                store, case, action.id, product=product, amount=action.amount,
                batch="DEMO-01", now=now, by=by, role=role,
            )  # fmt: skip
        elif action.kind == "ask":
            actions.ask_source(store, case, action=action.id, now=now, by=by, role=role)
        elif action.id == STOP:
            actions.stop_course(
                store, case, reason="source_negative", action=action.id, now=now, by=by, role=role
            )
        elif action.kind == "advice":
            actions.seek_advice(
                store, case, action=action.id, of=self.stage.site.expert_phone.name,
                advice="Told of the facts; agrees with the plan.", now=now, by=by, role=role,
            )  # fmt: skip
        elif action.kind == "first_aid":
            actions.give_first_aid(
                store, case, steps=["as shown"], action=action.id, now=now, by=by, role=role
            )
        else:
            actions.counsel(store, case, action.id, now=now, by=by, role=role)
