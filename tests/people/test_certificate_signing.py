"""What is signed, by published vectors and by hand; whatever was changed is refused."""

from __future__ import annotations

import base64
import json
from datetime import date

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given, settings
from hypothesis import strategies as st

from people import ed25519_by_hand
from thimble.people.certificates.checking import Worth, worth_on
from thimble.people.certificates.payload import (
    Payload,
    Presented,
    person_digest,
    presented,
    read_payload,
    square_text,
)
from thimble.people.certificates.signing import (
    Forged,
    from_text,
    key_id,
    key_of,
    key_set,
    public_of,
    read_key_set,
    sign,
    thumbprint,
    to_text,
    verified,
)
from thimble.people.certificates.stating import RESTRICTIONS, Statement
from thimble.people.choices import SCHEMES

RFC_8032 = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b4"
        "6bd25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d"
        "8c387b2eaeb4302aeeb00d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6"
        "594a7c15e9716ed28dc027beceea1ec40a",
    ),
]
"""RFC 8032, section 7.1, tests 1 to 3: private key, public key, message, signature."""

PRIVATE = bytes.fromhex(RFC_8032[0][0])
OTHER = bytes.fromhex(RFC_8032[1][0])
PUBLIC = public_of(PRIVATE)
KEYS = {key_id(PUBLIC): PUBLIC}
NAME, BORN, SALT = "Brindle, Inés", date(1999, 2, 28), bytes(range(16))
PAYLOAD = Payload(
    "C-K7QM-2F49",
    "Lindenfels General Hospital",
    person_digest(NAME, BORN, SALT),
    Statement(exposure_prone="cleared:uk:3"),
    date(2026, 3, 3),
    date(2027, 3, 3),
)
PROOF = sign(PAYLOAD.to_bytes(), PRIVATE)
SQUARE = square_text("https://thimble.example/certificate/C-K7QM-2F49", PROOF, SALT)
FRAGMENT = SQUARE.partition("#")[2]


@pytest.mark.parametrize(("private", "public", "message", "signature"), RFC_8032)
def test_the_published_vectors_hold_for_the_library_and_for_the_check_by_hand(
    private: str, public: str, message: str, signature: str
) -> None:
    key, said = bytes.fromhex(private), bytes.fromhex(message)
    assert public_of(key).hex() == public
    assert Ed25519PrivateKey.from_private_bytes(key).sign(said).hex() == signature
    assert ed25519_by_hand.holds(bytes.fromhex(public), said, bytes.fromhex(signature))
    assert not ed25519_by_hand.holds(bytes.fromhex(public), said + b"x", bytes.fromhex(signature))


def test_the_thumbprint_of_a_key_is_the_published_one() -> None:
    """RFC 8037, appendix A.3: of the key of RFC 8032, test 1."""
    assert thumbprint(PUBLIC) == "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k"
    assert key_id(PUBLIC) == "kPrK_qmxVWaYVA9w"
    assert to_text(PUBLIC) == "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo"


def test_the_signing_input_is_that_of_the_standard() -> None:
    """RFC 8037, appendix A.4: the same key signs `header.payload` to this; our own header has a key id."""
    signed = b"eyJhbGciOiJFZERTQSJ9.RXhhbXBsZSBvZiBFZDI1NTE5IHNpZ25pbmc"
    published = (
        "hgyY0il_MGCjP0JzlnLWG1PPOt7-09PGcvMg3AIbQR6dWbhijcNR4ki4iylGjg5BhVsPt9g7sVvpAr_MuM0KAg"
    )
    assert to_text(Ed25519PrivateKey.from_private_bytes(PRIVATE).sign(signed)) == published
    header, payload, _ = sign(b"Example of Ed25519 signing", PRIVATE).split(".")
    assert payload == "RXhhbXBsZSBvZiBFZDI1NTE5IHNpZ25pbmc"
    assert json.loads(from_text(header)) == {"alg": "EdDSA", "kid": "kPrK_qmxVWaYVA9w"}


def test_what_the_square_code_holds_is_verified_by_hand_from_the_documented_format_alone() -> None:
    header, payload, signature, salt = FRAGMENT.split(".")
    padded = {part: base64.urlsafe_b64decode(part + "==") for part in (payload, signature, salt)}
    assert ed25519_by_hand.holds(PUBLIC, f"{header}.{payload}".encode(), padded[signature])
    told = json.loads(padded[payload])
    assert told == {
        "v": 1,
        "number": "C-K7QM-2F49",
        "by": "Lindenfels General Hospital",
        "person": PAYLOAD.person,
        "restriction": "none",
        "exposure_prone": "cleared:uk:3",
        "issued": "2026-03-03",
        "until": "2027-03-03",
    }
    assert padded[salt] == SALT


def test_no_name_and_no_birth_date_can_be_read_from_the_square_code() -> None:
    _, payload, _, salt = FRAGMENT.split(".")
    for part in (SQUARE.encode(), from_text(payload), from_text(salt)):
        for word in (b"Brindle", "Inés".encode(), b"1999", b"02-28"):
            assert word not in part


def test_what_was_signed_is_read_back_whole() -> None:
    assert presented(SQUARE, KEYS) == presented(f" {FRAGMENT}\n", KEYS) == Presented(PAYLOAD, SALT)


def borne_out(text: str) -> bool:
    """Whether a square code is taken for that of this person."""
    try:
        found = presented(text, KEYS)
    except Forged:
        return False
    return found.payload.is_about(NAME, BORN, found.salt)


@given(at=st.integers(0, len(FRAGMENT) - 1), to=st.characters())
def test_any_changed_character_is_refused(at: int, to: str) -> None:
    changed = FRAGMENT[:at] + to + FRAGMENT[at + 1 :]
    assert borne_out(changed) is (changed == FRAGMENT)


ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_."


def test_each_character_changed_for_each_other_of_the_alphabet_in_the_last_places_is_refused() -> (
    None
):
    """The last character of a part has bits that decoding ignores: each spelling but one is refused."""
    ends = [at for at in range(len(FRAGMENT)) if at == len(FRAGMENT) - 1 or FRAGMENT[at + 1] == "."]
    assert len(ends) == 4
    for at in ends:
        for to in ALPHABET.replace(FRAGMENT[at], ""):
            assert not borne_out(FRAGMENT[:at] + to + FRAGMENT[at + 1 :]), (at, to)


@given(cut=st.integers(0, len(FRAGMENT) - 1), more=st.text(ALPHABET, max_size=3))
def test_a_code_cut_short_or_made_longer_is_refused(cut: int, more: str) -> None:
    assert not borne_out(FRAGMENT[:cut])
    assert borne_out(FRAGMENT + more) is (more == "")


statements = st.one_of(
    st.sampled_from(sorted(RESTRICTIONS)).map(Statement),
    st.sampled_from(
        ["cleared", *(f"cleared:{s}:{c}" for s, (_, cs) in SCHEMES.items() for c in cs)]
    ).map(lambda prone: Statement(exposure_prone=prone)),
)
payloads = st.builds(
    Payload,
    number=st.just("C-AAAA-AAAA"),
    by=st.text(st.characters(exclude_categories=("Cs",)), min_size=1, max_size=40),
    person=st.binary(min_size=32, max_size=32).map(to_text),
    statement=statements,
    issued=st.dates(date(2020, 1, 1), date(2100, 1, 1)),
    until=st.dates(date(2020, 1, 1), date(2100, 1, 1)),
)


@given(payload=payloads)
def test_every_payload_is_read_back_and_only_from_its_own_bytes(payload: Payload) -> None:
    data = payload.to_bytes()
    assert read_payload(data) == payload
    with pytest.raises(Forged):
        read_payload(data.replace(b'"v":1', b'"v": 1'))
    with pytest.raises(Forged):
        read_payload(data.replace(b'"v":1', b'"v":2'))


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"[]",
        b"null",
        b"\xff",
        b"{}",
        PAYLOAD.to_bytes().replace(b"cleared:uk:3", b"cleared:uk:9"),
        PAYLOAD.to_bytes().replace(b'"none"', b'"no_work"'),
        PAYLOAD.to_bytes().replace(b'"none"', b'"no_exposure_prone"'),
        PAYLOAD.to_bytes().replace(b"2027-03-03", b"2027-02-30"),
        PAYLOAD.to_bytes().replace(b'"C-K7QM-2F49"', b"7"),
        PAYLOAD.to_bytes()[:-1] + b',"w":1}',
    ],
)
def test_what_is_signed_but_no_certificate_is_refused(data: bytes) -> None:
    with pytest.raises(Forged):
        read_payload(verified(sign(data, PRIVATE), KEYS))


def test_a_wrong_key_a_missing_key_and_a_header_of_another_kind_are_refused() -> None:
    with pytest.raises(Forged, match="key that is not known"):
        verified(sign(PAYLOAD.to_bytes(), OTHER), KEYS)
    with pytest.raises(Forged, match="key that is not known"):
        verified(PROOF, {})
    # The right id with another key behind it.
    with pytest.raises(Forged, match="does not fit"):
        verified(PROOF, {key_id(PUBLIC): public_of(OTHER)})
    payload = PROOF.split(".")[1]
    none = to_text(b'{"alg":"none","kid":"kPrK_qmxVWaYVA9w"}')
    with pytest.raises(Forged, match="key that is not known"):
        verified(f"{none}.{payload}.", KEYS)
    assert key_of(PROOF) == "kPrK_qmxVWaYVA9w"
    assert key_of("x") == key_of("") == key_of(to_text(b"[]")) == ""


def test_after_a_change_of_keys_both_are_verified_by_the_published_set() -> None:
    keys = {key_id(public_of(key)): public_of(key) for key in (PRIVATE, OTHER)}
    published = read_key_set(json.dumps(key_set(keys)))
    assert published == keys
    for key in (PRIVATE, OTHER):
        assert verified(sign(b"x", key), published) == b"x"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "{}",
        '{"keys": [{"crv": "Ed25519"}]}',
        '{"keys": [{"crv": "Ed25519", "kid": "a", "x": "AAAA"}]}',
    ],
)
def test_what_is_no_set_of_keys_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="public key"):
        read_key_set(text)


@settings(max_examples=50)
@given(
    name=st.text(st.characters(exclude_categories=("Cs", "Cc")), min_size=1, max_size=30),
    born=st.dates(date(1920, 1, 1), date(2010, 1, 1)),
)
def test_another_name_or_birth_date_is_never_taken_for_the_one_that_was_signed(
    name: str, born: date
) -> None:
    assert PAYLOAD.is_about(name, born, SALT) is ((name, born) == (NAME, BORN))
    assert PAYLOAD.is_about("Brindle,  Ine\u0301s ", BORN, SALT)
    assert not PAYLOAD.is_about(NAME, BORN, SALT[::-1])


@pytest.mark.parametrize(
    ("day", "withdrawn", "worth"),
    [
        (date(2027, 3, 2), False, Worth.HOLDS),
        (date(2027, 3, 3), False, Worth.HOLDS),
        (date(2027, 3, 4), False, Worth.EXPIRED),
        (date(2027, 3, 2), True, Worth.WITHDRAWN),
        (date(2027, 3, 4), True, Worth.WITHDRAWN),
    ],
)
def test_the_last_day_still_counts_and_a_withdrawal_goes_before_everything(
    day: date, withdrawn: bool, worth: Worth
) -> None:
    assert worth_on(day, PAYLOAD.until, withdrawn=withdrawn) is worth


@pytest.mark.parametrize(
    ("restriction", "prone", "says"),
    [
        ("none", "cleared:uk:III", "cleared with a scheme"),
        ("none", "cleared:own:1", "cleared with a scheme"),
        ("none", "yes", "cleared with a scheme"),
        ("anti_hbs_low", "not_stated", "a restriction is one of"),
        ("no_exposure_prone", "cleared", "at once"),
    ],
)
def test_what_is_no_words_of_work_is_refused(restriction: str, prone: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        Statement(restriction, prone)
