"""Screening: many BOMs at once, in bounded memory, on one processor or a cluster; the same bytes either way."""
