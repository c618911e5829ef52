"""What a page that is made again says otherwise than the page before it, and what it may come from."""

from __future__ import annotations

from qckit.words import number, plural

__all__ = ["differences"]


def differences(before: dict, after: dict) -> list[str]:
    """Say in which figures two findings of one subject differ, and what they rest on that differs.

    Parameters
    ----------
    before, after : dict
        As ``findings.json`` holds them.

    Returns
    -------
    list of str
        The earlier page's headline, its figures, then hatches, photos, settings and versions; none where the pages say
        the same of the same.

    Examples
    --------
    >>> from qckit.reports.since import differences
    >>> differences({"software": "qckit 0.1.0"}, {"software": "qckit 0.2.0"})
    ['software: qckit 0.1.0, now qckit 0.2.0']
    """
    found = []
    if before.get("headline") != after.get("headline"):
        found.append(f"it was: {before.get('headline')}")
    found += _figures(before, after)
    causes = [*_hatches(before, after), *_photos(before, after), *_settings(before, after)]
    if before.get("software") != after.get("software"):
        causes.append(f"software: {before.get('software')}, now {after.get('software')}")
    steps = [(f.get("records") or {}).get("step") for f in (before, after)]
    if found and None not in steps and steps[0] != steps[1]:
        causes.append(f"records: up to step {steps[0]}, now up to step {steps[1]}")
    return found + causes


def _figures(before: dict, after: dict) -> list[str]:
    old, new = ({f.get("name"): f for f in findings.get("figures") or ()} for findings in (before, after))
    texts = {name: (_figure(old[name]), _figure(new[name])) for name in old if name in new}
    return [f"{old[name].get('label')}: {was}, now {now}" for name, (was, now) in texts.items() if was != now]


def _figure(figure: dict) -> str:
    value, low, high = (figure.get(k) for k in ("value", "low", "high"))
    digits = figure.get("decimals") or 0
    texts = [number(v, digits) if isinstance(v, (int, float)) else "not known" for v in (value, low, high)]
    span = f" ({texts[1]} to {texts[2]})" if low is not None and high is not None else ""
    unit = figure.get("unit") or "" if isinstance(value, (int, float)) else ""
    return f"{texts[0]}{span} {unit}".strip()


def _hatches(before: dict, after: dict) -> list[str]:
    old, new = (set(findings.get("hatches") or ()) for findings in (before, after))
    more, fewer = len(new - old), len(old - new)
    words = [f"{plural(more, 'hatch', 'hatches')} more"] if more else []
    words += [f"{plural(fewer, 'hatch', 'hatches')} less"] if fewer else []
    return [f"rests on {' and '.join(words)}"] if words else []


def _photos(before: dict, after: dict) -> list[str]:
    old, new = ({p["photo"]: p for p in findings.get("photos") or ()} for findings in (before, after))
    words = []
    if more := len(new.keys() - old.keys()):
        words.append(f"rests on {plural(more, 'photo')} more")
    if fewer := len(old.keys() - new.keys()):
        words.append(f"rests on {plural(fewer, 'photo')} less")
    both = old.keys() & new.keys()
    if changed := [p for p in sorted(both) if old[p].get("sha256") != new[p].get("sha256")]:
        words.append(f"{plural(len(changed), 'photo')} counted from another file: {', '.join(changed[:3])}")
    counters = [(old[p].get("counter_version"), new[p].get("counter_version")) for p in both]
    for was, now in sorted({(str(a), str(b)) for a, b in counters if a != b}):
        words.append(f"counter of photos: version {was}, now {now}")
    return words


def _settings(before: dict, after: dict) -> list[str]:
    old, new = (findings.get("settings") for findings in (before, after))
    if not old or not new:
        return []  # pages of earlier versions do not hold them
    return [
        f"setting {section}.{name}: {old[section][name]}, now {value}"
        for section, values in new.items()
        for name, value in values.items()
        if name in old.get(section, {}) and old[section][name] != value
    ]
