from .certificate import Certificate, certify_camera, read_certificate
from .correction import CorrectedCounts, correct_counts
from .doubts import doubts_of_stages
from .drawing import draw_confusion, draw_differences
from .gauge import GaugeStudy, gauge_study, say_gauge
from .lookup import CertificateUse, camera_of, latest_certificate, newest_certificates
from .matching import match_objects
from .paired import BlandAltman, Concordance, Repeatability, bland_altman, concordance, repeatability
from .rates import CountRates, rates_from_counts, rates_from_matches
from .sample_corrections import correct_photo_counts, corrections_by, load_tables, photo_rows
