"""An invented hospital. Nothing in it exists."""

import tomllib

import pytest

from thimble.clinical.site import parse_site

SITE_TOML = """
name = "Invented Hospital of Lindenfurt"
short_name = "Lindenfurt"
address_lines = ["1 Invented Street", "Lindenfurt"]
base_url = "https://thimble.example"
zone = "Europe/Zurich"
holidays_country = "CH"
holidays_subdivision = "ZH"
protocol = "us"
invented = true
laboratory_phone = "4410"
emergency_phone = "+41 00 000 00 00"
consent_wording = ""
first_aid_notes = []

closed_days = [
  { date = 2026-12-24, reason = "Christmas Eve" },
  { date = 2026-06-05, reason = "team day" },
]

[occupational_medicine]
name = "Occupational medicine"
where = "Building C, ground floor"
phone = "4400"
[occupational_medicine.hours]
monday = ["08:00-12:00", "13:00-16:30"]
tuesday = ["08:00-12:00", "13:00-16:30"]
wednesday = ["08:00-12:00"]
thursday = ["08:00-12:00", "13:00-16:30"]
friday = ["08:00-15:00"]

[emergency_department]
name = "Emergency department"
where = "Building A"
phone = "4444"

[expert_phone]
name = "Infectious diseases on call"
number = "4499"
"""


@pytest.fixture
def settings():
    return tomllib.loads(SITE_TOML)


@pytest.fixture
def site(settings):
    return parse_site(settings)
