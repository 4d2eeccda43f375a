"""Tidy tables to one row a BOM line, ready to estimate: which quote and date, currency, market, how many."""
