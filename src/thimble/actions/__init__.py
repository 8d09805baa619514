"""The only code that writes. Each action reads a case, decides, and appends in one transaction."""

from thimble.actions._append import NoSuchCase, Refused
from thimble.actions.closing import close, reopen
from thimble.actions.course import (
    change_course,
    hand_out,
    miss_doses,
    receive_advice,
    resume_course,
    review_course,
    stop_course,
    tell_side_effect,
)
from thimble.actions.decide import Departing, PlanMoved, correct, depart, sign_plan
from thimble.actions.fitness import FitnessVerdict, decide_fitness, decide_fitness_of_person
from thimble.actions.follow_up import (
    agree_visits,
    contact,
    decide_reaching,
    doses_on_record,
    miss_visit,
    offer,
    worker_agrees,
)
from thimble.actions.identity import (
    IdentityStore,
    MemoryIdentityStore,
    SourceIdentity,
    WorkerIdentity,
)
from thimble.actions.linking import open_patient_case
from thimble.actions.record import (
    ask_source,
    assessed,
    cannot_be_known,
    counsel,
    give_dose,
    give_first_aid,
    learn_facts,
    note,
    receive_result,
    sample_source,
    seek_advice,
    source_consents,
    source_lacks_capacity,
    source_refuses,
    take_sample,
)
from thimble.actions.reference import new_references, read_reference
from thimble.actions.report import Reported, report
from thimble.actions.results import Doubtful, record_results
from thimble.actions.source import escalate, find_status, settle_without, source_step
from thimble.actions.stock import AgainstIt, MemoryStock, Taken, give_from_stock, move_stock

__all__ = [
    "AgainstIt",
    "Departing",
    "Doubtful",
    "FitnessVerdict",
    "IdentityStore",
    "MemoryIdentityStore",
    "MemoryStock",
    "NoSuchCase",
    "PlanMoved",
    "Refused",
    "Reported",
    "SourceIdentity",
    "Taken",
    "WorkerIdentity",
    "agree_visits",
    "ask_source",
    "assessed",
    "cannot_be_known",
    "change_course",
    "close",
    "contact",
    "correct",
    "counsel",
    "decide_fitness",
    "decide_fitness_of_person",
    "decide_reaching",
    "depart",
    "doses_on_record",
    "escalate",
    "find_status",
    "give_dose",
    "give_first_aid",
    "give_from_stock",
    "hand_out",
    "learn_facts",
    "miss_doses",
    "miss_visit",
    "move_stock",
    "new_references",
    "note",
    "offer",
    "open_patient_case",
    "read_reference",
    "receive_advice",
    "receive_result",
    "record_results",
    "reopen",
    "report",
    "resume_course",
    "review_course",
    "sample_source",
    "seek_advice",
    "settle_without",
    "sign_plan",
    "source_consents",
    "source_lacks_capacity",
    "source_refuses",
    "source_step",
    "stop_course",
    "take_sample",
    "tell_side_effect",
    "worker_agrees",
]
