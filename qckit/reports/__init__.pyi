from .accuracy import certificates_of, cite_certificates
from .blocks import Html, cautions, evidence, first_screen, left_out, note, sentences, table, would_change
from .checked import checked_photos
from .findings import save_findings
from .index import reports_of, write_index
from .lot_folder import LotFolder, write_evidence
from .methods_text import methods_text
from .pictures import figure, figures, thumbnails
from .poor_report import nauplius_objects, record_check, record_plans
from .run import KINDS, ReportRun, changed_copy, run_report, run_reports
from .sites import find_site, poorest_hatch
from .uncounted import count_uncounted
