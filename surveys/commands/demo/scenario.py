"""Invented scenario: a district heating operator, a return line, a set of instruments and one day of survey.

All names are invented. Quantities are texts as a user enters them.
"""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

CLIENT = "Aldervale Heat Cooperative"
OTHER_CLIENT = "Brackwater Mills"
SITE = "Pump house north"
ADDRESS = "1 Kiln Lane, Aldervale"
TIME_ZONE = "Europe/Copenhagen"
ACCESS = "Permit from the shift leader; hearing protection in the pump hall."

PIPE = "Return line DN 200"
OUTER_DIAMETER = "219.1 mm"
WALL_AS_ENTERED = "6.3 mm"
WALL_READINGS = ("8.02 mm", "7.98 mm", "8.00 mm", "8.03 mm", "7.97 mm", "8.00 mm", "7.99 mm", "8.01 mm")
WALL_TRUE = "8.0 mm"
MATERIAL = "carbon-steel"
MEDIUM = "water"
MEDIUM_TEMPERATURE = "58 °C"
MEDIUM_PRESSURE = "600 kPa"

POINT = "Return line, 6 m after the bend"
DISTURBANCE = "single-bend"
UPSTREAM_STRAIGHT = "6.0 m"
DOWNSTREAM_STRAIGHT = "2.5 m"

METER = ("field meter", "M-0412")
PAIR = ("1 MHz pair", "P-0127")
GAUGE = ("wall gauge", "G-0033")
FREQUENCY = "1 MHz"
WEDGE_SOUND_SPEED = "2720 m/s"
WEDGE_TEMPERATURE_COEFFICIENT = "-2.5 m/s/K"
WEDGE_REFERENCE_TEMPERATURE = "20 °C"
WEDGE_ANGLE = "42 deg"
FACE_OFFSET = "14 mm"
WEDGE_DELAY = "9.8 us"
MIN_TEMPERATURE = "-20 °C"
MAX_TEMPERATURE = "120 °C"
GAUGE_UNCERTAINTY = "0.05 mm"
MINIMUM_SIGNAL = "20 dB"
CALIBRATED_ON = date(2026, 3, 16)
CALIBRATION_DUE_ON = date(2027, 3, 16)

TRAVERSES = 2
EXPECTED_VELOCITY = "1.2 m/s"

SURVEY_STARTED_AT = datetime(2026, 10, 6, 9, 30, tzinfo=ZoneInfo(TIME_ZONE))
SECONDS_LOGGED = 3900
TRUE_MEAN_VELOCITY = "1.18 m/s"
LOG_FILE = Path(__file__).resolve().parents[3] / "fixtures" / "logs" / "return-line-2026-10-06.csv"
