"""Site settings: what is read, and each fault as a sentence."""

from datetime import date, datetime, time
from zoneinfo import ZoneInfo

import pytest

from thimble.clinical.site import (
    ClosedDay,
    Expert,
    Hours,
    Place,
    Session,
    SiteError,
    load_site,
    parse_site,
)


def test_a_site_is_read_as_it_was_written(site):
    assert (site.name, site.short_name) == ("Invented Hospital of Lindenfurt", "Lindenfurt")
    assert site.zone == ZoneInfo("Europe/Zurich")
    assert (site.holidays_country, site.holidays_subdivision) == ("CH", "ZH")
    assert (site.protocol, site.invented) == ("us", True)
    assert site.closed_days == (
        ClosedDay(date(2026, 6, 5), "team day"),
        ClosedDay(date(2026, 12, 24), "Christmas Eve"),
    )
    week = site.occupational_medicine.hours.week
    assert len(week) == 7
    assert week[0] == (Session(time(8), time(12)), Session(time(13), time(16, 30)))
    assert (week[2], week[5], week[6]) == ((Session(time(8), time(12)),), (), ())
    assert site.emergency_department == Place(
        "Emergency department", "Building A", "4444", Hours(always=True)
    )
    assert site.expert_phone == Expert("Infectious diseases on call", "4499")
    assert (site.laboratory_phone, site.emergency_phone) == ("4410", "+41 00 000 00 00")
    assert (site.consent_wording, site.first_aid_notes) == ("", ())
    assert site.address_lines == ("1 Invented Street", "Lindenfurt")
    assert site.base_url == "https://thimble.example"


def test_only_what_may_be_empty_may_be_left_out(settings):
    for key in ("consent_wording", "first_aid_notes", "closed_days", "holidays_subdivision"):
        del settings[key]

    site = parse_site(settings)

    assert (site.consent_wording, site.first_aid_notes) == ("", ())
    assert (site.closed_days, site.holidays_subdivision) == ((), "")


@pytest.mark.parametrize(
    "key",
    ["name", "short_name", "address_lines", "base_url", "zone", "holidays_country", "protocol",
     "invented", "occupational_medicine", "emergency_department", "expert_phone",
     "laboratory_phone", "emergency_phone"],
)  # fmt: skip
def test_anything_else_that_is_left_out_is_told(settings, key):
    del settings[key]

    with pytest.raises(SiteError) as refused:
        parse_site(settings, where="site.toml")
    assert refused.value.faults == (f"site.toml: {key} is missing",)


def test_the_rule_set_of_fitness_may_be_named_and_is_asked_where_it_is_not(settings):
    assert parse_site(settings).fitness_rule_set == ""
    assert parse_site(settings | {"fitness_rule_set": "uk_2019"}).fitness_rule_set == "uk_2019"
    with pytest.raises(SiteError, match=r"fitness_rule_set is one of uk_2023, .*; found 'uk'"):
        parse_site(settings | {"fitness_rule_set": "uk"})


FAULTS = [
    (("name",), "", "site: name is a text that is not empty; found ''"),
    (("name",), 3, "site: name is a text that is not empty; found 3"),
    (("consent_wording",), 3, "site: consent_wording is a text; found 3"),
    (("address_lines",), [], "site: address_lines is a list of texts, none of them empty"),
    (("address_lines",), ["a", " "], "site: address_lines is a list of texts"),
    (("first_aid_notes",), "wash", "site: first_aid_notes is a list of texts"),
    (("zone",), "Europe/Atlantis", "site: zone is the name of a time zone"),
    (("zone",), "../etc/passwd", "site: zone is the name of a time zone"),
    (("zone",), "", "site: zone is the name of a time zone"),
    (("zone",), 1, "site: zone is the name of a time zone"),
    (("holidays_country",), "XX", "site: holidays_country is a country's two-letter code"),
    (("holidays_country",), "ch", "site: holidays_country is a country's two-letter code"),
    (("holidays_subdivision",), "XX", "site: holidays_subdivision is a part of CH; allowed: AG"),
    (("protocol",), "de", "site: protocol is one of uk, us; found 'de'"),
    (("invented",), "yes", "site: invented is true or false; found 'yes'"),
    (("laboratory_phone",), "ask Joe", "site: laboratory_phone is a telephone number"),
    (("emergency_phone",), "", "site: emergency_phone is a telephone number"),
    (("emergency_phone",), "4" * 41, "site: emergency_phone is a telephone number"),
    (("base_url",), "thimble.example", "site: base_url is a web address"),
    (("base_url",), "https://thimble.example/", "site: base_url is a web address"),
    (("base_url",), "ftp://thimble.example", "site: base_url is a web address"),
    (("base_url",), "https://a b", "site: base_url is a web address"),
    (("base_url",), "javascript:alert(1)", "site: base_url is a web address"),
    (("closed_days",), {"date": 1}, "site: closed_days is a list of tables"),
    (("closed_days",), [date(2026, 1, 1)], "site: closed_days is a list of tables"),
    (
        ("closed_days", 0, "date"),
        "2026-12-24",
        "site: closed_days[1].date is a date without quotes",
    ),
    (
        ("closed_days", 0, "date"),
        datetime(2026, 1, 1),  # noqa: DTZ001 - what TOML reads from a local date-time
        "site: closed_days[1].date is a date without quotes",
    ),
    (("closed_days", 0, "date"), date(2026, 6, 5), "site: closed_days[2].date is listed twice"),
    (("closed_days", 1, "reason"), "", "site: closed_days[2].reason is a text that is not empty"),
    (
        ("closed_days", 1, "why"),
        "x",
        "site: closed_days[2].why is not a key here; allowed: date, reason",
    ),
    (("extra",), 1, "site: extra is not a key here; allowed: name, short_name"),
    (("occupational_medicine",), "C", "site: occupational_medicine is a table; found 'C'"),
    (("occupational_medicine", "where"), "", "site: occupational_medicine.where is a text"),
    (("occupational_medicine", "fax"), "1", "site: occupational_medicine.fax is not a key here"),
    (("occupational_medicine", "hours"), "always", "site: occupational_medicine.hours is a table"),
    (("occupational_medicine", "hours"), {}, "site: occupational_medicine.hours names no day"),
    (
        ("occupational_medicine", "hours", "funday"),
        ["08:00-12:00"],
        "site: occupational_medicine.hours.funday is not a key here; allowed: monday, tuesday",
    ),
    (
        ("occupational_medicine", "hours", "monday"),
        "08:00-12:00",
        "site: occupational_medicine.hours.monday is a list of opening hours",
    ),
    *(
        (
            ("occupational_medicine", "hours", "monday"),
            [text],
            "site: occupational_medicine.hours.monday is a list of opening hours",
        )
        for text in ("8:00-12:00", "08:00-24:00", "08:60-12:00", "08:00–12:00", "08:00", 8)
    ),
    *(
        (
            ("occupational_medicine", "hours", "monday"),
            [text],
            "site: occupational_medicine.hours.monday closes after it opens",
        )
        for text in ("12:00-08:00", "08:00-08:00")
    ),
    *(
        (
            ("occupational_medicine", "hours", "monday"),
            sessions,
            "site: occupational_medicine.hours.monday has its hours in order and apart",
        )
        for sessions in (
            ["13:00-16:00", "08:00-12:00"],
            ["08:00-12:00", "11:59-16:00"],
            ["08:00-12:00", "12:00-16:00"],
        )
    ),
    (
        ("emergency_department", "hours"),
        {"monday": ["08:00-12:00"]},
        "site: emergency_department.hours is not a key here: the emergency department is always open",
    ),
    (("expert_phone", "number"), "?", "site: expert_phone.number is a telephone number"),
    (("expert_phone", "name"), "", "site: expert_phone.name is a text that is not empty"),
    (("expert_phone", "title"), "Dr", "site: expert_phone.title is not a key here"),
    (("expert_phone",), "4499", "site: expert_phone is a table; found '4499'"),
]


@pytest.mark.parametrize(("path", "value", "sentence"), FAULTS)
def test_a_fault_is_one_sentence_with_its_key_and_what_is_allowed(settings, path, value, sentence):
    *way, last = path
    table = settings
    for key in way:
        table = table[key]
    table[last] = value

    with pytest.raises(SiteError) as refused:
        parse_site(settings)
    (fault,) = refused.value.faults
    assert fault.startswith(sentence)


def test_all_faults_are_told_at_once():
    with pytest.raises(SiteError) as refused:
        parse_site({"nam": "x", "zone": "Mars"})

    assert len(refused.value.faults) == 14  # twelve missing, one zone, one unknown key
    assert all(fault in str(refused.value) for fault in refused.value.faults)


def test_an_hour_apart_by_a_minute_is_two_sessions(settings):
    settings["occupational_medicine"]["hours"]["monday"] = ["08:00-12:00", "12:01-16:00"]

    assert len(parse_site(settings).occupational_medicine.hours.week[0]) == 2


@pytest.mark.parametrize(
    "phone", ["4400", "+41 00 000 00 00", "(00) 000-00", "*144#", "000 ext. 41"]
)
def test_telephone_numbers_of_a_hospital(settings, phone):
    settings["laboratory_phone"] = phone

    assert parse_site(settings).laboratory_phone == phone


@pytest.mark.parametrize("url", ["http://127.0.0.1:8000", "https://a.example/thimble"])
def test_web_addresses_of_a_hospital(settings, url):
    settings["base_url"] = url

    assert parse_site(settings).base_url == url


def test_a_site_is_loaded_from_a_file(tmp_path):
    from clinical.conftest import SITE_TOML

    path = tmp_path / "site.toml"
    path.write_text(SITE_TOML, encoding="utf-8")

    assert load_site(path).short_name == "Lindenfurt"


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (None, "cannot be read"),
        (b"name = ", "is not TOML"),
        (b"\xff", "is not UTF-8"),
        (b"", "site.toml: name is missing"),
    ],
)
def test_a_file_that_cannot_be_understood_is_refused_in_a_sentence(tmp_path, content, sentence):
    path = tmp_path / "site.toml"
    if content is not None:
        path.write_bytes(content)

    with pytest.raises(SiteError, match=sentence):
        load_site(path)
