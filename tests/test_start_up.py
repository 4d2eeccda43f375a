"""Asking for help loads nothing heavy."""

import subprocess
import sys

HEAVY = ("pandas", "numpy", "scipy", "statsmodels", "altair", "openpyxl", "pyarrow", "pydantic", "pint", "xlsxwriter")


def test_help_loads_none_of_the_heavy_packages():
    code = (
        "import sys; sys.argv = ['bomaudit', '--help']\n"
        "from bomaudit.cli import app\n"
        "try: app()\n"
        "except SystemExit: pass\n"
        f"print('LOADED', [m for m in {HEAVY!r} if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "LOADED []" in done.stdout
    for command in ("audit", "check", "explain", "requote", "demo"):
        assert command in done.stdout
