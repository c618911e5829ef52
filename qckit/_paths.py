"""Where the notebooks and the sample data lie, in a checkout and in an installed wheel."""

from pathlib import Path

_HERE = Path(__file__).resolve().parent


def _data(name: str) -> Path:
    packed = _HERE / "_data" / name
    return packed if packed.is_dir() else _HERE.parent / name


def notebooks_dir() -> Path:
    """Return the folder of the notebooks that come with the kit."""
    return _data("notebooks")


def sample_images_dir() -> Path:
    """Return the folder of the demo's photos and field sheet."""
    return _data("sample_images")
