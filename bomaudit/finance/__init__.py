"""Standard against booked, paid and today's cost: bridge, variances, new standards, revaluation, ageing."""
