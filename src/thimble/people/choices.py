"""Values that entries of a person's file choose from, with their words."""

from __future__ import annotations

from collections.abc import Mapping

WORKS_AS: Mapping[str, str] = {
    "staff": "Staff",
    "student": "Student",
    "agency": "Agency",
    "contractor": "Contractor",
    "volunteer": "Volunteer",
}
"""How somebody belongs to the house."""

EXPOSURE_PRONE: Mapping[str, str] = {"yes": "Yes", "no": "No", "not_known": "Not known"}
"""Whether somebody will do exposure-prone procedures."""

SCHEMES: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "uk": ("United Kingdom", ("1", "2", "3")),
    "shea": ("SHEA", ("I", "II", "III")),
    "cdc_2012": ("CDC 2012", ("I", "II")),
}
"""Schemes of categories of procedures. A category is never kept without its scheme: the highest risk is
3, III and I. Source: UKHSA integrated guidance (memory); SHEA 2010 and 2020 (III read, II memory); CDC,
MMWR 2012;61(RR-3) (memory)."""

HISTORY: Mapping[str, str] = {
    "laboratory": "Disease confirmed by a laboratory",
    "clinician": "Disease diagnosed or verified by a clinician",
    "person": "Told by the person, not verified",
}
"""What a past disease rests on."""

SIGNED: Mapping[str, str] = {
    "on_paper": "Signed on paper",
    "here": "Signed here, in front of the clinician",
    "not_signed": "Not signed",
}
"""How a refusal was signed, as somebody of the department says who was there."""
NOT_KNOWN = "not_known"
"""What a list leaves open: whether a refusal was signed, for one."""

DOCUMENTS: Mapping[str, str] = {
    "card": "Vaccination card",
    "laboratory": "Laboratory report",
    "declination": "Signed refusal",
    "letter": "Letter of a clinician",
    "other": "Other document",
}
"""What a scan shows."""

FILE_TYPES: Mapping[str, str] = {
    "application/pdf": "PDF",
    "image/jpeg": "JPEG",
    "image/png": "PNG",
}
"""Types of scans, told by their content."""

SEEN: Mapping[str, str] = {
    "original": "The original was seen",
    "copy": "A copy was seen",
    "register": "Looked up in a vaccination register or laboratory system",
}
"""How evidence was verified."""

LETTERS: Mapping[str, str] = {
    "missing": "What is missing",
    "invitation": "Invitation to a session",
    "offer": "Offer of vaccine",
}
"""What somebody is written to about."""

LETTER_BY: Mapping[str, str] = {"mail": "by e-mail", "paper": "on paper"}
"""How a letter goes out."""

OFFERED_BY: Mapping[str, str] = {"paper": "by letter", "own_page": "read on their own page"}
"""How an offer reached somebody where nobody made it face to face."""

YES_NO: Mapping[str, str] = {"yes": "Yes", "no": "No", "not_known": "Not known"}

SAMPLE_CHECKS: Mapping[str, str] = {
    "identified": "Photo identity was checked at the draw",
    "drawn_here": "Drawn in or for occupational medicine",
    "direct": "The laboratory reported straight to occupational medicine",
}
"""What makes a sample identified and validated: all three. Source: UKHSA integrated guidance (memory)."""


def identified_and_validated(sample: Mapping[str, str]) -> bool:
    """Whether every check of a sample was met; one that nobody knows of is not."""
    return all(sample[check] == "yes" for check in SAMPLE_CHECKS)


TESTS: Mapping[str, tuple[str, str]] = {
    "anti_hbs": ("hepatitis_b", "Anti-HBs"),
    "hbsag": ("hepatitis_b", "HBsAg"),
    "anti_hbc_total": ("hepatitis_b", "Anti-HBc, total"),
    "anti_hbc_igm": ("hepatitis_b", "Anti-HBc IgM"),
    "hbv_dna": ("hepatitis_b", "HBV DNA"),
    "anti_hcv": ("hepatitis_c", "Anti-HCV"),
    "hcv_rna": ("hepatitis_c", "HCV RNA"),
    "hiv_ag_ab": ("hiv", "HIV antigen and antibody"),
    "hiv_rna": ("hiv", "HIV RNA"),
    "measles_igg": ("measles", "Measles IgG"),
    "mumps_igg": ("mumps", "Mumps IgG"),
    "rubella_igg": ("rubella", "Rubella IgG"),
    "varicella_igg": ("varicella", "Varicella IgG"),
    "igra": ("tuberculosis", "IGRA"),
    "tuberculin": ("tuberculosis", "Tuberculin skin test"),
    "chest_x_ray": ("tuberculosis", "Chest X-ray"),
    # Questions are written down as a result: negative where nothing was found.
    "tb_risk": ("tuberculosis", "Questions about risk of tuberculosis"),
    "tb_symptoms": ("tuberculosis", "Questions about symptoms of tuberculosis"),
    "weak_immunity": ("", "Questions about a weakened immune system"),
}
"""Tests of people: the disease each is about ("" for none) and its name. The first nine are those of
exposures."""

QUESTIONS: Mapping[str, str] = {
    "positive": "something found",
    "negative": "nothing found",
    "indeterminate": "not certain",
}
"""What the words of a result mean where the test is a set of questions."""
ASKED_OF_THE_PERSON = frozenset({"tb_risk", "tb_symptoms", "weak_immunity"})
"""Tests that are questions."""
