"""Which row belongs to what (structure of ORU^R01, HL7 v2.3.1 to 2.5.1)."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from exchange.samples import OBR, PID, msh, obx, oru, read, row
from thimble.exchange.hl7v2.faults import CaseNotification, Unreadable
from thimble.exchange.hl7v2.message import read_bytes
from thimble.exchange.hl7v2.model import Code, Identifier, Name
from thimble.exchange.hl7v2.moments import read_moment

ZONE = ZoneInfo("Europe/Zurich")
SECOND_OBR = "OBR|2|REQ-2|LAB-2|HCV^Hepatitis C^L"
SPM = "SPM|1|S-1&WARD^S-9&LAB||119297000^Blood^SCT|||||||||||||202603020255|202603020330"


def test_the_header_the_person_and_the_order_are_read() -> None:
    message = read(msh(), PID, "PV1|1|E|||||||||||||||||V-9", "ORC|RE||||CM", OBR, obx("Negative"))

    (patient,) = message.patients
    (order,) = patient.orders
    assert message.sender.key == "LIS|INVENTED LAB"
    assert (message.control_id, message.version, message.processing_id) == ("C1", "2.5.1", "P")
    assert patient.ids == (
        Identifier("M-4711", "INVENTED&1.2.3&ISO", "MR"),
        Identifier("E-12", "INVENTED", "EI"),
    )
    assert patient.names == (Name("Muster", "Ada", "M"),)
    assert patient.birth_date
    assert patient.birth_date.day == date(1980, 2, 29)
    assert (patient.sex, patient.visit) == ("F", "V-9")
    assert (order.placer, order.filler) == (Identifier("REQ-1", "WARD"), Identifier("LAB-1", "LAB"))
    assert (order.control, order.order_status, order.status) == ("RE", "CM", "F")
    assert order.test.codes == (Code("SEROLOGY", "Serology", "L"),)


def test_order_numbers_are_taken_from_orc_where_obr_has_none() -> None:
    message = read(msh(), PID, "ORC|RE|P-1|F-1", "OBR|1|||X", "OBR|2|P-2||X")

    first, second = message.patients[0].orders
    assert (first.placer, first.filler) == (Identifier("P-1"), Identifier("F-1"))
    # The second OBR stands below no ORC of its own.
    assert (second.placer, second.filler) == (Identifier("P-2"), None)


def test_every_person_keeps_the_own_orders() -> None:
    other = "PID|2||M-2^^^INVENTED^MR||Beispiel^Otto"

    message = read(msh(), PID, OBR, obx("Negative"), other, SECOND_OBR, obx("Positive"))

    told = [
        (patient.names[0].family, order.observations[0].words)
        for patient in message.patients
        for order in patient.orders
    ]
    assert told == [("Muster", "Negative"), ("Beispiel", "Positive")]


def test_a_row_of_the_next_person_never_falls_to_the_order_of_the_one_before() -> None:
    with pytest.raises(Unreadable, match="OBX number 2 stands below no order"):
        read(msh(), PID, OBR, obx("Negative"), "PID|2||M-2", obx("Positive"))


def test_rows_after_the_specimen_describe_the_specimen() -> None:
    message = read(msh(), PID, OBR, obx("Negative"), SPM, obx("29"), SECOND_OBR, obx("Positive"))

    first, second = message.patients[0].orders
    assert [each.words for each in first.observations] == ["Negative"]
    assert [each.words for each in first.specimens[0].observations] == ["29"]
    assert [each.words for each in second.observations] == ["Positive"]
    assert first.specimen_numbers == (Identifier("S-1", "WARD"), Identifier("S-9", "LAB"))
    assert second.specimens == ()


def test_rows_that_repeat_their_number_are_all_kept() -> None:
    message = read(msh(), PID, OBR, obx("Negative"), obx("Positive"))

    assert [each.words for each in message.patients[0].orders[0].observations] == [
        "Negative",
        "Positive",
    ]


def test_a_note_belongs_to_the_segment_right_above() -> None:
    message = read(
        msh(), PID, "NTE|1|L|person", "NK1|1", "NTE|1||kin", "ORC|RE", "NTE|1||common", OBR,
        "NTE|1||order", obx("Negative"), "NTE|1||row", "NTE|2||row too~again", obx("Positive"),
        SPM, "NTE|1||specimen", obx("29"), "NTE|1||of the specimen's row", "ZXX|1", "NTE|1||stray",
    )  # fmt: skip

    (patient,) = message.patients
    (order,) = patient.orders
    first, second = order.observations
    assert [note.lines for note in patient.notes] == [("person",), ("kin",)]
    assert patient.notes[0].source == "L"
    assert [note.lines for note in order.notes] == [("common",), ("order",)]
    assert [note.lines for note in first.notes] == [("row",), ("row too", "again")]
    assert second.notes == ()
    assert [n.lines for n in order.specimens[0].observations[0].notes] == [
        ("of the specimen's row",)
    ]
    assert [note.lines for note in message.notes] == [("specimen",), ("stray",)]


def test_escapes_are_undone_after_splitting_so_a_text_shifts_nothing() -> None:
    message = read(msh(), PID, OBR, obx(r"1\S\128 a\T\b \F\ ", test="X^a\\S\\b^L"))

    (observation,) = message.patients[0].orders[0].observations
    assert observation.values == (("1^128 a&b | ",),)
    assert observation.test.codes == (Code("X", "a^b", "L"),)
    assert observation.status == "F"


def test_the_delimiters_are_those_that_the_message_declares() -> None:
    raw = oru(obx("a~b")).decode().translate(str.maketrans("|^~\\&", "#*!?%"))

    message = read_bytes(raw.encode())

    assert message.patients[0].ids[0] == Identifier("M-4711", "INVENTED&1.2.3&ISO", "MR")
    assert message.patients[0].orders[0].observations[0].values == (("a",), ("b",))


def test_a_fifth_delimiter_is_no_fault() -> None:
    message = read_bytes(oru().replace(b"^~\\&", b"^~\\&#", 1))

    assert message.patients[0].orders[0].observations[0].words == "Negative"


def test_a_value_keeps_what_the_library_would_trim_at_the_end_of_a_message() -> None:
    message = read(msh(), PID, OBR, "OBX|1|ST|X||a\u00a0")

    assert message.patients[0].orders[0].observations[0].values == (("a\u00a0",),)


@pytest.mark.parametrize(
    "test", ["68991-9^Case notification^LN", "X^Case^L^68991-9^Notification^LN"]
)
def test_a_case_notification_by_its_order_is_no_result(test: str) -> None:
    with pytest.raises(CaseNotification, match="OBR-4"):
        read(msh(), PID, f"OBR|1|||{test}", obx("Positive"))


def test_a_case_notification_by_its_profile_is_no_result() -> None:
    with pytest.raises(CaseNotification, match="MSH-21"):
        read(msh(profile="NOTF_ORU_v3.0^PHINProfileID^1.2.3^ISO"), PID, OBR)


@pytest.mark.parametrize(
    ("segments", "reason"),
    [
        ((PID, OBR), "does not begin with MSH"),
        (("MSH|^~|LIS",), "do not declare the delimiters"),
        (("MSH|^^^^|LIS",), "do not declare the delimiters"),
        (("MSHA^~BC|LIS",), "do not declare the delimiters"),
        (("MSH",), "do not declare the delimiters"),
        ((msh(kind="ADT^A01"), PID), "MSH-9 is not ORU"),
        ((msh(), PID), "no order"),
        ((msh(), PID, obx("Negative")), "OBX number 1 stands below no order"),
        ((msh(), PID, OBR, "and so on"), "Line 4 is not a segment"),
        ((msh(), PID, OBR, "OBXX|1"), "Line 4 is not a segment"),
        ((msh(), PID, OBR, msh()), "second header begins in line 4"),
        ((msh(), PID, OBR, "DSC|1"), "goes on in another one"),
    ],
)
def test_what_cannot_be_read_is_refused_with_the_reason(
    segments: tuple[str, ...], reason: str
) -> None:
    with pytest.raises(Unreadable, match=reason):
        read(*segments)


def test_a_shifted_row_keeps_no_value_and_no_status() -> None:
    """Two separators too many before the value: seen in a public test message."""
    observation = read(msh(), PID, OBR, "OBX|1|ST|X^a|b|||Reactive||||||F")

    (found,) = observation.patients[0].orders[0].observations
    assert (found.values, found.status) == ((), "")


def test_ten_thousand_rows_are_read() -> None:
    rows = [obx("Negative", number=n) for n in range(10_000)]

    assert len(read_bytes(oru(*rows)).patients[0].orders[0].observations) == 10_000


def test_an_embedded_document_of_some_megabytes_is_read() -> None:
    document = "QUJD" * 1_000_000

    found = row(f"^application^pdf^Base64^{document}", kind="ED")

    assert found.values[0][4] == document


# -- times ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "first", "width"),
    [
        ("2026", "2026-01-01T00:00:00", timedelta(days=365)),
        ("202602", "2026-02-01T00:00:00", timedelta(days=28)),
        ("20240229", "2024-02-29T00:00:00", timedelta(days=1)),
        ("2026030203", "2026-03-02T03:00:00", timedelta(hours=1)),
        ("202603020310", "2026-03-02T03:10:00", timedelta(minutes=1)),
        ("20260302031059", "2026-03-02T03:10:59", timedelta(seconds=1)),
        ("20260302031059.1234", "2026-03-02T03:10:59", timedelta(seconds=1)),
    ],
)
def test_a_time_is_as_exact_as_it_was_written(written: str, first: str, width: timedelta) -> None:
    moment = read_moment(written)

    assert moment is not None
    assert moment.local.isoformat() == first
    assert moment.upto - moment.local == width


@pytest.mark.parametrize(
    "written",
    ["", '""', "20260230", "20261301", "2026030224", "26", "2026-03-02", "yesterday", "20260302031",
     "00000101", "99991231", "20260302+2500", "２０２６"],
)  # fmt: skip
def test_what_is_no_time_is_none(written: str) -> None:
    assert read_moment(written) is None


def test_an_offset_of_its_own_makes_an_instant() -> None:
    moment = read_moment("202603020310-0500")

    assert moment
    assert moment.span(ZONE)[0] == datetime(2026, 3, 2, 8, 10, tzinfo=UTC)


def test_without_an_offset_the_time_is_the_site_s() -> None:
    moment = read_moment("202603020310")

    assert moment
    assert moment.span(ZONE) == (
        datetime(2026, 3, 2, 3, 10, tzinfo=ZONE),
        datetime(2026, 3, 2, 3, 11, tzinfo=ZONE),
    )


def test_the_hour_that_is_written_twice_a_year_may_be_either() -> None:
    moment = read_moment("202610250230")

    assert moment
    first, last = moment.span(ZONE)
    assert first == datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    assert last == datetime(2026, 10, 25, 1, 31, tzinfo=UTC)


def test_a_sender_s_own_offset_is_held_possible_too() -> None:
    message = read(msh(at="20260702040000+0100"), PID, "OBR|1||L|X|||202607020310")

    moment = message.patients[0].orders[0].collected_at
    assert moment
    first, last = moment.span(ZONE)
    assert first == datetime(2026, 7, 2, 1, 10, tzinfo=UTC)  # summer time in the site's zone
    assert last == datetime(2026, 7, 2, 2, 11, tzinfo=UTC)  # what the header's offset says
