"""The invented hospital's settings and staff. Nothing here exists; telephone numbers are fictional."""

from __future__ import annotations

from dataclasses import dataclass

PASSWORD = "thimble-demo"  # noqa: S105 (printed on the start page of the demo, on purpose)

SITE = """\
# Quillhaven General Hospital does not exist. Every person, number and case in this demo is invented.
name = "Quillhaven General Hospital"
short_name = "Quillhaven"
address_lines = ["1 Harbour Rise", "Quillhaven"]
base_url = "{base_url}"
zone = "America/New_York"
holidays_country = "US"
protocol = "us"
invented = true
laboratory_phone = "555-0148"
emergency_phone = "555-0100"
consent_wording = ""
first_aid_notes = []

[[closed_days]]
date = 2026-11-27
reason = "staff day"

[occupational_medicine]
name = "Occupational medicine"
where = "House C, ground floor, door C 04"
phone = "555-0142"

[occupational_medicine.hours]
monday = ["08:00-12:00", "13:00-16:30"]
tuesday = ["08:00-12:00", "13:00-16:30"]
wednesday = ["08:00-12:00", "13:00-16:30"]
thursday = ["08:00-12:00", "13:00-16:30"]
friday = ["08:00-15:00"]
saturday = []
sunday = []

[messages]
appointment = "Appointment, occupational medicine"
place = "House C, ground floor, door C 04"
sender = "visits@quillhaven.example"
days_ahead = 2

[emergency_department]
name = "Emergency department"
where = "House A, entrance from the ambulance yard"
phone = "555-0101"

[expert_phone]
name = "HIV physician on call"
number = "555-0177"
"""


@dataclass(frozen=True, slots=True)
class Member:
    """Somebody who signs in to the demo. `role` is a role of the web screens."""

    sign_in: str
    name: str
    role: str
    works: str


STAFF = (
    Member("night", "Dr. Odile Farrant", "emergency_clinician", "emergency department, nights"),
    Member("nurse", "Tamsin Vey", "occupational_nurse", "occupational medicine"),
    Member("physician", "Dr. Ruben Achterberg", "occupational_physician", "occupational medicine"),
    Member("safety", "Ilse Morrow", "safety_officer", "safety: no identities"),
    Member("admin", "Piet Lanyon", "administrator", "accounts: no clinical data"),
)
