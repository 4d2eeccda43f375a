"""bomaudit: stale-cost auditor for bills of materials."""

__version__ = "0.1.0"
