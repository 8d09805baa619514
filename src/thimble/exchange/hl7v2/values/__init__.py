"""The one strict rule by which a row of results becomes a reading.

1. Status; 2. which test: by code alone; 3. one value; 4. by its type; 5. a text is compared whole
with closed lists; 6. numbers in a unit that fits the code; 7. flags and codes must not contradict.
Whatever is left over is held for a person. Nothing is read from notes. A reference range says of ALT alone
whether it is raised, and is no result.
"""

from thimble.exchange.hl7v2.values.rule import NOTHING_DECLARED, read_typed, read_value
from thimble.exchange.hl7v2.values.written import CODED, NUMBERS

__all__ = ["CODED", "NOTHING_DECLARED", "NUMBERS", "read_typed", "read_value"]
