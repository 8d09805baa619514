"""Which samples the cases know, kept up to date from the ledger as it grows; and those of the register."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date, datetime

from thimble.actions import IdentityStore
from thimble.clinical.serology.results import Of, Result, current, label_key
from thimble.exchange.hl7v2.model import Patient
from thimble.exchange.known import Person, Registered, Sample
from thimble.ledger.entries import Entry, Kind
from thimble.ledger.fold import SOURCE_STEPS, fold
from thimble.ledger.results.recorded import BASELINE, FOLLOW_UP
from thimble.ledger.standing import standing
from thimble.protocol.protocol import Protocol
from thimble.web.laboratory.register import Register
from thimble.web.store import DjangoStore

SAMPLES = frozenset({Kind.SAMPLE_TAKEN, Kind.SOURCE_SAMPLED})
TOUCH = SAMPLES | {Kind.CORRECTED}
"""Entries after which the samples of a case are read anew."""


class Directory:
    """See `thimble.exchange.known.Known`. It reads each entry of the ledger of cases once."""

    def __init__(
        self,
        store: DjangoStore,
        identities: IdentityStore,
        protocol: Protocol,
        register: Register,
        clock: Callable[[], datetime],
    ) -> None:
        self._store, self._identities, self._protocol = store, identities, protocol
        self._register, self._clock = register, clock
        self._last = 0
        self._cases: set[str] = set()
        self._by_number: dict[str, dict[str, tuple[Sample, ...]]] = {}
        self._numbers: dict[str, set[str]] = {}

    def up_to_date(self) -> Directory:
        """Take in what was written since."""
        touched: set[str] = set()
        for entry in self._store.since(self._last + 1):
            self._last = entry.number
            self._cases.add(entry.case)
            if entry.kind in TOUCH:
                touched.add(entry.case)
        for case in touched:
            self._read(case)
        return self

    def _read(self, case: str) -> None:
        for number in self._numbers.pop(case, set()):
            del self._by_number[number][case]
        found: dict[str, list[Sample]] = {}
        for number, sample in _samples(case, self._store.entries(case), self._protocol):
            found.setdefault(label_key(number), []).append(sample)
        for number, samples in found.items():
            self._by_number.setdefault(number, {})[case] = tuple(samples)
        self._numbers[case] = set(found)

    def samples(self, key: str) -> Sequence[Sample]:
        """See `Known`."""
        return [s for samples in self._by_number.get(key, {}).values() for s in samples]

    def people(self) -> Iterator[Person]:
        """See `Known`."""
        for case in self._cases:
            worker, source = self._identities.worker(case), self._identities.source(case)
            if worker is not None and worker.staff_number and worker.date_of_birth is not None:
                yield Person(case, "worker", worker.staff_number, worker.date_of_birth)
            if source is not None and source.hospital_number and source.date_of_birth is not None:
                yield Person(case, "source", source.hospital_number, source.date_of_birth)

    def born(self, case: str, of: Of) -> date | None:
        """See `Known`."""
        found = self._identities.worker(case) if of == "worker" else self._identities.source(case)
        return None if found is None else found.date_of_birth

    def preliminary(self, sample: Sample, key: tuple[str, ...], at: datetime) -> Result | None:
        """See `Known`."""
        situation = fold(self._store.entries(sample.case), at, self._protocol.vocabulary)
        same = [
            each.result
            for each in situation.results
            if each.result.key == key and each.drawn_for == sample.drawn_for
        ]
        return next(iter(current(same).preliminary), None)

    def drawn(self, key: str) -> Sequence[Registered]:
        """See `Known`."""
        return self._register.drawn(key, self._clock())

    def printed(self, key: str) -> bool:
        """See `Known`."""
        return self._register.printed(key) is not None

    def registered(self, number: str, born: date) -> Sequence[Registered]:
        """See `Known`."""
        return self._register.registered(number, born)

    def speaks_against(self, person: str, patient: Patient) -> str:
        """See `Known`."""
        return self._register.speaks_against(person, patient)


def _samples(
    case: str, entries: Sequence[Entry], protocol: Protocol
) -> Iterable[tuple[str, Sample]]:
    baseline = protocol.named_actions.get("baseline_samples", ())
    for found in standing(entries).values():
        if found is None or found.entry.kind not in SAMPLES:
            continue
        action = str(found.body.get("action", ""))
        if found.entry.kind in SOURCE_STEPS:
            sample = Sample(case, "source", "", action)
        else:
            drawn_for = BASELINE if action in baseline else FOLLOW_UP
            sample = Sample(case, "worker", drawn_for, action)
        for key in ("request", "specimen"):
            if number := str(found.body.get(key, "")):
                yield number, sample
