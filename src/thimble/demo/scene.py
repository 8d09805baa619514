"""What a story can do: a thin hand on `actions`, with the clock of the moment it is told."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from thimble import actions
from thimble.actions import SourceIdentity, WorkerIdentity
from thimble.clinical.serology import Analyte, Quantity, Result, Status, Word
from thimble.demo.doing import carry_out
from thimble.demo.stage import Moment
from thimble.ledger.follow_up.visiting import to_agree, visiting
from thimble.ledger.plan import TO_DO
from thimble.ledger.prophylaxis.course import FIRST_DOSE
from thimble.protocol import Value


@dataclass
class Scene(Moment):
    """One case while its story is told."""

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
            **self.told,
        )

    def result(self, text: str = "", action: str | None = None, **facts: Value) -> None:
        actions.receive_result(
            self.stage.store,
            self.case,
            facts=facts,
            text=text,
            action=action,
            vocabulary=self.stage.protocol.vocabulary,
            **self.told,
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
            **self.told,
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
        actions.decide_fitness(
            self.stage.store, self.case,
            actions.FitnessVerdict(outcome, restriction, self.today + review_in, reason), facts=facts,
            days={name: self.today - ago for name, ago in sampled.items()},
            today=self.today, **self.told,
        )  # fmt: skip

    def see(self) -> None:
        """A clinician sees the worker."""
        actions.assessed(self.stage.store, self.case, **self.told)

    def correct_report(self, reason: str, **facts: Value) -> None:
        """Set right what the report said; the report stays in the history as it was."""
        actions.correct(
            self.stage.store,
            self.case,
            1,
            reason=reason,
            facts=facts,
            vocabulary=self.stage.protocol.vocabulary,
            **self.told,
        )

    def cannot_know(self, fact: str, reason: str = "") -> None:
        actions.cannot_be_known(
            self.stage.store,
            self.case,
            fact,
            reason=reason,
            vocabulary=self.stage.protocol.vocabulary,
            **self.told,
        )

    def first_aid(self, *steps: str, minutes: float) -> None:
        actions.give_first_aid(
            self.stage.store,
            self.case,
            steps=steps,
            minutes=minutes,
            action="first_aid",
            **self.told,
            happened_at=self.occurred_at,
        )

    def sign(self) -> None:
        actions.sign_plan(
            self.stage.store,
            self.case,
            protocol=self.stage.protocol,
            site=self.stage.site,
            seen_position=len(self.stage.store.entries(self.case)),
            **self.told,
        )

    def depart(self, subject: str, advised: str, decided: str, reason: str) -> None:
        actions.depart(
            self.stage.store,
            self.case,
            subject=subject,
            advised=advised,
            decided=decided,
            reason=reason,
            **self.told,
        )

    def note(self, text: str) -> None:
        actions.note(self.stage.store, self.case, text, **self.told)

    def source_refuses(self) -> None:
        actions.source_refuses(self.stage.store, self.case, **self.told)

    def source_consents(self) -> None:
        actions.source_consents(self.stage.store, self.case, **self.told)

    def sample_source(self, specimen: str = "") -> None:
        actions.sample_source(
            self.stage.store, self.case, specimen=specimen, **self.told,
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
            **self.told,
        )

    def agree_visits(self) -> None:
        """The worker is told the fewest visits that the plan needs."""
        found = visiting(self.plan(), self.situation(), self.stage.site)
        actions.agree_visits(
            self.stage.store, self.case, to_agree(found.planned, found.expected),
            **self.told,
        )  # fmt: skip

    def miss_visit(self) -> None:
        """The worker did not come to the first agreed visit."""
        today = self.today
        actions.miss_visit(
            self.stage.store, self.case, self.situation().follow_up.visits[0].day, today=today,
            **self.told,
        )  # fmt: skip

    def contact(self, how: str, outcome: str, text: str = "") -> None:
        actions.contact(
            self.stage.store, self.case, how=how, outcome=outcome, text=text,
            **self.told,
        )  # fmt: skip

    def agrees(self, to: str, *, agreed: bool = True) -> None:
        actions.worker_agrees(self.stage.store, self.case, to, agreed=agreed, **self.told)

    def do(self, *wanted: str) -> None:
        """Carry out actions of the plan by id, also those that may turn out not to be needed.

        Raises:
            ValueError: the plan does not hold one of them.
        """
        by_id = {action.id: action for action in self.plan().actions}
        for id_ in wanted:
            if id_ not in by_id:
                raise ValueError(f"the plan holds no {id_!r}; it holds {', '.join(by_id)}")
            carry_out(self, by_id[id_])

    def from_shelf(self, place: str, product: str, lot: str, days: int = 0) -> None:
        """Give the first dose of prophylaxis from a shelf; with `days`, hand out tablets for so many."""
        name = next(p.name for p in self.stage.site.stocked.products if p.id == product)
        told, store, case = self.told, self.stage.store, self.case

        def record() -> Any:
            if days:
                return actions.hand_out(store, case, product=name, days=days, batch=lot, **told)
            return actions.give_dose(
                store, case, FIRST_DOSE, product=name, amount="1 tablet", batch=lot, days=5, **told
            )

        actions.give_from_stock(
            self.stage.stock, actions.Taken(place, product, lot), record,
            stocked=self.stage.site.stocked, now=self.now, by=self.by,
            today=self.today,
        )  # fmt: skip

    def on_course(self, act: Callable[..., object], **more: object) -> None:
        """One of the actions of a course, in this scene's moment and name."""
        act(self.stage.store, self.case, **self.told, **more)

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
                carry_out(self, action)
