"""Read a protocol folder as strictly as a compiler reads a program.

Unknown keys, columns, facts, values and units, empty cells, rule ids used twice and tables that feed
themselves are refused, each with file, row, column and what is allowed; every fault of the folder is
reported at once.
"""

from .folder import read_folder

__all__ = ["read_folder"]
