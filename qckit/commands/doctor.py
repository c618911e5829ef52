"""``qckit doctor``: versions, kernel and folders, for a report of a problem."""

import platform
import sys
from importlib import metadata

import click

from qckit import __version__
from qckit._paths import notebooks_dir, sample_images_dir

PACKAGES = (
    "numpy",
    "scipy",
    "pandas",
    "scikit-image",
    "statsmodels",
    "seaborn",
    "papermill",
    "nbconvert",
    "jupyterlab",
    "ipykernel",
    "pillow",
    "pillow-heif",
    "sqlalchemy",
    "onnxruntime",
    "gsw",
    "anywidget",
    "prompt_toolkit",
    "segno",
    "zxing-cpp",
    *(() if sys.platform.startswith("linux") else ("psutil",)),  # there the system itself holds processes to limits
)


@click.command("doctor")
def command():
    """Say which versions, kernel and folders are in use."""
    click.echo(f"qckit {__version__}, Python {platform.python_version()} on {platform.platform()}")
    click.echo(f"interpreter    {sys.executable}")
    click.echo(f"notebooks      {notebooks_dir()}")
    click.echo(f"sample data    {sample_images_dir()}")
    for name in PACKAGES:
        try:
            click.echo(f"{name:<14} {metadata.version(name)}")
        except metadata.PackageNotFoundError:
            click.echo(f"{name:<14} missing: install it with  pip install {name}")
