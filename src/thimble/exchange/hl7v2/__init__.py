"""Laboratory results by HL7 version 2: frames, characters, messages, values and answers.

Only `segments` knows the library that splits messages; the rest of the product sees our own values.
"""
