"""The holidays library read country by country says what it says when it is read whole."""

import json
import subprocess
import sys
from datetime import date, timedelta

from leerie.config import countries

WHOLE = """
import holidays, json
from datetime import date, timedelta
days = [date(2026, 1, 1) + timedelta(n) for n in range(365)]
codes = holidays.list_supported_countries()
of = {code: holidays.country_holidays(code) for code in codes}
print(json.dumps({code: [str(day) for day in days if day in of[code]] for code in codes}))
"""
DAYS = [date(2026, 1, 1) + timedelta(n) for n in range(365)]


def test_every_country_has_the_librarys_holidays() -> None:
    whole = json.loads(subprocess.run([sys.executable, "-c", WHOLE], capture_output=True, check=True).stdout)
    assert len(whole) > 200
    assert list(countries.library().list_supported_countries()) == list(whole)
    for code, days in whole.items():
        holidays = countries.public_holidays(code)
        assert [str(day) for day in DAYS if day in holidays] == days, code


def test_only_the_country_asked_for_is_read() -> None:
    script = (
        "import sys; from leerie.config import countries; countries.public_holidays('GB-SCT');"
        "print(sum(name.startswith('holidays.countries.') for name in sys.modules))"
    )
    read = subprocess.run([sys.executable, "-c", script], capture_output=True, check=True, text=True).stdout
    assert int(read) < 5
