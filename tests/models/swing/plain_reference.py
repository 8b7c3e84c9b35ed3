"""The swing metrics the plain way: NumPy and SciPy, one swing at a time, as a practitioner would write them.

Written from the definitions alone, sharing no code with the compiled kernel. It is what the kernel is held
against (to 1e-6), and the baseline its speed is measured by.
"""

import numpy as np
from scipy import signal

EVENTS = ("address", "takeaway", "mid_back", "top", "mid_down", "impact", "finish")
WINTER = (np.sqrt(2.0) - 1.0) ** 0.25


def lowpass(x, cutoff, rate):
    """Zero-phase second-order Butterworth with the two-pass correction and prewarping, gaps bridged."""
    x = np.asarray(x, dtype=float)
    known = np.isfinite(x)
    if not known.any():
        return np.full(x.shape, np.nan)
    k = np.arange(x.size)
    bridged = np.interp(k, k[known], x[known])
    if rate < 2.5 * cutoff or x.size < 2:
        return np.where(known, bridged, np.nan)
    corrected = rate / np.pi * np.arctan(np.tan(np.pi * cutoff / rate) / WINTER)
    b, a = signal.butter(2, corrected, fs=rate)
    padlen = min(x.size - 1, int(np.ceil(rate / cutoff)))
    return np.where(known, signal.filtfilt(b, a, bridged, padtype="odd", padlen=padlen), np.nan)


def bridged(x):
    k, known = np.arange(x.size), np.isfinite(x)
    return np.interp(k, k[known], x[known])


def mean(x):
    known = np.isfinite(x)
    return x[known].mean() if known.any() and 2 * known.sum() >= x.size else np.nan


def extremes(x):
    known = np.isfinite(x)
    return (x[known].min(), x[known].max()) if known.any() and 2 * known.sum() >= x.size else (np.nan, np.nan)


class Swing:
    """Signals of one swing; `columns` maps the trace's column names to arrays."""

    def __init__(self, columns, rate, events, stance=None, body_n=np.nan):
        self.rate, self.stance, self.body_n = rate, stance, body_n
        self.columns = {name: np.asarray(values, dtype=float) for name, values in columns.items()}
        self.n = self.columns["lead_n"].size
        self.exact = {e: events.get(e, np.nan) * rate for e in EVENTS}
        self.at = {}
        for event in EVENTS:
            spot = np.rint(self.exact[event])
            self.at[event] = int(spot) if 0 <= spot < self.n else None
        self.signals()

    def samples(self, seconds):
        return int(np.rint(seconds * self.rate))

    def window(self, x, event, seconds):
        centre = self.at[event]
        if centre is None:
            return np.array([])
        half = self.samples(seconds)
        return x[max(centre - half, 0) : centre + half + 1]

    def value(self, x, event, seconds=0.010):
        return mean(self.window(x, event, seconds))

    def span(self, x, first, last):
        low, high = self.at[first], self.at[last]
        return np.array([]) if low is None or high is None or high < low else x[low : high + 1]

    def signals(self):
        c, rate, nothing = self.columns, self.rate, np.full(self.n, np.nan)
        cut = min(50.0, rate / 4)
        self.lead = np.maximum(lowpass(c["lead_n"], cut, rate), 0)
        self.trail = np.maximum(lowpass(c["trail_n"], cut, rate), 0)
        self.total = self.lead + self.trail
        quiet = mean(self.window(self.total, "address", 0.150))
        weight = quiet if quiet > 0 else self.body_n
        self.percent = 100.0 / weight if weight > 0 else np.nan
        self.threshold = weight if weight > 0 else mean(self.total)
        with np.errstate(all="ignore"):
            self.share = np.where(self.total >= 0.10 * self.threshold, 100 * self.lead / self.total, np.nan)
        self.along, self.floor = {}, {}
        for foot in ("lead", "trail"):
            on = c[f"{foot}_n"] >= 0.05 * self.threshold
            along = np.where(on, c.get(f"{foot}_along_pct", nothing), np.nan)
            self.along[foot] = lowpass(along, 20.0, rate)
            across = np.where(on, c.get(f"{foot}_across_mm", nothing), np.nan)
            self.floor[foot] = (self.along[foot], lowpass(across, 20.0, rate))
        heels = [c.get("lead_heel_n", nothing), c.get("trail_heel_n", nothing)]
        self.measured = all(np.isfinite(h).any() for h in heels)
        placed = all(np.isfinite(self.along[foot]).any() for foot in ("lead", "trail"))
        if self.measured:
            self.heel = [np.maximum(lowpass(h, cut, rate), 0) for h in heels]
        elif placed:
            self.heel = [
                load * np.clip((70 - self.held_along(foot)) / 55, 0, 1)
                for load, foot in ((self.lead, "lead"), (self.trail, "trail"))
            ]
        else:
            self.heel = [nothing, nothing]

    def held_along(self, foot):
        """Filtered along without its nulls: the filter runs over the bridged signal."""
        on = self.columns[f"{foot}_n"] >= 0.05 * self.threshold
        raw = np.where(on, self.columns[f"{foot}_along_pct"], np.nan)
        return lowpass(bridged(raw), 20.0, self.rate)

    def metrics(self):
        m = {}
        self.address(m)
        self.back(m)
        self.down(m)
        self.strike(m)
        t = {e: self.exact[e] / self.rate for e in EVENTS}
        back, down = t["top"] - t["takeaway"], t["impact"] - t["top"]
        m["backswing_s"] = back if back > 0 else np.nan
        m["downswing_s"] = down if down > 0 else np.nan
        m["back_opposition"] = self.opposition("takeaway", "top")
        m["down_opposition"] = self.opposition("top", "impact")
        return m

    def address(self, m):
        m["address_lead_share_pct"] = self.value(self.share, "address", 0.150)
        for i, foot in enumerate(("lead", "trail")):
            m[f"address_{foot}_along_pct"] = self.value(self.along[foot], "address", 0.150)
            load = (self.lead, self.trail)[i]
            with np.errstate(all="ignore"):
                share = np.where(load >= 0.05 * self.threshold, 100 * self.heel[i] / load, np.nan)
            if not self.measured:
                share = 100 * np.clip((70 - self.along[foot]) / 55, 0, 1)
            m[f"address_{foot}_heel_share_pct"] = self.value(share, "address", 0.150)
        m["address_sway_speed_mm_s"] = self.sway()
        m["stance_width_mm"] = np.nan
        if self.stance is not None:
            s = np.asarray(self.stance).reshape(4, 2)
            m["stance_width_mm"] = np.linalg.norm(s[0] - s[2])
        start, back = self.at["takeaway"], self.samples(0.5)
        m["start_rock_pct"] = np.nan
        if start is not None and start >= back:
            ranges = [
                np.diff(extremes(self.along[f][start - back : start + 1]))[0] for f in ("lead", "trail")
            ]
            m["start_rock_pct"] = max(ranges) if np.isfinite(ranges).all() else np.nan

    def sway(self):
        start, steps = self.at["takeaway"], self.samples(1.0)
        if start is None or start < steps:
            return np.nan
        c = self.columns
        if "cop_x_mm" in c and "cop_y_mm" in c:
            point = [c["cop_x_mm"][: start + 1], c["cop_y_mm"][: start + 1]]
        elif self.stance is not None and "lead_across_mm" in c and "trail_across_mm" in c:
            weights, sums = np.zeros(start + 1), np.zeros((2, start + 1))
            s = np.asarray(self.stance, dtype=float).reshape(2, 2, 2)
            for i, (foot, load) in enumerate((("lead", self.lead), ("trail", self.trail))):
                along, across = (values[: start + 1] for values in self.floor[foot])
                axis = s[i, 1] - s[i, 0]
                square = np.array([axis[1], -axis[0]]) / np.linalg.norm(axis) * np.sign(axis[1])
                spot = s[i, 0][:, None] + along / 100 * axis[:, None] + across * square[:, None]
                there = np.isfinite(spot).all(axis=0)
                weights += np.where(there, load[: start + 1], 0)
                sums += np.where(there, load[: start + 1] * spot, 0)
            with np.errstate(all="ignore"):
                point = list(np.where(weights > 0, sums / weights, np.nan))
        else:
            return np.nan
        x, y = (lowpass(values, 5.0, self.rate) for values in point)
        step = np.hypot(np.diff(x), np.diff(y))
        paths = np.lib.stride_tricks.sliding_window_view(step, steps).sum(axis=1)
        paths = paths[np.isfinite(paths)]
        return paths.min() * self.rate / steps if paths.size else np.nan

    def back(self, m):
        trail = 100 - self.share
        m["mid_back_trail_share_pct"] = self.value(trail, "mid_back")
        m["top_lead_share_pct"] = self.value(self.share, "top")
        m |= dict.fromkeys(("trail_peak_share_pct", "recentre_pts", "trail_peak_before_top_s"), np.nan)
        self.peak_at = np.nan
        span = self.span(trail, "takeaway", "top")
        if span.size:
            half = self.samples(0.020)
            means = np.array([mean(span[max(k - half, 0) : k + half + 1]) for k in range(span.size)])
            if np.isfinite(means).any():
                peak = np.nanmax(means)
                weight = np.nan_to_num(np.maximum(means - (peak - 0.1), 0))
                self.peak_at = self.at["takeaway"] + (weight * np.arange(span.size)).sum() / weight.sum()
                ahead = max((self.exact["top"] - self.peak_at) / self.rate, 0)
                m["trail_peak_share_pct"], m["trail_peak_before_top_s"] = peak, ahead
                if peak >= 58:
                    come_back = peak - (100 - m["top_lead_share_pct"])
                    m["recentre_pts"] = come_back if ahead >= 0.020 - 1e-9 else 0.0
        heel = self.value(self.heel[0], "address", 0.150)
        m["lead_heel_unload_pct_bw"] = (
            heel - extremes(self.span(self.heel[0], "takeaway", "top"))[0]
        ) * self.percent
        trail_address, lead_address = m["address_trail_along_pct"], m["address_lead_along_pct"]
        m["trail_heel_sink_pct"] = (
            trail_address - extremes(self.span(self.along["trail"], "takeaway", "top"))[0]
        )
        m["back_both_heelward_pct"] = np.minimum(
            lead_address - extremes(self.span(self.along["lead"], "mid_back", "top"))[0],
            trail_address - extremes(self.span(self.along["trail"], "mid_back", "top"))[0],
        )

    def down(self, m):
        span = self.span(100 - self.share, "top", "mid_down")
        m["trail_push_pts"] = extremes(span)[1] - (100 - m["top_lead_share_pct"])
        highest = extremes(self.span(self.trail, "top", "mid_down"))[1]
        m["trail_push_pct_bw"] = (highest - self.value(self.trail, "top")) * self.percent
        m["mid_down_lead_share_pct"] = self.value(self.share, "mid_down")
        fall = self.value(self.heel[1], "top") - self.value(self.heel[1], "mid_down")
        m["trail_heel_unload_pct_bw"] = fall * self.percent
        m["down_both_toeward_pct"] = np.minimum(
            *(
                self.value(self.along[f], "mid_down") - self.value(self.along[f], "top")
                for f in ("lead", "trail")
            )
        )
        m["crossing"], m["crossing_before_impact_s"], m["transfer_rate_pct_s"] = None, np.nan, np.nan
        top, impact = self.at["top"], self.at["impact"]
        if top is None or impact is None or impact <= top:
            return
        self.cross(m, top, impact)
        if np.isfinite(self.peak_at):
            points = self.samples(0.060) + 1
            span = self.share[int(np.rint(self.peak_at)) : impact + 1]
            if span.size >= points:
                windows = np.lib.stride_tricks.sliding_window_view(span, points)
                t = (np.arange(points) - (points - 1) / 2) / self.rate
                slopes = windows @ t / (t @ t)
                m["transfer_rate_pct_s"] = np.nanmax(slopes) if np.isfinite(slopes).any() else np.nan

    def cross(self, m, top, impact):
        k = np.arange(top, impact + 1)
        s = self.share[top : impact + 1]
        k, s = k[np.isfinite(s)], s[np.isfinite(s)]
        if not np.isfinite(m["top_lead_share_pct"]) or 2 * s.size < impact - top + 1:
            return
        if m["top_lead_share_pct"] > 50:
            m["crossing"] = "before_top"
            return
        under = np.flatnonzero(s < 47)
        start = under[-1] if under.size else 0
        reached = np.flatnonzero(s[start:] >= 53)
        if not reached.size:
            m["crossing"] = "never"
            return
        m["crossing"] = "crossed"
        end = start + reached[0]
        below = np.flatnonzero(s[start:end] < 50)
        if below.size:
            j = start + below[-1]
            at = k[j] + (50 - s[j]) / (s[j + 1] - s[j]) * (k[j + 1] - k[j])
        else:
            at = k[start]
        m["crossing_before_impact_s"] = (self.exact["impact"] - at) / self.rate

    def strike(self, m):
        m["impact_lead_share_pct"] = self.value(self.share, "impact")
        m["impact_gain_pts"] = m["impact_lead_share_pct"] - m["mid_down_lead_share_pct"]
        m["impact_trail_heel_pct_bw"] = self.value(self.heel[1], "impact") * self.percent
        lead = self.along["lead"]
        m["lead_heelward_pct"] = self.value(lead, "mid_down") - self.value(lead, "impact")
        m["finish_lead_share_pct"] = self.value(self.share, "finish")
        m["peak_vertical_pct_bw"] = m["peak_vertical_before_impact_s"] = np.nan
        top, finish = self.at["top"], self.at["finish"]
        if top is None:
            return
        end = finish if finish is not None and finish > top else self.n - 1
        span = self.total[top : end + 1] * self.percent
        highest = extremes(span)[1]
        m["peak_vertical_pct_bw"] = highest
        if self.at["impact"] is not None and np.isfinite(highest):
            weight = np.nan_to_num(np.maximum(span - (highest - 0.1), 0))
            at = top + (weight * np.arange(span.size)).sum() / weight.sum()
            m["peak_vertical_before_impact_s"] = (self.exact["impact"] - at) / self.rate

    def opposition(self, first, last):
        low, high = self.at[first], self.at[last]
        if None in (low, high, self.at["address"]) or high <= low or not np.isfinite(self.heel).any():
            return np.nan
        with np.errstate(all="ignore"):
            there = self.total >= 0.1 * self.threshold
            shares = [
                lowpass(np.where(there, 100 * heel / self.total, np.nan), 15.0, self.rate)
                for heel in self.heel
            ]
        for share in shares:
            least, highest = extremes(share[low : high + 1])
            quiet = self.window(share, "address", 0.150)
            known = quiet[np.isfinite(quiet)]
            noise = known.std(ddof=1) if known.size > 1 and 2 * known.size >= quiet.size else np.nan
            if not (highest - least >= 8.0 and highest - least >= 15 * noise):
                return np.nan
        u, v = (np.diff(share[low : high + 1]) for share in shares)
        both = np.isfinite(u + v)
        if 2 * both.sum() < u.size:
            return np.nan
        u, v = u[both], v[both]
        return np.clip(-(u @ v) / np.sqrt((u @ u) * (v @ v)), -1, 1)


def plain_metrics(columns, rate, events, stance=None, body_n=np.nan):
    """Every plate metric of one swing by name, NaN for null, and `crossing`."""
    return Swing(columns, rate, events, stance, body_n).metrics()
