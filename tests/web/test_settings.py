"""Which database the settings name."""

from __future__ import annotations

import pytest
from django.core.exceptions import ImproperlyConfigured

from thimble.web.settings import _postgresql


@pytest.mark.parametrize(
    ("address", "expected"),
    [
        ("postgresql://thimble@db.example/cases", ("cases", "thimble", "", "db.example", "")),
        ("postgres://u:p%40ss@db:6432/a%20b", ("a b", "u", "p@ss", "db", "6432")),
        ("postgresql:///thimble?host=/run/postgresql", ("thimble", "", "", "/run/postgresql", "")),
        ("postgresql://u@[::1]/t", ("t", "u", "", "::1", "")),
    ],
)
def test_an_address_is_taken_apart(address: str, expected: tuple[str, ...]) -> None:
    found = _postgresql(address)
    assert tuple(found[key] for key in ("NAME", "USER", "PASSWORD", "HOST", "PORT")) == expected
    assert found["OPTIONS"] == {"options": "-c synchronous_commit=on"}


def test_what_the_driver_is_told_beside_goes_to_the_driver() -> None:
    found = _postgresql("postgresql://u@db/t?sslmode=verify-full&sslrootcert=/etc/ca.pem")
    assert found["OPTIONS"]["sslmode"] == "verify-full"
    assert found["OPTIONS"]["sslrootcert"] == "/etc/ca.pem"
    told = _postgresql(
        "postgresql://u@db/t?options=-c%20synchronous_commit%3Doff%20-c%20work_mem%3D9MB"
    )
    assert told["OPTIONS"]["options"].endswith(" -c work_mem=9MB -c synchronous_commit=on")


@pytest.mark.parametrize(
    "address",
    ["sqlite:///x", "mysql://u:secret@h/t", "postgresql://u:secret@h", "postgresql://h:x/t", "t"],
)
def test_an_address_that_is_none_is_refused_without_repeating_it(address: str) -> None:
    with pytest.raises(ImproperlyConfigured, match="is an address such as") as refused:
        _postgresql(address)
    assert "secret" not in str(refused.value)
