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
fitness_rule_set = "us_shea_2020"
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

[source_patient]
jurisdiction = "us"
registrar = "Medical registrar on call"
registrar_phone = "555-0166"

[expert_phone]
name = "HIV physician on call"
number = "555-0177"

[[stock_places]]
id = "emergency"
name = "Emergency department"

[[stock_places]]
id = "occupational"
name = "Occupational medicine"

[[stock_places]]
id = "ward_4"
name = "Ward 4 North, drug cupboard"

[[stock_products]]
id = "hiv_starter"
name = "HIV starter pack, 5 days: bictegravir/emtricitabine/TAF"
unit = "pack"
gives = ["hiv_pep_first_dose"]
days = 5
amount = "1 tablet"
expiry_lead_days = 60

[[stock_products]]
id = "hiv_rest"
name = "HIV pack, 23 days: bictegravir/emtricitabine/TAF"
unit = "pack"
days = 23
amount = ""
expiry_lead_days = 60

[[stock_products]]
id = "hbv_vaccine"
name = "Hepatitis B vaccine, 20 µg"
unit = "syringe"
gives = ["hbv_vaccine_dose", "hbv_series_dose_2", "hbv_series_dose_3", "hbv_series_last_dose"]
amount = "1 mL IM"
expiry_lead_days = 90
cvx = ["43"]

[[stock_products]]
id = "hbig"
name = "Hepatitis B immunoglobulin, 5 mL"
unit = "vial"
gives = ["hbig_first_dose", "hbig_second_dose"]
amount = ""
expiry_lead_days = 120

[[stock_products]]
id = "tetanus_vaccine"
name = "Tetanus vaccine (Tdap)"
unit = "syringe"
gives = ["tetanus_vaccine_dose"]
amount = "0.5 mL IM"
expiry_lead_days = 90
cvx = ["115"]

[[stock_products]]
id = "mmr_vaccine"
name = "Measles, mumps, rubella vaccine"
unit = "vial"
amount = "0.5 mL"
expiry_lead_days = 90
cvx = ["03"]

[[stock_products]]
id = "tetanus_ig"
name = "Tetanus immunoglobulin 250 IU"
unit = "syringe"
gives = ["tetanus_immunoglobulin_dose"]
amount = "250 IU IM"
expiry_lead_days = 120
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
