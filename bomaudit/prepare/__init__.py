"""Tidy tables to one row a BOM line, ready to estimate: which quote, which date, which currency, which market, how many."""
