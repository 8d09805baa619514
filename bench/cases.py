"""Invented cases in every state, written by calling actions alone. Seeded: the same each time."""

from __future__ import annotations

import random
from contextlib import suppress
from datetime import datetime, timedelta

from thimble import actions
from thimble.actions.identity import IdentityStore, WorkerIdentity
from thimble.clinical.site import Site
from thimble.ledger.store import LedgerStore
from thimble.protocol import Protocol
from thimble.protocol.vocabulary import Value

NAMES = ("Alma", "Bruno", "Clara", "Dario", "Elif", "Fritz", "Gita", "Hana", "Ivo", "Jana", "Émile")
FAMILIES = ("Sample", "Inventio", "Muster", "Beispiel", "Exemplar", "Fictus", "Nomen", "Nescio")
PLACES = ("Theatre 2", "Ward 4 North", "Intensive care", "Emergency department", "Laboratory", "")
TASKS = ("Taking blood", "Suturing", "Clearing away", "Giving an injection", "")
EXPOSURES: tuple[dict[str, Value], ...] = (
    {"route": "percutaneous", "fluid": "blood", "device": "hollow_bore_needle"},
    {"route": "percutaneous", "fluid": "blood", "device": "solid_needle"},
    {"route": "percutaneous", "fluid": "bloody_fluid", "device": "blade"},
    {"route": "mucous_membrane", "fluid": "blood", "device": "none"},
    {"route": "non_intact_skin", "fluid": "amniotic", "device": "none"},
    {"route": "human_bite", "fluid": "saliva", "device": "none"},
    {"route": "percutaneous", "fluid": "unknown", "device": "hollow_bore_needle"},
)
WORKERS: tuple[dict[str, Value], ...] = (
    {
        "worker_hbv_infection": "none_known",
        "worker_hbv_series": "two_complete",
        "worker_hbv_response": "non_responder",
        "worker_hiv": "negative",
    },
    {"worker_hbv_infection": "none_known", "worker_hbv_series": "none", "worker_hiv": "negative"},
    {
        "worker_hbv_infection": "none_known",
        "worker_hbv_series": "one_complete",
        "worker_hbv_response": "responder",
        "worker_hiv": "negative",
        "worker_on_prep": "no",
    },
    {},
)
AGES_HOURS = (0.4, 1, 3, 9, 20, 40, 70, 80, 150, 300, 700, 1500, 3000, 5000)
STEP = timedelta(minutes=7)
CLINICIAN, NURSE = "u-22222222", "u-33333333"


def build(
    store: LedgerStore,
    identities: IdentityStore | None,
    protocol: Protocol,
    site: Site,
    *,
    count: int,
    now: datetime,
    seed: int = 11,
) -> list[str]:
    """`count` cases up to `now`. Their references, the latest exposure last.

    Time never runs backwards in a ledger, so the steps of all cases are written in order of time.
    """
    draw = random.Random(seed)
    ages = sorted((AGES_HOURS[n % len(AGES_HOURS)] for n in range(count)), reverse=True)
    cases = [
        _Case(store, identities, protocol, site, draw, n, age, now) for n, age in enumerate(ages)
    ]
    steps = sorted(
        ((at, number, turn, step) for number, case in enumerate(cases)
         for turn, (at, step) in enumerate(case.steps)),
        key=lambda each: each[:3],
    )  # fmt: skip
    for at, _, _, step in steps:
        step(at)
    return [case.reference for case in cases]


class _Case:
    """One case: its steps, each with its instant."""

    def __init__(
        self,
        store: LedgerStore,
        identities: IdentityStore | None,
        protocol: Protocol,
        site: Site,
        draw: random.Random,
        number: int,
        age: float,
        now: datetime,
    ) -> None:
        self.store, self.identities = store, identities
        self.protocol, self.site, self.draw, self.number = protocol, site, draw, number
        self.reference = ""
        self.occurred = now - timedelta(hours=age, minutes=draw.randrange(0, 9))
        self.known = draw.random() >= 0.03
        self.facts: dict[str, Value] = {
            **draw.choice(WORKERS),
            "source_access": draw.choice(("testable", "unidentified", "testable", "refuses")),
        }
        depth = draw.randrange(0, 7)
        wanted = [self.report]
        wanted += [self.assess, self.answer] if depth >= 1 else []
        wanted += [self.ask] if depth >= 2 and self.facts["source_access"] == "testable" else []
        wanted += [self.treat] if depth >= 3 else []
        wanted += [self.sign] if depth >= 4 else []
        wanted += [self.result] if depth >= 5 else []
        wanted += [self.close] if age > 1000 and draw.random() < 0.3 else []
        begin = self.occurred + timedelta(minutes=draw.randrange(3, 20))
        self.steps = [(min(now, begin + STEP * turn), step) for turn, step in enumerate(wanted)]

    def report(self, at: datetime) -> None:
        worker = WorkerIdentity(
            name=f"{self.draw.choice(NAMES)} {self.draw.choice(FAMILIES)}",
            staff_number=f"S{10_000 + self.number}",
            phone="0000",
        )
        self.reference = actions.report(
            self.store,
            facts=dict(self.draw.choice(EXPOSURES)),
            occurred_at=self.occurred if self.known else None,
            occurred_at_precision="minute" if self.known else "unknown",
            vocabulary=self.protocol.vocabulary,
            now=at,
            place=self.draw.choice(PLACES),
            task=self.draw.choice(TASKS),
            identities=self.identities,
            worker=None if self.identities is None else worker,
            token=f"invented {self.number}",
        ).case

    def answer(self, at: datetime) -> None:
        actions.learn_facts(
            self.store, self.reference, self.facts, said_by="clinician",
            vocabulary=self.protocol.vocabulary, now=at, by=CLINICIAN, role="emergency_clinician",
        )  # fmt: skip

    def assess(self, at: datetime) -> None:
        actions.assessed(
            self.store, self.reference, now=at, by=CLINICIAN, role="emergency_clinician"
        )
        actions.give_first_aid(
            self.store, self.reference, steps=["Washed with soap and water"], now=at,
            by=CLINICIAN, role="emergency_clinician",
        )  # fmt: skip

    def ask(self, at: datetime) -> None:
        actions.ask_source(
            self.store, self.reference, now=at, by=CLINICIAN, role="emergency_clinician"
        )

    def treat(self, at: datetime) -> None:
        actions.take_sample(
            self.store, self.reference, "baseline_hiv", now=at, by=CLINICIAN,
            role="emergency_clinician",
        )  # fmt: skip
        actions.give_dose(
            self.store, self.reference, "hiv_pep_first_dose", product="Dose of the starter pack",
            now=at, by=CLINICIAN, role="emergency_clinician",
        )  # fmt: skip

    def sign(self, at: datetime) -> None:
        entries = self.store.entries(self.reference)
        actions.sign_plan(
            self.store, self.reference, protocol=self.protocol, site=self.site,
            seen_position=entries[-1].position, now=at, by=CLINICIAN, role="emergency_clinician",
        )  # fmt: skip

    def result(self, at: datetime) -> None:
        facts: dict[str, Value] = {
            "source_hiv": "negative",
            "source_hbsag": self.draw.choice(("negative", "positive")),
        }
        actions.receive_result(
            self.store, self.reference, facts=facts, vocabulary=self.protocol.vocabulary, now=at,
            by=NURSE, role="occupational_nurse",
        )  # fmt: skip

    def close(self, at: datetime) -> None:
        with suppress(actions.Refused):
            actions.close(
                self.store, self.reference, reason="transferred", protocol=self.protocol,
                site=self.site, now=at, text="Followed at home", by=NURSE,
                role="occupational_nurse",
            )  # fmt: skip
