from .finding import drawn_folders, find_photos, photo_names
from .reading import MAX_MEGAPIXELS, Photo, read_photo
from .scales import Scales, read_scales
