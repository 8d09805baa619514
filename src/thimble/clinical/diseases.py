"""Diseases that evidence of immunity or infection is about."""

from __future__ import annotations

from collections.abc import Mapping

DISEASES: Mapping[str, str] = {
    "hepatitis_b": "Hepatitis B",
    "measles": "Measles",
    "mumps": "Mumps",
    "rubella": "Rubella",
    "varicella": "Varicella",
    "pertussis": "Pertussis",
    "tetanus": "Tetanus",
    "diphtheria": "Diphtheria",
    "influenza": "Influenza",
    "covid_19": "COVID-19",
    "tuberculosis": "Tuberculosis",
    "hepatitis_a": "Hepatitis A",
    "hepatitis_c": "Hepatitis C",
    "hiv": "HIV",
    "poliomyelitis": "Poliomyelitis",
    "meningococcal": "Meningococcal disease",
    "zoster": "Zoster",
    "haemophilus": "Haemophilus influenzae type b",
}
"""Ids and names, in the order of screens."""

ASKED: tuple[str, ...] = (
    "hepatitis_b",
    "measles",
    "mumps",
    "rubella",
    "varicella",
    "pertussis",
    "tuberculosis",
    "influenza",
)
"""What a site asks evidence for unless its settings name others (`evidence_asked`)."""
