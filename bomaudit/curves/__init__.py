"""Learning curves: library, experience and trend, maturity, input prices, own volume, and their fit."""
