from .exporting import export_csv, export_excel
from .founding import new_site
from .opening import create_log, open_log
from .packing import export_zip
from .restoring import restore
from .seal import Seal, seal_of
from .steps import ImportResult
from .store import SiteLog
