__version__: str

from .counting import count_photo
from .counting.batch.tidy import count_photos
from .errors import InputError, QcError
from .log import open_log
from .settings import load_settings
from .site import load_site
