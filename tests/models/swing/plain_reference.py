"""The swing metrics the plain way: NumPy and SciPy, one swing at a time, as a practitioner would write them.

Written from the definitions alone, sharing no code with the compiled kernel. It is what the kernel is held
against (to 1e-6), and the baseline its speed is measured by.
"""

from itertools import pairwise

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


def passes(x, start, level):
    """Where x is first at a level or over it from `start` on, by a straight line; NaN if never."""
    over = np.flatnonzero(x[start:] >= level)
    if not over.size:
        return np.nan
    k = start + over[0]
    if k == start or not np.isfinite(x[k - 1]):
        return float(k)
    return k - (x[k] - level) / (x[k] - x[k - 1])


def slope(x, place, reach):
    """Size of the slope of x a sample, from `reach` samples before a place to as many after."""
    low, high = max(int(place) - reach, 0), min(int(place) + 1 + reach, x.size - 1)
    return abs(x[high] - x[low]) / (high - low) if high > low else 0.0


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
        self.places(m)
        self.heels(m)
        self.push(m)
        self.order(m)
        return m

    def heel_shares(self):
        """Each heel's load in % of its own foot's, where the foot is on the ground."""
        shares = []
        for i, foot in enumerate(("lead", "trail")):
            load = (self.lead, self.trail)[i]
            with np.errstate(all="ignore"):
                share = np.where(load >= 0.05 * self.threshold, 100 * self.heel[i] / load, np.nan)
            shares.append(share if self.measured else 100 * np.clip((70 - self.along[foot]) / 55, 0, 1))
        return shares

    def places(self, m):
        """Where each foot's pressure is at the moments of the swing, and how far both went the same way."""
        for event in ("mid_back", "top", "mid_down", "impact", "finish"):
            for foot in ("lead", "trail"):
                m[f"{event}_{foot}_along_pct"] = self.value(self.along[foot], event)
        back = {foot: self.span(self.along[foot], "mid_back", "top") for foot in ("lead", "trail")}
        m["back_trail_least_along_pct"] = extremes(back["trail"])[0]
        m["back_both_toeward_pct"] = np.minimum(
            *(extremes(back[foot])[1] - m[f"address_{foot}_along_pct"] for foot in ("lead", "trail"))
        )
        m["down_both_heelward_pct"] = np.minimum(
            *(m[f"top_{foot}_along_pct"] - m[f"mid_down_{foot}_along_pct"] for foot in ("lead", "trail"))
        )
        m["starting_move_pts"] = np.nan
        start, before, after = self.at["takeaway"], self.samples(0.1), self.samples(0.25)
        if start is not None and start >= before:
            span = self.share[start - before : start + after + 1]
            m["starting_move_pts"] = self.extreme_mean(span, 0.04, np.max) - m["address_lead_share_pct"]
        impact, finish = self.at["impact"], self.at["finish"]
        m["lead_least_after_impact_pct_bw"] = np.nan
        if impact is not None:
            end = finish if finish is not None and finish > impact else self.n - 1
            m["lead_least_after_impact_pct_bw"] = extremes(self.lead[impact : end + 1])[0] * self.percent
        m["return_after_top_s"] = np.nan
        trail = self.span(100 - self.share, "takeaway", "mid_down")
        highest = extremes(trail)[1]
        if m["trail_peak_share_pct"] >= 58 and np.isfinite(highest):
            peaked = int(np.flatnonzero(trail == highest)[0])
            back_at = trail.size - 1.0
            known = [k for k in range(peaked, trail.size) if np.isfinite(trail[k])]
            for before_it, k in pairwise(known):
                if trail[k] <= highest - 5:
                    rest = (highest - 5 - trail[k]) / (trail[before_it] - trail[k])
                    back_at = k - rest
                    break
            m["return_after_top_s"] = (self.at["takeaway"] + back_at - self.exact["top"]) / self.rate

    def running(self, span, seconds):
        """Means over so many seconds about each sample, cut at the span's ends."""
        half = self.samples(seconds / 2)
        return np.array([mean(span[max(k - half, 0) : k + half + 1]) for k in range(span.size)])

    def extreme_mean(self, span, seconds, which):
        means = self.running(span, seconds)
        known = means[np.isfinite(means)]
        return which(known) if known.size else np.nan

    def heels(self, m):
        """How far each heel lightens within its own foot, and whether the two take turns."""
        lead, trail = self.heel_shares()
        m["top_trail_heel_share_pct"] = self.value(trail, "top")
        m["mid_down_lead_heel_share_pct"] = self.value(lead, "mid_down")
        for name, heel, held, span in (
            ("lead_heel_lightens_pts", lead, self.value(lead, "address", 0.150), ("mid_back", "top")),
            ("trail_heel_lightens_pts", trail, self.value(trail, "top"), ("mid_down", "impact")),
        ):
            between = self.span(heel, *span)
            enough = 2 * np.isfinite(between).sum() >= between.size
            least = self.extreme_mean(between, 0.04, np.min) if enough else np.nan
            m[name] = held - least if held >= 8 else np.nan
        for name, first, last in (("back", "takeaway", "top"), ("down", "top", "impact")):
            m[f"{name}_heel_opposition"] = self.turns(lead, trail, first, last)

    def turns(self, lead, trail, first, last):
        low, high, steps = self.at[first], self.at[last], self.samples(0.06)
        if low is None or high is None or high <= low + steps:
            return np.nan
        window = 2 * (steps // 2) / self.rate
        u, v = (self.running(heel[low : high + 1], window) for heel in (lead, trail))
        moves = [np.diff(extremes(means))[0] for means in (u, v)]
        if not np.isfinite(moves).all():
            return np.nan
        if min(moves) < 8:
            return 0.0
        u, v = u[steps:] - u[:-steps], v[steps:] - v[:-steps]
        both = np.isfinite(u + v)
        u, v = u[both], v[both]
        if not (u @ u > 0 and v @ v > 0):
            return np.nan
        return np.clip(-(u @ v) / np.sqrt((u @ u) * (v @ v)), -1, 1)

    def push(self, m):
        """Pushing off the trail foot: its load, its share and the whole load rise together."""
        load, total, share = (
            self.span(x, "top", "mid_down") for x in (self.trail, self.total, 100 - self.share)
        )
        highest = extremes(load)[1]
        at = int(np.flatnonzero(load == highest)[0]) if np.isfinite(highest) else None
        there = (np.nan, np.nan) if at is None else (total[at], share[at])
        m["trail_push_total_pct_bw"] = (there[0] - self.value(self.total, "top")) * self.percent
        m["trail_push_share_pts"] = there[1] - self.value(100 - self.share, "top")
        push, total, share = (m[f"trail_push_{part}"] for part in ("pct_bw", "total_pct_bw", "share_pts"))
        # Conditions one after another: what an earlier one settles needs no later one to be known.
        m["trail_push_off_pct_bw"] = max(push, 0.0) if np.isfinite(push) else np.nan
        for value, least in ((share, -4), (total, 3), (share + 100 - m["top_lead_share_pct"], 50)):
            if not np.isfinite(value):
                m["trail_push_off_pct_bw"] = np.nan
            elif value < least:
                m["trail_push_off_pct_bw"] = 0.0

    def order(self, m):
        """When the lead heel is down again, and the trail heel up, with the waver of each at address."""
        m["heel_order_ms"] = m["heel_order_error_ms"] = np.nan
        lead, trail = self.heel_shares()
        address, back, top, impact = (self.at[e] for e in ("address", "mid_back", "top", "impact"))
        if None in (address, back, top, impact) or not back < top < impact:
            return
        half = self.samples(0.010)
        standing, at_top = self.value(lead, "address", 0.150), self.value(trail, "top")
        heels = [self.running(lead[back : impact + 1], 0.020), self.running(trail[top : impact + 1], 0.020)]
        early = heels[0][: top - back + 1]
        if not np.isfinite(early).any():
            return
        lightest = int(np.nanargmin(early))
        off = passes(-heels[1], 0, -min(at_top / 2, at_top - 8))
        if not standing - early[lightest] >= 8 or not np.isfinite(off):
            return
        down = passes(heels[0], lightest, standing - 8)
        waver = [
            x[np.isfinite(x)].std(ddof=1) if np.isfinite(mean(x)) and np.isfinite(x).sum() > 1 else np.nan
            for x in (self.window(heel, "address", 0.150) for heel in (lead, trail))
        ]
        with np.errstate(all="ignore"):
            errors = [waver[1] / slope(heels[1], off, half)]
            errors += [waver[0] / slope(heels[0], down, half)] if np.isfinite(down) else []
        error = np.sqrt(np.sum(np.square(errors))) * 1000 / self.rate
        if np.isfinite(error):
            down = down if np.isfinite(down) else impact - back
            m["heel_order_error_ms"] = error
            m["heel_order_ms"] = (back + down - top - off) * 1000 / self.rate if error <= 50 else np.nan

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
