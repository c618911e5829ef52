from .analysis import Analysis, FoundObjects, analyse, choose_objects
from .batch.cluster import Cluster
from .batch.run import CountedPhotos, CountOptions, checked_name, count_photos
from .fallback.grouping import best_division, list_candidates
from .fallback.splitting import cut_pieces
from .flags import FLAG_CODES
from .frame import apply_frame
from .picture import describe_counts, draw_checked, save_checked
from .pipeline import count_photo
from .result import COUNTER_VERSION, PHOTO_COLUMNS, Flag, PhotoCount
from .scoring import score_photo, score_photos, summarise_scores
from .segmentation.foreground import find_foreground
from .segmentation.light import estimate_light, signal_of
from .segmentation.lines import RuledLines, find_ruled_lines, remove_ruled_lines
from .segmentation.measuring import FEATURES
from .stages import CLASSES, StageModel, load_stage_model, model_key, save_stage_model
from .working import WORK_UM_PER_PX, make_work_image
