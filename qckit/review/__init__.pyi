from .camera import measure_scale, save_scale, scale_for, write_scales
from .camera_check import check_camera, count_pairs, read_hand_counts, save_certificate
from .checked_kinds import settle_unlike
from .desk import ReviewDesk, open_review
from .files import find_photo_file
from .hand_tables import read_study
from .learn import CameraLearning, learn_camera_of_site
from .page import certificate_page
from .photo_kinds import flag_kinds
from .picker import PointPicker, pick_points
from .priorities import rank_objects, rank_photos, say_when_to_stop
from .session import ReviewSession
from .settled import photos_to_settle
from .setup import (
    SetupCheck,
    check_for_setup,
    find_setup_photo,
    keep_for_setup,
    measure_for_setup,
    scales_for_setup,
)
from .site_model import SiteModel, site_stage_model, undo_site_model
from .sizes import first_scale_words, flag_scales, scale_doubts
from .still import still_html
from .summary import counts_table, recent_photos
