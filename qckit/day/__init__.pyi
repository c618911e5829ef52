from .form import day_form
from .loading import load_day
from .records import Entry
from .repeats import repeat_counts
from .study import Day, study_day
from .tally import Tally
