"""Who of the register a row is of: found by number and by name; whatever is less than sure is a doubt."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from thimble.people.alike import ByBirth
from thimble.people.fold import Person
from thimble.people.identity import PersonIdentity
from thimble.people.names import another, name_key, number_key, without_zeros


class Register:
    """Everybody in the register, found by number and by name."""

    def __init__(self, people: Sequence[Person], identities: Mapping[str, PersonIdentity]) -> None:
        self.people = {person.reference: person for person in people}
        self.identities = {ref: identities[ref] for ref in self.people if ref in identities}
        self.by_number: dict[str, str] = {}
        self.by_zeros: dict[str, list[str]] = {}
        self.by_name: dict[tuple[str, ...], list[str]] = {}
        self.by_birth = ByBirth(self.identities)
        for reference, who in self.identities.items():
            if who.number:
                self.by_number[number_key(who.number)] = reference
                self.by_zeros.setdefault(without_zeros(who.number), []).append(reference)
            key = name_key(who.family_name, who.given_name)
            if key:
                self.by_name.setdefault(key, []).append(reference)


class Before:
    """The people of the rows so far, held against each further one."""

    def __init__(self) -> None:
        self._names: dict[tuple[object, ...], int] = {}
        self._by_birth: ByBirth[int] = ByBirth()

    def alike(self, who: PersonIdentity, row: int) -> str:
        """What speaks for the person of an earlier row, or ""; later rows are held against this one."""
        key = name_key(who.family_name, who.given_name), who.birth_date
        if (earlier := self._names.setdefault(key, row)) != row:
            known = "name and birth date" if who.birth_date else "name, and no birth date"
            return f"Row {earlier} has the same {known}"
        found = next(self._by_birth.alike(who), None)
        self._by_birth.add(row, who)
        return "" if found is None else f"Row {found[0]} has the same {found[1]}"


def match(who: PersonIdentity, register: Register) -> tuple[str, str, list[str], bool]:
    """Who it is; or a doubt, whom it may be, and whether it may be somebody new."""
    name = name_key(who.family_name, who.given_name)
    held = register.by_number.get(number_key(who.number)) if who.number else None
    if held is not None:
        other = register.identities[held]
        known_as = name_key(other.family_name, other.given_name)
        if doubt := another(name, who.birth_date, known_as, other.birth_date):
            return "", f"The number is known, with {doubt}", [held], False
        return held, "", [], False
    zeros = register.by_zeros.get(without_zeros(who.number), []) if who.number else []
    for reference in zeros:
        other = register.identities[reference]
        alike = name == name_key(other.family_name, other.given_name)
        if alike or (who.birth_date and who.birth_date == other.birth_date):
            doubt = f"The number {other.number} is known; a spreadsheet may have taken its leading zeros"
            return "", doubt, [reference], True
    alike_by_name = [
        reference
        for reference in register.by_name.get(name, [])
        if None in (who.birth_date, register.identities[reference].birth_date)
        or who.birth_date == register.identities[reference].birth_date
    ]
    similar = {ref: told for ref, told in register.by_birth.alike(who) if ref not in alike_by_name}
    if alike_by_name:
        births = {register.identities[r].birth_date for r in alike_by_name}
        known = who.birth_date is not None and births == {who.birth_date}
        what = "name and birth date" if known else "name, and a birth date is missing"
        return "", f"Somebody has the same {what}", [*alike_by_name, *similar], True
    if similar:
        told = next(iter(similar.values()))
        return "", f"Somebody has the same {told}", list(similar), True
    return "", "", [], True


def of_the_register(
    who: PersonIdentity, register: Register, named_by: frozenset[str]
) -> tuple[str, str, list[str]]:
    """Whose file a row writes in that enrols nobody: a reference; or a doubt and whom it may be (nobody:
    the row is refused).

    Args:
        named_by: which of `birth_date` and a name the list has a column for. Where it has one, the number
            alone does not do: numbers are mistyped, and given again to others.
    """
    if not who.number:
        return "", "The number is missing, by which people of the register are found", []
    held = register.by_number.get(number_key(who.number))
    if held is None:
        _, doubt, candidates, _ = match(who, register)
        return "", doubt or f"The number {who.number} is not in the register", candidates
    other = register.identities[held]
    if who.name:
        known_as = name_key(other.family_name, other.given_name)
        name = name_key(who.family_name, who.given_name)
        if doubt := another(name, who.birth_date, known_as, other.birth_date):
            return "", f"The number {who.number} is known, with {doubt}", []
        return held, "", []
    if who.birth_date is not None and other.birth_date is not None:
        if who.birth_date != other.birth_date:
            return "", f"The number {who.number} is known, with another birth date", []
        return held, "", []
    if named_by:
        where = "row" if who.birth_date is None else "register"
        return "", f"The {where} has no birth date: nothing but the number says whose this is", []
    return held, "", []
