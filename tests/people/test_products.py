"""Products: the codes of the published table, and how they are found."""

from __future__ import annotations

import pytest

from thimble.people.products import find_product, product_name, products


@pytest.mark.parametrize(
    ("cvx", "diseases"),
    [
        # HL7 immunisation guide, value set of CVX codes (2026-02); table 0292.
        ("43", {"hepatitis_b"}),
        ("189", {"hepatitis_b"}),
        ("104", {"hepatitis_a", "hepatitis_b"}),
        ("110", {"diphtheria", "tetanus", "pertussis", "hepatitis_b", "poliomyelitis"}),
        ("03", {"measles", "mumps", "rubella"}),
        ("94", {"measles", "mumps", "rubella", "varicella"}),
        ("115", {"tetanus", "diphtheria", "pertussis"}),
        ("19", {"tuberculosis"}),
        ("52", {"hepatitis_a"}),
    ],
)
def test_a_code_is_against_what_the_table_says(cvx: str, diseases: set[str]) -> None:
    assert set(products()[cvx].diseases) == diseases


def test_every_product_has_a_source_and_a_standing() -> None:
    assert {p.standing for p in products().values()} <= {"read", "memory", "secondary"}
    assert all(p.source for p in products().values())


@pytest.mark.parametrize(
    ("typed", "found"),
    [
        ("43", ["43"]),
        ("3", ["03"]),
        ("03", ["03"]),
        ("CVX 115", ["115"]),
        ("43 · Hepatitis B, adult", ["43"]),
        ("tdap", ["115"]),
        ("mmr", ["03"]),
        ("MMRV", ["94"]),
        ("bcg", ["19"]),
        ("hepatitis b cpg", ["189"]),
        ("twin", ["104"]),
        ("999", []),
        ("water", []),
        ("", []),
    ],
)
def test_what_somebody_types_finds_the_product(typed: str, found: list[str]) -> None:
    assert [p.cvx for p in find_product(typed)] == found


def test_what_could_be_several_is_several_and_never_the_first_of_them() -> None:
    assert {"08", "43", "45"} <= {p.cvx for p in find_product("hepatitis b")}


def test_each_product_is_found_by_its_code_its_name_and_its_suggestion() -> None:
    for cvx, product in products().items():
        for typed in (cvx, product.name, f"{cvx} · {product.name}"):
            assert [p.cvx for p in find_product(typed)] == [cvx], typed


def test_an_unknown_product_is_named_so() -> None:
    assert product_name(None) == "Product not known"
    assert product_name("777") == "CVX 777"
