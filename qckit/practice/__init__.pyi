from .events import EVENTS, POOR_HATCH, REPORT_MONTH
from .history import SITE_NAME, invented_history, write_history
from .repeats import lot_tests
