"""A file → a tidy table: type and encoding, where the table is, what its columns are, what each row is."""

from bomaudit.tables.frames import empty_frame
from bomaudit.tables.reading import Inputs, TableRead, read_audit, read_table

__all__ = ["Inputs", "TableRead", "empty_frame", "read_audit", "read_table"]
