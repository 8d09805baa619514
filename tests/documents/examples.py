"""One invented hospital and one invented case, on which every sheet is tried."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from functools import cache
from importlib.resources import files
from pathlib import Path
from zoneinfo import ZoneInfo

from thimble.clinical.site import Site, parse_site
from thimble.clinical.vocabulary import vocabulary
from thimble.ledger.assess import assess
from thimble.ledger.plan import Plan
from thimble.ledger.situation import KnownFact, Situation
from thimble.protocol.protocol import Protocol, load_protocol
from thimble.protocol.vocabulary import Value

ZONE = ZoneInfo("Europe/Zurich")
OCCURRED = datetime(2026, 11, 26, 2, 40, tzinfo=ZONE)
NOW = OCCURRED + timedelta(hours=1, minutes=5)
CASE = "Q7KM-24"
DIGEST = "9f2c7be1440ad3c5" * 4

FACTS: dict[str, Value] = {
    "route": "percutaneous",
    "fluid": "blood",
    "device": "hollow_bore_needle",
    "depth": "moderate",
    "source_access": "testable",
    "source_hiv": "positive",
    "source_hiv_load": "detectable",
    "source_hbsag": "positive",
    "source_hcv_rna": "positive",
    "source_anti_hcv": "positive",
    "worker_hiv": "negative",
    "worker_hbv_infection": "none_known",
    "worker_hbv_series": "none",
    "worker_on_prep": "no",
    "worker_weight": 72.0,
}


SHIPPED = tuple(
    id_
    for id_ in ("us", "uk")
    if Path(str(files("thimble") / "protocols" / id_ / "protocol.toml")).exists()
)


@cache
def protocol(id_: str = "us") -> Protocol:
    return load_protocol(Path(str(files("thimble") / "protocols" / id_)), vocabulary())


def site(**changes: object) -> Site:
    weekdays = ("monday", "tuesday", "wednesday", "thursday", "friday")
    built = parse_site(
        {
            "name": "Lindenau Invented Hospital",
            "short_name": "Lindenau",
            "address_lines": ["1 Lime Walk", "Lindenau"],
            "base_url": "https://thimble.lindenau.example",
            "zone": "Europe/Zurich",
            "holidays_country": "CH",
            "protocol": "us",
            "invented": True,
            "occupational_medicine": {
                "name": "Occupational Medicine",
                "where": "House 4, ground floor",
                "phone": "+41 00 000 40 00",
                "hours": {day: ["08:00-12:00", "13:00-16:30"] for day in weekdays},
            },
            "emergency_department": {
                "name": "Emergency Department",
                "where": "House 1, street level",
                "phone": "+41 00 000 11 11",
            },
            "expert_phone": {"name": "Infectious diseases on call", "number": "+41 00 000 22 22"},
            "laboratory_phone": "+41 00 000 33 33",
            "emergency_phone": "144",
            "consent_wording": "May we test your blood? You may say no; your care stays the same.",
            "first_aid_notes": ["Eye-wash bottles hang beside every sluice-room door."],
        }
    )
    return replace(built, **changes)  # type: ignore[arg-type]


def situation(facts: dict[str, Value] | None = None, **changes: object) -> Situation:
    known = FACTS if facts is None else facts
    built = Situation(
        case=CASE,
        as_of=NOW,
        occurred_at=OCCURRED,
        occurred_at_precision="minute",
        reported_at=OCCURRED + timedelta(minutes=12),
        facts={
            id_: KnownFact(id_, value, "emergency clinician", OCCURRED + timedelta(minutes=20), 3)
            for id_, value in known.items()
        },
        cannot_be_known={},
        done={},
        source_steps={"asked": OCCURRED + timedelta(minutes=50)},
        signed=(),
        departures=(),
        closed_at=None,
        closed_reason="",
        entries=19,
        last_digest=DIGEST,
        last_number=4019,
    )
    return replace(built, **changes)  # type: ignore[arg-type]


def plan(of: Situation | None = None, id_: str = "us", now: datetime = NOW) -> Plan:
    return assess(of or situation(), protocol(id_), now, site())


def words_in(data: object) -> str:
    """Every text of a document's data, one a line."""
    if isinstance(data, str):
        return data
    if isinstance(data, dict):
        return "\n".join(words_in(value) for value in data.values())
    if isinstance(data, list | tuple):
        return "\n".join(words_in(value) for value in data)
    return str(data)
