"""Audits over time: each stored whole and never changed, compared, and scored against the quotes that came in later."""
