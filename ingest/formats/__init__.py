"""File formats: one class for each kind of file that a delivery may hold.

This list is the registry; where two formats could read a file, the earlier one does.
"""

from ingest.formats.c3d import C3d
from ingest.formats.calendars import Calendar
from ingest.formats.film import Film
from ingest.formats.format import FORMATS
from ingest.formats.keypoints import Keypoints
from ingest.formats.lines import Notes, Shots
from ingest.formats.plate_table import PlateTable
from ingest.formats.rosters import ROSTERS
from ingest.formats.sensor_grid import SensorGrid
from ingest.formats.session_toml import SessionToml
from ingest.formats.swing_tables import ClipPoints, EventTimes

FORMATS += [
    SessionToml(),
    SensorGrid(),
    C3d(),
    EventTimes(),
    ClipPoints(),
    Keypoints(),
    Film(),
    Notes(),
    Shots(),
    *ROSTERS,
    Calendar(),
    PlateTable(),
]
