"""How a batch of embryos goes from dry cyst to nauplius: a chain of stages in small time steps.

One row is one hatch. Worlds (the numbers of a site's animals), conditions and lots are dicts of arrays
with one value per row, so that hundreds of hatches run at once.
"""

import numpy as np

DT = 0.25
HOURS = 50.0
TIME = np.arange(0, HOURS, DT)
E_STEPS, U_STEPS, N_STEPS = 30, 4, 4


def draw_worlds(rng, n):
    """Draw the biology of `n` sites from ranges that a practitioner would call possible."""
    u = rng.uniform
    return {
        "t_break": u(12.0, 15.5, n),  # mean hours to breaking at 28 C
        "t_umbrella": u(1.6, 3.6, n),
        "q10": u(2.0, 3.2, n),
        "t_hot": u(31.5, 34.0, n),  # above this embryos stop and die
        "hot_kill": u(0.02, 0.08, n),
        "ph_half": u(7.15, 7.65, n),
        "ph_width": u(0.10, 0.25, n),
        "hang_kill": u(0.01, 0.06, n),  # death per hour of umbrellas that cannot leave
        "oxy_half": u(0.7, 1.8, n),
        "oxy_kill": u(0.01, 0.06, n),
        "oxy_use": u(0.1, 0.45, n),  # mg/l lost per g/l of cysts
        "salt_half": u(58, 85, n),
        "salt_width": u(4, 8, n),
        "dark_need": u(0.35, 0.95, n),  # share of embryos that wait for light
        "dark_never": u(0.0, 0.5, n),  # share of the waiting ones that never start again
        "wall_wash": u(0.0, 0.7, n),  # share of dry cysts on the wall that reach the sample
        "poison_u": u(0.5, 1.2, n),
        "poison_n": u(0.1, 0.9, n),
        "crowd": u(0.006, 0.04, n),
        "aged_loss": u(0.006, 0.03, n),  # loss per hour of unfed instar II
        "instar1_h": u(6, 10, n),
        "dead_n_read": u(0.1, 0.6, n),
        "u_rot": u(0.01, 0.05, n),
        "mix_cyst": u(-0.8, 1.6, n),  # how unstirred samples change the cysts
        "mix_shell": u(-1.0, 1.0, n),
        "old_as_u": u(0.1, 0.7, n),  # weak embryos that get as far as the umbrella
    }


def calm(n, temp, ph, oxy, sal, density, lot):
    """Conditions of `n` calm hatches; `lot` holds full, viable, weak, slow, empty."""
    one = np.ones(n)
    c = {
        "temp": np.broadcast_to(np.reshape(temp, (-1, 1)), (n, TIME.size)).copy(),
        "ph": np.broadcast_to(np.reshape(ph, (-1, 1)), (n, TIME.size)).copy(),
        "oxy": np.broadcast_to(np.reshape(oxy, (-1, 1)), (n, TIME.size)).copy(),
        "sal": sal * one,
        "density": density * one,
        "limit": density * one,
        "dark_h": 0 * one,
        "poison": 0 * one,
        "soap": 0 * one,
        "wet": 1 * one,
        "burst": 0 * one,
        "hours": 24 * one,
        "scatter": 1 * one,
        "see_n": 1 * one,
        "see_u": 1 * one,
        "see_c": 1 * one,
        "see_s": 1 * one,
        "u_as_c": 0 * one,
        "all": 1 * one,
    }
    for k in ("full", "viable", "weak", "slow", "empty"):
        c[k] = lot[k] * one
    return c


def take(d, rows):
    """Rows of a dict of arrays."""
    return {k: v[rows] for k, v in d.items()}


def repeat(d, n):
    """Repeat a one-row dict `n` times."""
    return {k: np.repeat(v, n, axis=0) for k, v in d.items()}


def _speed(temp, w):
    """Speed relative to 28 C: exponential below, levelling off and falling in the heat."""
    g = w["q10"][:, None] ** ((np.minimum(temp, 31.0) - 28.0) / 10.0)
    g = g / (1 + np.exp((temp - w["t_hot"][:, None] - 1.5) / 0.6))
    return g / (1 + np.exp((9.0 - temp) / 1.5))


def develop(w, c, hours=None):
    """Return N, U, C, S per gram as they stand in the water and as counted, at `hours` of each row.

    Deaths go to pools which are still counted: a dead cyst as a cyst, a dead umbrella as an umbrella until it
    rots, a dead nauplius as a nauplius with the chance `dead_n_read`.
    """
    hours = np.minimum(c["hours"] if hours is None else hours, HOURS - DT)
    n = hours.size
    last = np.round(hours / DT).astype(int)
    oxy = np.maximum(c["oxy"] - (w["oxy_use"] * np.maximum(c["density"] - c["limit"], 0) * 1.6)[:, None], 0.2)
    ph = c["ph"] - 0.07 * np.maximum(c["density"] - c["limit"], 0)[:, None]
    speed = _speed(c["temp"], w)
    f_oxy = oxy**3 / (oxy**3 + w["oxy_half"][:, None] ** 3)
    f_ph = 1 / (1 + np.exp(-(ph - w["ph_half"][:, None]) / w["ph_width"][:, None]))
    f_sal = 1 / (1 + np.exp((c["sal"] - w["salt_half"]) / w["salt_width"]))
    hot = w["hot_kill"][:, None] * np.maximum(c["temp"] - w["t_hot"][:, None], 0) ** 1.5
    choke = w["oxy_kill"][:, None] * (1 - f_oxy)
    fresh = 0.04 * np.maximum(6.0 - c["sal"], 0)
    k_e = E_STEPS / (w["t_break"] * c["slow"])[:, None] * speed * f_oxy * (0.7 + 0.3 * f_sal)[:, None]
    k_u = U_STEPS / (w["t_umbrella"] * c["slow"])[:, None] * speed * f_ph * f_oxy
    k_n = N_STEPS / w["instar1_h"][:, None] * speed
    h_u = (
        1.5 * hot
        + 1.5 * choke
        + w["hang_kill"][:, None] * (1 - f_ph)
        + (w["poison_u"] * c["poison"] + 0.3 * c["soap"] + fresh)[:, None]
    )
    h_n = (
        hot
        + choke
        + (w["poison_n"] * c["poison"] + c["soap"] + fresh + w["crowd"] * np.maximum(c["density"] - c["limit"], 0))[
            :, None
        ]
    )
    live = c["viable"] * c["wet"] * (1 - c["burst"])
    dark = c["dark_h"] > 0
    wait = np.where(dark, live * w["dark_need"], 0.0)
    never = wait * w["dark_never"] * (1 - np.exp(-c["dark_h"] / 6.0))
    wait = wait - never
    dry = live * (1 - f_sal)  # brine: these never take up enough water to break
    e, um, na = np.zeros((n, E_STEPS)), np.zeros((n, U_STEPS)), np.zeros((n, N_STEPS))
    e[:, 0] = (live - wait - never) * f_sal
    old, dead_c, dead_u, dead_n, gone = (np.zeros(n) for _ in range(5))
    got = {k: np.zeros(n) for k in "NUCS"}
    idle = (1 - c["viable"]) * c["wet"] * (1 - c["burst"]) + (1 - c["wet"]) * w["wall_wash"] * (1 - c["burst"])
    for i in range(int(last.max()) + 1):
        now = last == i
        if now.any():
            got["C"][now] = (idle + (wait + never) * f_sal + dry + e.sum(1) + dead_c)[now]
            got["U"][now] = (um.sum(1) + dead_u)[now]
            got["N"][now] = (na.sum(1) + old + w["dead_n_read"] * dead_n)[now]
            got["S"][now] = (na.sum(1) + old + dead_n + gone)[now]
        out = dark & (c["dark_h"] <= i * DT)
        e[out, 0] += (wait * f_sal)[out]
        wait[out] = 0.0
        p = np.minimum(k_e[:, i] * DT, 0.95)[:, None] * e
        d = (1 - np.exp(-(0.7 * hot[:, i] + 0.5 * choke[:, i]) * DT))[:, None] * (e - p)
        e = e - p - d
        e[:, 1:] += p[:, :-1]
        dead_c = dead_c + d.sum(1)
        q = np.minimum(k_u[:, i] * DT, 0.95)[:, None] * um
        d = (1 - np.exp(-h_u[:, i] * DT))[:, None] * (um - q)
        um = um - q - d
        um[:, 1:] += q[:, :-1]
        um[:, 0] += p[:, -1]
        hatch = q[:, -1] * (1 - c["weak"])
        rot = dead_u * w["u_rot"] * DT
        dead_u = dead_u + d.sum(1) + q[:, -1] * c["weak"] - rot
        r = np.minimum(k_n[:, i] * DT, 0.95)[:, None] * na
        d = (1 - np.exp(-h_n[:, i] * DT))[:, None] * (na - r)
        na = na - r - d
        na[:, 1:] += r[:, :-1]
        na[:, 0] += hatch
        loss = old * (1 - np.exp(-(h_n[:, i] + w["aged_loss"]) * DT))
        old = old + r[:, -1] - loss
        fade = dead_n * 0.05 * DT
        dead_n = dead_n + d.sum(1) + loss - fade
        gone = gone + rot + fade
    real = {k: v * c["full"] for k, v in got.items()}
    real["S"] = real["S"] + c["empty"]
    read_u = real["U"] * (1 - c["u_as_c"])
    counted = {
        "N": real["N"] * c["see_n"],
        "U": read_u * c["see_u"],
        "C": (real["C"] + real["U"] * c["u_as_c"]) * c["see_c"],
        "S": real["S"] * c["see_s"],
    }
    counted = {k: v * c["all"] for k, v in counted.items()}
    return real, counted
