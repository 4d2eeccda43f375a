"""Decisions: fully accounted cost of the options, as booked and today, and what to do about it."""

from bomaudit.decide.decided import decide
from bomaudit.decide.explain import Explained, explain_decision
from bomaudit.decide.judged import Decided
from bomaudit.decide.requotes import quantities_in_decisions, quote_requests
from bomaudit.decide.verdict import RULES

__all__ = ["RULES", "Decided", "Explained", "decide", "explain_decision", "quantities_in_decisions", "quote_requests"]
