"""A site's own models of its camera: where they lie, which version is in use, and how to go back.

They lie in the site folder's ``models``: a file for each version and ``camera.json``, which says who made them, when,
from what, how they did on photos left out, and which is in use. :func:`site_stage_model` finds it for a count.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from pathlib import Path

from qckit.errors import InputError
from qckit.files import write_whole

__all__ = ["LeaveOut", "SiteModel", "keep_site_model", "site_stage_model", "undo_site_model"]

MODELS_FOLDER, CARD = "models", "camera.json"
_REMEDY = "Make it again with  qckit camera learn  or take it out of use with  qckit camera learn --undo"


@dataclass(frozen=True)
class LeaveOut:
    """What was learnt from, and how many settled objects were right on photos left out in turn."""

    n_photos: int
    n_objects: int
    right_before: int
    right_after: int


@dataclass(frozen=True)
class SiteModel:
    """A site's own models: their file, and what is known of them.

    Examples
    --------
    >>> review.site_stage_model(site.folder) is None  # the kit's own models count here
    True
    """

    path: Path
    version: int
    made_at: str
    made_by: str
    trial: LeaveOut
    is_older: bool = False  # learnt with another version of the kit's models
    learnt_from: tuple[str, ...] = ()  # SHA-256 of the photos; empty: made before they were noted

    @property
    def sentence(self) -> str:
        """What it is, for a report or a command's output."""
        t = self.trial
        text = (
            f"Counted by this site's own models, version {self.version} of {self.made_at[:10]} ({self.made_by}), "
            f"learnt from {t.n_objects} objects of {t.n_photos} photos; on photos left out they called {t.right_after} "
            f"of {t.n_objects} right, the kit's own {t.right_before}."
        )
        return text + (" The kit's own have changed since: run  qckit camera learn" if self.is_older else "")


def _trained_from() -> str:
    """Short text that changes when the kit's own models do, or what is learnt beside them."""
    from qckit.counting import model_key
    from qckit.counting.camera_rule.learned import FORMAT
    from qckit.counting.reader.joint_reading import reader_key
    from qckit.counting.stages import MODEL_FILE

    return f"{model_key(str(MODEL_FILE))} {reader_key('auto')} {FORMAT}"


def _read_card(card: Path) -> dict:
    if not card.is_file():
        return {"in_use": 0, "versions": []}
    try:
        data = json.loads(card.read_text(encoding="utf-8"))
        if not 0 <= int(data["in_use"]) <= len(data["versions"]):
            raise ValueError("no such version")
        return data
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise InputError(f"{card}: the site's own models cannot be read. {_REMEDY}") from error


def site_stage_model(folder) -> SiteModel | None:
    """Find a site's own models.

    Parameters
    ----------
    folder : path
        Site folder.

    Returns
    -------
    SiteModel or None
        None where the site has none, or none in use.

    Raises
    ------
    InputError
        It is there and damaged.

    Examples
    --------
    >>> review.site_stage_model(site.folder) is None
    True
    """
    card = Path(folder) / MODELS_FOLDER / CARD
    data = _read_card(card)
    if not data["in_use"]:
        return None
    try:
        row = dict(data["versions"][data["in_use"] - 1])
        path = card.parent / Path(row["file"]).name
        intact = hashlib.sha256(path.read_bytes()).hexdigest() == row["sha256"]
        trial = LeaveOut(**row["trial"])
        older = row["trained_from"] != _trained_from()
        model = SiteModel(
            path=path,
            version=data["in_use"],
            made_at=row["made_at"],
            made_by=row["made_by"],
            trial=trial,
            is_older=older,
            learnt_from=tuple(row.get("learnt_from", ())),
        )
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise InputError(f"{card}: the site's own models cannot be read. {_REMEDY}") from error
    if not intact:
        raise InputError(f"{path}: these are not the models that were made (the content has changed). {_REMEDY}")
    return model


def undo_site_model(folder) -> SiteModel | None:
    """Go back to the version before the one in use; the kit's own models where there is none. Files stay.

    Parameters
    ----------
    folder : path

    Returns
    -------
    SiteModel or None
        What is in use now.

    Raises
    ------
    InputError
        The site has no models of its own in use.

    Examples
    --------
    >>> try:
    ...     review.undo_site_model(log.new_site("room-7"))
    ... except qckit.InputError as error:
    ...     print(str(error).endswith("."))
    True
    """
    card = Path(folder) / MODELS_FOLDER / CARD
    try:
        data = _read_card(card)
    except InputError:  # whatever it says, going back to the kit's own is possible
        card.unlink()
        return None
    if not data["in_use"]:
        raise InputError("The kit's own models count already: this site has none of its own in use.")
    write_whole(card, json.dumps(data | {"in_use": data["in_use"] - 1}, indent=1))
    return site_stage_model(folder)


def keep_site_model(folder, learned, *, made_at: str, by: str, trial: LeaveOut, learnt_from=()) -> SiteModel:
    """Write models, then the card that puts them into use, so that a stop in between changes nothing.

    Parameters
    ----------
    folder : path
        Site folder.
    learned : Learned
    made_at, by : str
    trial : LeaveOut
    learnt_from : sequence of str
        SHA-256 of the photos, so that a check by the same photos is known for what it is.

    Returns
    -------
    SiteModel
        As it is in use from now on. Versions after the one that was in use are no longer listed.
    """
    from qckit.counting.camera_rule.learned import save_learned
    from qckit.counting.reader.network import READER_VERSION

    place = Path(folder) / MODELS_FOLDER
    place.mkdir(exist_ok=True)
    data, part = _read_card(place / CARD), place / "new.npz"
    save_learned(part, learned, reader_version=READER_VERSION)
    sha256 = hashlib.sha256(part.read_bytes()).hexdigest()
    path = part.replace(place / f"camera-{sha256[:8]}.npz")
    row = {"file": path.name, "sha256": sha256, "made_at": made_at, "made_by": by, "trial": asdict(trial)}
    row |= {"trained_from": _trained_from(), "learnt_from": list(learnt_from)}
    versions = [*data["versions"][: data["in_use"]], row]
    write_whole(place / CARD, json.dumps({"in_use": len(versions), "versions": versions}, indent=1))
    return site_stage_model(folder)
