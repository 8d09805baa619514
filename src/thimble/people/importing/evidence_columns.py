"""What a column of evidence can hold: a part of a long list, the day of a dose, the value or day of a test.

A column is named by a text that is kept with the plan of an import:

| text | the column holds |
|---|---|
| `date`, `kind`, `code` … (`LONG`) | that part of a list with a row for each piece of evidence |
| `dose:43`, `dose:hepatitis_b` | the day of a dose: of a product by its code, or of one that nobody knows |
| `value:anti_hbs`, `value:anti_hbs:m[IU]/mL` | a result, each with its unit, or all in one unit |
| `date:anti_hbs`, `date:` | its day; the day of all results that have none of their own |
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import cache, lru_cache

from thimble.clinical.diseases import DISEASES
from thimble.clinical.saying import unit
from thimble.clinical.serology.analytes import Analyte, measures
from thimble.exchange.hl7v2.loinc import Kind, Test, words
from thimble.people.choices import ASKED_OF_THE_PERSON, TESTS
from thimble.people.importing.headers import header_key
from thimble.people.products import named_product, products

LONG: Mapping[str, str] = {
    "date": "Date",
    "kind": "Kind: dose, result, declined or contraindicated",
    "code": "Product or test",
    "product": "Product",
    "test": "Test",
    "value": "Result",
    "unit": "Unit",
    "disease": "Disease",
    "lot": "Lot",
    "where": "Where it was given",
    "laboratory": "Laboratory",
}
"""The columns of a list with a row for each piece of evidence."""

DOSE, VALUE, DAY = "dose:", "value:", "date:"

_HEADERS: Mapping[str, str] = {
    "date": "date day datum fecha data when|given on|date given|test date|impfdatum|date of dose",
    "kind": "kind art genre tipo|kind of evidence|evidence",
    "code": "code cvx|cvx code|product or test",
    "product": "product vaccine impfstoff vaccin vacuna vaccino produkt produit",
    "test": "test analyte parameter untersuchung examen esame analysis",
    "value": "value result ergebnis wert resultat resultado risultato valeur valor",
    "unit": "unit units einheit unite unidad unita",
    "disease": "disease against krankheit gegen maladie enfermedad malattia",
    "lot": "lot batch charge lote lotto|lot number|batch number|chargennummer",
    "where": "where place ort lieu lugar luogo|given at|given where|where it was given",
    "laboratory": "laboratory lab labor laboratoire laboratorio",
}
_TESTS: Mapping[str, str] = {
    "anti_hbs": "hbsab|hbs ab|anti hbs ak|hbs ak|hepatitis b surface antibody|hep b surface antibody",
    "hbsag": "hbs ag|hbs antigen|hepatitis b surface antigen|hep b surface antigen",
    "anti_hbc_total": "anti hbc|anti hbc total|hbcab|hbc ab|hepatitis b core antibody",
    "anti_hbc_igm": "hbc igm|igm anti hbc",
    "hbv_dna": "hbv pcr|hbv viral load|hepatitis b dna",
    "anti_hcv": "hcv ab|hcv antibody|hcv ak|hepatitis c antibody",
    "hcv_rna": "hcv pcr|hcv viral load|hepatitis c rna",
    "hiv_ag_ab": "hiv ag ab|hiv antigen antibody",
    "hiv_rna": "hiv pcr|hiv viral load",
    "measles_igg": "masern igg|rougeole igg|measles antibody|measles ab",
    "mumps_igg": "mumps antibody|mumps ab|oreillons igg",
    "rubella_igg": "roteln igg|rubeole igg|rubella antibody|rubella ab",
    "varicella_igg": "vzv igg|varizellen igg|varicelle igg|varicella antibody|varicella ab|vzv ab",
    "igra": "tb igra|interferon gamma release assay",
    "tuberculin": "tst|mantoux|tuberculin|skin test|tb skin test|tuberkulintest",
    "chest_x_ray": "cxr|chest xray|rontgen thorax|chest film",
}
_DISEASES: Mapping[str, str] = {
    "hepatitis_b": "hepb hbv|hep b|hepatitis b|hepatite b",
    "hepatitis_a": "hepa hav|hep a|hepatitis a|hepatite a",
    "measles": "measles masern rougeole sarampion morbillo",
    "mumps": "mumps oreillons paperas parotite",
    "rubella": "rubella roteln rubeole rosolia",
    "varicella": "varicella varizellen windpocken varicelle vzv chickenpox",
    "pertussis": "pertussis keuchhusten coqueluche",
    "tetanus": "tetanus tetanos tetano",
    "diphtheria": "diphtheria diphtherie difterite",
    "influenza": "influenza flu grippe gripe",
    "covid_19": "covid covid19 corona",
    "poliomyelitis": "polio poliomyelitis ipv",
    "meningococcal": "meningococcal meningokokken meningitis menacwy",
    "zoster": "zoster shingles",
}
"""Names of diseases that a vaccine is given against, in several languages."""
_PRODUCTS: Mapping[str, str] = {"03": "mmr ror srp", "115": "tdap", "139": "td", "21": "varicella"}

_WORDS: Mapping[str, str] = {
    "day": "date day datum fecha data on am le",
    "value": "value result titre titer level wert ergebnis resultat valeur",
    "dose": "dose dosis dosi vaccine vaccination impfung vaccin vacuna vaccino shot booster given nr no of",
}
"""Words of a header that say which part of the evidence a column holds."""
_DAY_WORDS, _VALUE_WORDS, _DOSE_WORDS = (frozenset(text.split()) for text in _WORDS.values())
_ORDINAL = re.compile(r"\d{1,2}(?:st|nd|rd|th)?|first|second|third|fourth|i{1,3}")


def _spelled(texts: Mapping[str, str], *, words_first: bool = True) -> dict[str, str]:
    """Every spelling by its key. Phrases part at |; with `words_first` single words stand before them."""
    known: dict[str, str] = {}
    for name, text in texts.items():
        first, *phrases = text.split("|")
        for spelling in (*(first.split() if words_first else [first]), *phrases):
            known.setdefault(header_key(spelling), name)
    return known


LONG_HEADERS = _spelled(_HEADERS) | {header_key(label): name for name, label in LONG.items()}
_BY_DISEASE = {
    **{header_key(name): id_ for id_, name in DISEASES.items()},
    **{header_key(id_): id_ for id_ in DISEASES},
    **_spelled(_DISEASES),
}
_BY_PRODUCT = _spelled(_PRODUCTS)


@cache
def tested() -> Mapping[str, Test]:
    """The tests that a list can hold, each with what it is answered with: no questions."""
    found = {}
    for id_, (_, label) in TESTS.items():
        if id_ not in ASKED_OF_THE_PERSON:
            kind, units = _answered(id_)
            found[id_] = Test(label, id_, kind, "", units, "", "", "")
    return found


def _answered(id_: str) -> tuple[Kind, tuple[str, ...]]:
    """What a test is answered with, and the units of its numbers in UCUM."""
    if id_ in set(Analyte):
        measure = measures()[Analyte(id_)]
        units = tuple(each for each in words()["units"] if each in measure.units)
        if measure.kind == "load":
            # An older laboratory's copies: a number that no threshold is asked about.
            return Kind.VIRAL_LOAD, tuple(dict.fromkeys((*units, "{copies}/mL")))
        return (Kind.PRESENCE if measure.kind == "marker" else Kind.AMOUNT), units
    if id_ == "tuberculin":
        return Kind.AMOUNT, ("mm",)
    if id_ == "igra":
        return Kind.AMOUNT, ("[IU]/mL",)
    return (Kind.PRESENCE, ()) if id_ == "chest_x_ray" else (Kind.AMOUNT, ("m[IU]/mL", "[IU]/mL"))


@cache
def _by_test() -> dict[str, str]:
    named = {header_key(test.code): id_ for id_, test in tested().items()}
    return named | {header_key(id_): id_ for id_ in tested()} | _spelled(_TESTS, words_first=False)


def test_named(text: str) -> str | None:
    """The test that a text names: by its id, its name or another name of the trade."""
    return _by_test().get(header_key(text))


def disease_named(text: str) -> str | None:
    """The disease that a text names, in one of several languages."""
    return _BY_DISEASE.get(header_key(text))


@lru_cache(maxsize=4_096)
def dose_named(text: str) -> str | None:
    """What a dose is of: the code of a product, or a disease where only that is named."""
    if product := named_product(text):
        return product.cvx
    key = header_key(text)
    return _BY_PRODUCT.get(key) or _BY_DISEASE.get(key)


def groups() -> Sequence[tuple[str, Mapping[str, str]]]:
    """Everything that a column of evidence can hold, with its label, in groups."""
    doses = {
        f"{DOSE}{id_}": f"{name}, product not known: day of a dose"
        for id_, name in DISEASES.items()
        if id_ in _DISEASES
    }
    doses |= {f"{DOSE}{p.cvx}": f"{p.name}: day of a dose" for p in products().values()}
    results: dict[str, str] = {}
    for id_, test in tested().items():
        results[f"{VALUE}{id_}"] = f"{test.code}: result, each with its unit"
        if not test.units:
            results[f"{VALUE}{id_}"] = f"{test.code}: result in words"
        for each in test.units:
            results[f"{VALUE}{id_}:{each}"] = f"{test.code}: result in {unit(each)}"
        results[f"{DAY}{id_}"] = f"{test.code}: day"
    results[DAY] = "Day of every result that has no column of its own"
    return (("Evidence, a row for each", LONG), ("Doses", doses), ("Tests", results))


@cache
def labels() -> Mapping[str, str]:
    """What a column of evidence can hold, by its text."""
    return {text: label for _, group in groups() for text, label in group.items()}


def guess_wide(header: str) -> str:
    """What a column with this header holds in a list with a row for each person; "" where it is not known.

    >>> guess_wide("Hep B 2 date"), guess_wide("MMR1"), guess_wide("anti-HBs (IU/L)"), guess_wide("TB test")
    ('dose:hepatitis_b', 'dose:03', 'value:anti_hbs:m[IU]/mL', '')
    """
    said = re.findall(r"[a-z]+|\d+(?:st|nd|rd|th)?", header_key(_without_unit(header)))
    is_day, is_value = bool(_DAY_WORDS & set(said)), bool(_VALUE_WORDS & set(said))
    fillers = _DAY_WORDS | _VALUE_WORDS
    rest = [word for word in said if word not in fillers]
    if test := test_named(" ".join(rest)):
        if is_day and not is_value:
            return f"{DAY}{test}"
        found = _unit_in(header, tested()[test].units)
        return f"{VALUE}{test}:{found}" if found else f"{VALUE}{test}"
    if is_value:
        return ""
    bare = [word for word in rest if word not in _DOSE_WORDS and not _ORDINAL.fullmatch(word)]
    spelling = " ".join(bare)
    dose = dose_named(spelling) if spelling and not spelling.isdecimal() else None
    return f"{DOSE}{dose}" if f"{DOSE}{dose}" in labels() else ""


_LAST = re.compile(r"\(\s*([^()]*?)\s*\)\s*$|(\S+)\s*$")
"""The end of a header: what stands in brackets, or its last word."""


def _without_unit(header: str) -> str:
    return _LAST.sub(" ", header) if _unit_in(header, tuple(words()["units"])) else header


def _unit_in(header: str, units: Sequence[str]) -> str:
    """The unit at the end of a header, in brackets or not, in UCUM; "" where there is none."""
    found = _LAST.search(header)
    spelling = (found[1] or found[2]) if found else ""
    return next((each for each in units if spelling in words()["units"][each]), "")
