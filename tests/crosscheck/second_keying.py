"""The exposure limits keyed a second time, one rule after the other, without a table evaluator.

Written from the same page of limits as ``lasersafe.limits`` but without looking at its data files: scalar, ``math``
only, explicit conditions. Units are those of the page: wavelength nm, time s, angle mrad, aperture mm, J/m2 and W/m2.

A range holds both of its ends (within a relative 1e-12): at an edge shared by two rows both are worked out and the
lower limit stays. Factors likewise: at an edge shared by two rows of a factor the smaller one is used. Where two
limits of one hazard meet, the lower stays; over the other's aperture if a narrow beam might have less by the other.
"""

from __future__ import annotations

import math

ICNIRP = "ICNIRP-2013"
EU = "EU-2006/25/EC"
EDGE = 1e-12
SLACK = 1e-9
JOINS = (1e-11, 1e-9, 1e-7, 5e-6, 13e-6, 1.8e-5, 5e-5, 625e-6, 1e-3, 0.25, 10.0, 100.0)

# hazard -> (radiant exposure J/m2, irradiance W/m2, limiting aperture mm)
Limits = dict[str, tuple[float, float, float]]


def between(low: float, x: float, high: float) -> bool:
    """Tell whether x lies in the closed range, ends widened by a relative 1e-12."""
    return low * (1.0 - EDGE) <= x <= high * (1.0 + EDGE)


# --- factors, the same in both rule sets unless a rule set is asked for ---------------------------------------------


def c_a(w: float) -> float:
    seen = []
    if between(180, w, 700):
        seen.append(1.0)
    if between(700, w, 1050):
        seen.append(10 ** (0.002 * (w - 700)))
    if between(1050, w, 1400):
        seen.append(5.0)
    return min(seen)


def c_b(w: float) -> float:
    if w <= 450:
        return 1.0
    return float(10 ** (0.02 * (w - 450)))


def c_c(rule_set: str, w: float) -> float:
    seen = []
    if between(180, w, 1150):
        seen.append(1.0)
    if between(1150, w, 1200):
        seen.append(10 ** (0.018 * (w - 1150)))
    if between(1200, w, 1400):
        if rule_set == EU:
            seen.append(8.0)
        else:
            seen.append(8.0 + 10 ** (0.04 * (w - 1250)))
    return min(seen)


def alpha_max(rule_set: str, t: float) -> float:
    if rule_set == EU:
        return 100.0
    if t < 625e-6:
        return 5.0
    if t <= 0.25:
        return 200.0 * math.sqrt(t)
    return 100.0


def c_e(rule_set: str, t: float, alpha: float) -> float:
    if alpha <= 1.5:
        return 1.0
    largest = alpha_max(rule_set, t)
    if alpha <= largest:
        return alpha / 1.5
    return alpha * alpha / (1.5 * largest)


def t_2(alpha: float) -> float:
    if alpha < 1.5:
        return 10.0
    if alpha <= 100:
        return float(10.0 * 10 ** ((alpha - 1.5) / 98.5))
    return 100.0


# --- apertures --------------------------------------------------------------------------------------------------


def aperture_by_time(rule_set: str, t: float) -> float:
    """Eye, 180-400 nm and 1400-1e5 nm."""
    first_break = 0.3 if rule_set == EU else 0.35
    seen = []
    if between(1e-13, t, first_break):
        seen.append(1.0)
    if between(first_break, t, 10):
        seen.append(1.5 * t**0.375)
    if between(10, t, 3e4):
        seen.append(3.5)
    return min(seen)


def aperture_cornea(rule_set: str, w: float, t: float) -> float:
    seen = []
    if between(1400, w, 1e5):
        seen.append(aperture_by_time(rule_set, t))
    if between(1e5, w, 1e6):
        seen.append(11.0)
    return min(seen)


def aperture_skin(rule_set: str, w: float) -> float:
    if rule_set == EU:
        return 3.5
    if w >= 1e5 and not between(1e5, w, 1e5):
        return 11.0
    return 3.5


# --- ultraviolet --------------------------------------------------------------------------------------------------


def ultraviolet_peak(w: float, t: float) -> list[float]:
    if between(180, w, 400) and between(1e-13, t, 1e-9):
        return [3e10 * t]
    return []


def ultraviolet_thermal(w: float, t: float) -> list[float]:
    if between(180, w, 400) and between(1e-9, t, 10):
        return [5.6e3 * t**0.25]
    return []


def ultraviolet_photochemical_icnirp(w: float, t: float) -> list[float]:
    found = []
    if between(1e-9, t, 3e4):
        if between(180, w, 302.5):
            found.append(30.0)
        if between(302.5, w, 315):
            found.append(10 ** (0.2 * (w - 295)))
    if between(10, t, 3e4) and between(315, w, 400):
        found.append(1e4)
    return found


def eu_list(w: float) -> float:
    """Return the printed figure of the whole nanometre below; the last one holds below 315 nm."""
    w = w * (1.0 + EDGE)  # 308 nm is the figure printed at 308, whatever the last bit says
    if w < 304:
        return 40.0
    if w < 305:
        return 60.0
    if w < 306:
        return 100.0
    if w < 307:
        return 160.0
    if w < 308:
        return 250.0
    if w < 309:
        return 400.0
    if w < 310:
        return 630.0
    if w < 311:
        return 1000.0
    if w < 312:
        return 1600.0
    if w < 313:
        return 2500.0
    if w < 314:
        return 4000.0
    return 6300.0


def ultraviolet_photochemical_eu(w: float, t: float) -> list[float]:
    found = []
    if between(1e-9, t, 3e4):
        if w < 303 * (1 - EDGE):  # "below 303 nm"; "from 303 nm" the list has its own figure
            found.append(30.0)
        elif between(303, w, 315) and w < 315 * (1 - EDGE):  # "from 315 nm" 1e4 is printed
            found.append(min(eu_list(w), 10 ** (0.2 * (w - 295))))
    if between(10, t, 3e4) and between(315, w, 400):
        found.append(1e4)
    return found


# --- retina -------------------------------------------------------------------------------------------------------


def retina_short_icnirp(w: float, t: float, alpha: float) -> list[float]:
    """Below 10 s."""
    ce = c_e(ICNIRP, t, alpha)
    found = []
    if between(400, w, 700):
        if between(1e-13, t, 1e-11):
            found.append(1e-3 * ce)
        if between(1e-11, t, 5e-6):
            found.append(2e-3 * ce)
        if between(5e-6, t, 10):
            found.append(18 * t**0.75 * ce)
    if between(700, w, 1050):
        if between(1e-13, t, 1e-11):
            found.append(1e-3 * ce)
        if between(1e-11, t, 5e-6):
            found.append(2e-3 * c_a(w) * ce)
        if between(5e-6, t, 10):
            found.append(18 * t**0.75 * c_a(w) * ce)
    if between(1050, w, 1400):
        cc = c_c(ICNIRP, w)
        if between(1e-13, t, 1e-11):
            found.append(1e-3 * cc * ce)
        if between(1e-11, t, 13e-6):
            found.append(2e-2 * cc * ce)
        if between(13e-6, t, 10):
            found.append(90 * t**0.75 * cc * ce)
    return found


def retina_short_eu(w: float, t: float, alpha: float) -> list[float]:
    """Below 10 s."""
    ce = c_e(EU, t, alpha)
    found = []
    if between(400, w, 1050):
        ca = c_a(w)
        if between(1e-13, t, 1e-11):
            found.append(1.5e-4 * ca * ce)
        if between(1e-11, t, 1e-9):
            found.append(2.7e4 * t**0.75 * ca * ce)
        if between(1e-9, t, 1.8e-5):
            found.append(5e-3 * ca * ce)
        if between(1.8e-5, t, 10):
            found.append(18 * t**0.75 * ca * ce)
    if between(1050, w, 1400):
        cc = c_c(EU, w)
        if between(1e-13, t, 1e-11):
            found.append(1.5e-3 * cc * ce)
        if between(1e-11, t, 1e-9):
            found.append(2.7e5 * t**0.75 * cc * ce)
        if between(1e-9, t, 5e-5):
            found.append(5e-2 * cc * ce)
        if between(5e-5, t, 10):
            found.append(90 * t**0.75 * cc * ce)
    return found


def retina_long(rule_set: str, w: float, t: float, alpha: float) -> list[float]:
    """From 10 s on."""
    found: list[float] = []
    if not (between(400, w, 1400) and between(10, t, 3e4)):
        return found
    spectral = c_a(w) * c_c(rule_set, w)
    if alpha <= 1.5 * (1 + EDGE):
        found.append(10 * spectral * t)
    if alpha >= 1.5 * (1 - EDGE):
        turn = t_2(alpha)
        extended = spectral * c_e(rule_set, t, alpha)
        if t <= turn * (1 + EDGE):
            found.append(18 * extended * t**0.75)
        if t >= turn * (1 - EDGE):
            irradiance = 18 * extended * turn**-0.25
            if rule_set == EU and between(700, w, 1400):
                irradiance = min(irradiance, 1000.0)
            found.append(irradiance * t)
    return found


def retina_photochemical(w: float, t: float) -> list[float]:
    found = []
    if between(400, w, 600):
        if between(10, t, 100):
            found.append(100 * c_b(w))
        if between(100, t, 3e4):
            found.append(1 * c_b(w) * t)
    return found


# --- cornea and skin ----------------------------------------------------------------------------------------------


def far_infrared(w: float, t: float) -> list[float]:
    """From 1400 nm on; for the eye the cornea, for the skin the same figures."""
    found = []
    if between(1400, w, 1500) or between(1800, w, 2600):
        if between(1e-13, t, 1e-9):
            found.append(1e12 * t)
        if between(1e-9, t, 1e-3):
            found.append(1e3)
        if between(1e-3, t, 10):
            found.append(5.6e3 * t**0.25)
        if between(10, t, 3e4):
            found.append(1e3 * t)
    if between(1500, w, 1800):
        if between(1e-13, t, 1e-9):
            found.append(1e13 * t)
        if between(1e-9, t, 10):
            found.append(1e4)
        if between(10, t, 3e4):
            found.append(1e3 * t)
    if between(2600, w, 1e6):
        if between(1e-13, t, 1e-9):
            found.append(1e11 * t)
        if between(1e-9, t, 1e-7):
            found.append(100.0)
        if between(1e-7, t, 10):
            found.append(5.6e3 * t**0.25)
        if between(10, t, 3e4):
            found.append(1e3 * t)
    return found


def skin_near(w: float, t: float) -> list[float]:
    """Skin, 400-1400 nm; the directive prints the same with C_A left out where it is 1."""
    found: list[float] = []
    if between(400, w, 1400):
        ca = c_a(w)
        if between(1e-13, t, 1e-9):
            found.append(2e11 * ca * t)
        if between(1e-9, t, 1e-7):
            found.append(200 * ca)
        if between(1e-7, t, 10):
            found.append(1.1e4 * ca * t**0.25)
        if between(10, t, 3e4):
            found.append(2e3 * ca * t)
    return found


def large_area(w: float, t: float, area: float | None) -> list[float]:
    """ICNIRP, skin, from 1400 nm and 10 s on."""
    if area is None or area < 0.01 or not (between(1400, w, 1e6) and between(10, t, 3e4)):
        return []
    if area <= 0.1:
        return [10.0 / area * t]
    return [100.0 * t]


# --- the whole page -----------------------------------------------------------------------------------------------


def limit(
    rule_set: str,
    tissue: str,
    wavelength_nm: float,
    duration_s: float,
    alpha_mrad: float = 1.5,
    exposed_area_m2: float | None = None,
) -> Limits:
    """Return every applicable hazard with its limit as J/m2 and W/m2 and its limiting aperture in mm."""
    w, t, alpha, area = wavelength_nm, duration_s, alpha_mrad, exposed_area_m2
    found: dict[str, list[tuple[float, float]]] = {}

    def note(hazard: str, values: list[float], aperture: float) -> None:
        for value in values:
            found.setdefault(hazard, []).append((value, aperture))

    if between(180, w, 400):
        aperture = aperture_skin(rule_set, w) if tissue == "skin" else aperture_by_time(rule_set, t)
        note("ultraviolet peak", ultraviolet_peak(w, t), aperture)
        note("ultraviolet thermal", ultraviolet_thermal(w, t), aperture)
        if rule_set == EU:
            note("ultraviolet photochemical", ultraviolet_photochemical_eu(w, t), aperture)
        else:
            note("ultraviolet photochemical", ultraviolet_photochemical_icnirp(w, t), aperture)

    if tissue == "eye":
        if rule_set == EU:
            note("retina thermal", retina_short_eu(w, t, alpha), 7.0)
        else:
            note("retina thermal", retina_short_icnirp(w, t, alpha), 7.0)
        note("retina thermal", retina_long(rule_set, w, t, alpha), 7.0)
        note("retina photochemical", retina_photochemical(w, t), 7.0)
        if rule_set == ICNIRP and between(1200, w, 1400):
            note("cornea thermal", skin_near(w, t), 3.5)
        if between(1400, w, 1e6):
            note("cornea thermal", far_infrared(w, t), aperture_cornea(rule_set, w, t))

    if tissue == "skin":
        note("skin thermal", skin_near(w, t), aperture_skin(rule_set, w))
        note("skin thermal", far_infrared(w, t), aperture_skin(rule_set, w))
        if rule_set == ICNIRP:
            note("skin thermal", large_area(w, t, area), aperture_skin(rule_set, w))

    result: Limits = {}
    for hazard, rows in found.items():
        value, aperture = min(rows)
        aperture = min(hole for dose, hole in rows if dose * hole**2 <= value * aperture**2)
        result[hazard] = (value, value / t, aperture)
    return result


def strictest(limits: Limits) -> tuple[str, float]:
    """Return the hazard with the lowest limit, and that limit in J/m2."""
    hazard = min(limits, key=lambda name: (limits[name][0], limits[name][2]))
    return hazard, limits[hazard][0]


# --- pulse trains -------------------------------------------------------------------------------------------------


def whole_pulses(x: float) -> int:
    """Round up, with a relative slack of 1e-9 for a product that should have been whole."""
    return max(1, math.ceil(x - SLACK * x))


def merging_times_icnirp(w: float) -> list[float]:
    found = []
    if between(400, w, 1050):
        found.append(5e-6)
    if between(1050, w, 1400):
        found.append(13e-6)
    return found


def merging_and_counting_times_eu(w: float, exposure: float) -> list[tuple[float, float]]:
    """Return T_min and how long pulses are counted for; two pairs where rows meet, 0 where no T_min is printed."""
    found = []
    if between(180, w, 315):
        found.append((0.0, exposure))
    if between(315, w, 400):
        found.append((1e-9, exposure))
    if between(400, w, 1050):
        found.append((18e-6, exposure))
    if between(1050, w, 1400):
        found.append((50e-6, exposure))
    if between(1400, w, 1500):
        found.append((1e-3, exposure))
    if between(1500, w, 1800):
        found.append((10.0, exposure))
    if between(1800, w, 2600):
        found.append((1e-3, exposure))
    if between(2600, w, 1e6):
        found.append((1e-7, exposure))
    return found


def c_p_icnirp(t: float, merging_time: float, exposure: float, n: int, alpha: float) -> float:
    """``t`` is the duration of the pulse, or of the group."""
    if t <= merging_time * (1 + EDGE):
        if exposure <= 0.25 * (1 + EDGE):
            return 1.0
        if n <= 600:
            return 1.0
        return min(1.0, max(0.4, 5 * float(n**-0.25)))  # N = 601 to 624 would give more than 1
    if alpha <= 5:
        return 1.0
    if alpha > 100:
        return 1.0
    if alpha <= alpha_max(ICNIRP, t):
        if n <= 40:
            return float(n**-0.25)
        return 0.4
    if n <= 625:
        return float(n**-0.25)
    return 0.2


def pulse_rows(
    rule_set: str,
    tissue: str,
    w: float,
    pulse: float,
    rate: float,
    exposure: float,
    alpha: float = 1.5,
    area: float | None = None,
    windows: int = 2000,
) -> dict[tuple[str, str], float]:
    """Return the per-pulse limit in J/m2 of every (rule, hazard)."""
    rows: dict[tuple[str, str], float] = {}

    def note(rule: str, hazard: str, value: float) -> None:
        rows[rule, hazard] = min(value, rows.get((rule, hazard), math.inf))

    # 1. one pulse
    for hazard, (value, _, _) in limit(rule_set, tissue, w, pulse, alpha, area).items():
        note("single pulse", hazard, value)

    # 2. any window: n pulses take (n - 1)/f + pulse, all of them at most the exposure. Beyond the windows tried one by
    # one stand those next to a join of rows: in between, the limit is one power of time, its mean has no inner minimum.
    everything = whole_pulses(exposure * rate)
    wanted: set[tuple[float, int]] = {(exposure, everything)}

    def window(n: int) -> None:
        if 1 <= n <= everything:
            wanted.add((min((n - 1) / rate + pulse, exposure), n))

    for n in range(1, min(everything, windows) + 1):
        window(n)
    window(everything)
    for join in (*JOINS, t_2(alpha), (alpha / 200) ** 2):
        if pulse < join < exposure:
            inside = math.floor((join - pulse) * rate) + 1
            for n in range(inside - 2, inside + 4):
                window(n)
    for time, n in wanted:
        for hazard, (value, _, _) in limit(rule_set, tissue, w, time, alpha, area).items():
            note("mean", hazard, value / n)

    # 3. trains: C_P times the limit of one pulse, and of one group for the sum of its pulses; where a pulse lasts until
    # the next one the emission is continuous, and no train
    if pulse * rate >= 1 - SLACK:
        return rows
    if rule_set == ICNIRP:
        if tissue == "eye" and between(400, w, 1400) and pulse <= 0.25 * (1 + EDGE):
            counted = whole_pulses(min(exposure, t_2(alpha)) * rate)
            for merging_time in merging_times_icnirp(w):
                together = min(whole_pulses(merging_time * rate), everything)
                time = pulse if together == 1 else min(merging_time, exposure)
                n = math.ceil(counted / together)
                factor = c_p_icnirp(time, merging_time, exposure, n, alpha)
                if together == 1 and between(merging_time, pulse, merging_time):  # a pulse of T_i is of both sides
                    factor = min(factor, c_p_icnirp(pulse * (1 + SLACK), merging_time, exposure, n, alpha))
                one = limit(rule_set, tissue, w, pulse, alpha)["retina thermal"][0]
                note("train", "retina thermal", one * factor)
                group = limit(rule_set, tissue, w, time, alpha)["retina thermal"][0]
                note("train", "retina thermal", group * factor / together)
    else:
        # "thermal limits only": everything but the photochemical limits, so the peak below 1e-9 s as well
        for merging_time, count_time in merging_and_counting_times_eu(w, exposure):
            together = min(whole_pulses(merging_time * rate), everything)
            time = pulse if together == 1 else min(merging_time, exposure)
            factor = math.ceil(whole_pulses(count_time * rate) / together) ** -0.25
            for lasting, pulses in ((pulse, 1), (time, together)):
                for hazard, (value, _, _) in limit(rule_set, tissue, w, lasting, alpha, area).items():
                    if not hazard.endswith("photochemical"):
                        note("train", hazard, value * factor / pulses)
    return rows


def pulse_limit(
    rule_set: str,
    tissue: str,
    wavelength_nm: float,
    pulse_s: float,
    rate_hz: float,
    duration_s: float,
    alpha_mrad: float = 1.5,
    exposed_area_m2: float | None = None,
    windows: int = 2000,
) -> tuple[float, str]:
    """Return the lowest per-pulse limit in J/m2 and the rule that decides; of equal rules the first one."""
    rows = pulse_rows(
        rule_set, tissue, wavelength_nm, pulse_s, rate_hz, duration_s, alpha_mrad, exposed_area_m2, windows
    )
    order = ["single pulse", "mean", "train"]
    rule, hazard = min(rows, key=lambda key: (rows[key], order.index(key[0])))
    return rows[rule, hazard], rule
