"""Rows of the season's answers for the small academy of the dashboard's tests: what pages must show is known."""

from datetime import date

import polars as pl

SEASON = "2026"
WEEK, AS_OF = date(2026, 3, 16), date(2026, 3, 23)


def add(w) -> None:
    """Fill the tables that the weekly review, drills, coaches and trust pages read."""
    signals(w)
    drills(w)
    coaches(w)
    trust(w)
    ball(w)


def signals(w) -> None:
    heel, down = "impact_trail_heel_pct_bw", "trail_heel_down"
    line = {"subject": heel, "club_family": "iron"}
    rows = [
        ("discomfort", "s01", "c01", "left_knee", [], None, [{"subject": "left_knee", "day": WEEK}]),
        ("slipping", "s02", "c02", heel, [down, "stays_centred", "mid_back_trail_share_pct"], 0.97,
         [line | {"start_value": 18.0, "value_now": 21.0, "p": 0.97}]),
        ("improving", "s01", "c01", heel, [], 0.99, [line | {"start_value": 18.0, "value_now": 2.0, "p": 0.99}]),
        ("new_fault", "s01", "c01", down, [], 0.9,
         [{"subject": down, "club_family": "iron", "flagged": 9, "usable": 12, "flagged_before": 1, "usable_before": 20, "p": 0.9}]),
        ("unmeasured", "s03", "c01", None, [], None, [{"subject": "sessions", "day": date(2026, 1, 12), "days": 70}]),
        ("eye_and_plate", "s01", "c01", down, [], None,
         [{"subject": down, "flagged": 0, "usable": 12, "seen": 2, "sessions": 2}]),
        ("refused", None, "c02", "2026-02-03-s02", [], None, [{"subject": "2026-02-03-s02", "refusals": 1}]),
    ]  # fmt: skip
    signals, evidence = [], []
    for rank, (kind, student, coach, subject, kindred, p, behind) in enumerate(rows, 1):
        signal = f"{kind}:{student or ''}:{subject or ''}"
        signals.append(
            {"week": WEEK, "as_of": AS_OF, "rank": rank, "signal": signal, "kind": kind, "student": student,
             "coach": coach, "subject": subject, "club_family": behind[0].get("club_family"), "kindred": kindred, "p": p}
        )  # fmt: skip
        evidence += [
            {
                "week": WEEK,
                "signal": signal,
                "place": place,
                "role": "main" if place == 1 else "beside",
                **row,
            }
            for place, row in enumerate(behind, 1)
        ]
    w.append("season.signal", pl.DataFrame(signals, infer_schema_length=None))
    w.append("season.signal_evidence", pl.DataFrame(evidence, infer_schema_length=None))
    w.append(
        "season.signal_week",
        pl.DataFrame(
            {
                "week": [WEEK],
                "as_of": [AS_OF],
                "judged": [40],
                "listed": [2],
                "expected_by_chance": [0.04],
                "entered": [3],
                "entered_now": [1],
                "entered_by_chance": [0.1],
            }
        ),
    )


def effect(drill: str, aim: str, label: str, kept: float | None, n: int = 12, **more: object) -> dict:
    half = None if kept is None else 3.0
    return {
        "season": SEASON, "drill": drill, "aim": aim, "kept": kept,
        "kept_lo": None if kept is None else kept - half, "kept_hi": None if kept is None else kept + half,
        "same_day": 9.0, "same_day_lo": 5.0, "same_day_hi": 13.0, "cross_check": kept, "n_students": n,
        "n_doses": 3 * n, "label": label, "aim_kind": "metric", "unit": "% of body weight", "swc": 2.0,
        "same_day_kind": "effect", "n_same_day": 20, "n_compared": 9, "pooled": kept, "n_lots": 0, "p": 0.01, "q": 0.02,
        "advice": {"helps": "keep", "harms": "stop", "no_clear_effect": "change"}.get(label, "try"),
    } | more  # fmt: skip


def drills(w) -> None:
    w.append(
        "academy.drill",
        pl.DataFrame(
            [
                {"drill": "d02", "name": "Slow count", "aim": "impact_trail_heel_pct_bw", "how": "Count to three.", "cautions": None, "min_age": None},
                {"drill": "d03", "name": "Quiet feet", "aim": "trail_heel_down", "how": "Close the eyes, then swing.", "cautions": None, "min_age": 14},
                {"drill": "d04", "name": "Never set", "aim": "trail_heel_down", "how": None, "cautions": None, "min_age": None},
            ],
            schema_overrides={"cautions": pl.String},
        ),
    )  # fmt: skip
    w.append(
        "season.drill_effect",
        pl.DataFrame(
            [
                effect("d01", "trail_heel_down", "helps", 12.0, aim_kind="fault", unit="points", swc=10.0),
                effect("d01", "impact_trail_heel_pct_bw", "helps", 5.0),
                effect("d02", "impact_trail_heel_pct_bw", "harms", -4.0, n_lots=22, lots=-3.0, lots_lo=-6.0, lots_hi=0.0, lots_against="d01", lots_look=1),
                effect("d03", "trail_heel_down", "too_little_data", None, n=3, aim_kind="fault", unit="points", swc=10.0, same_day=None, same_day_lo=None, same_day_hi=None),
            ],
            infer_schema_length=None,
        ),
    )  # fmt: skip
    group = {"season": SEASON, "drill": "d01", "aim": "trail_heel_down"}
    w.append(
        "season.drill_group",
        pl.DataFrame(
            [
                group | {"grouping": "level", "group": "club", "n_students": 9, "n_doses": 20, "kept": 11.0, "kept_lo": 5.0, "kept_hi": 17.0},
                group | {"grouping": "level", "group": "county", "n_students": 3, "n_doses": 8, "kept": None, "kept_lo": None, "kept_hi": None},
                group | {"grouping": "age_band", "group": "under_18", "n_students": 8, "n_doses": 12, "kept": 14.0, "kept_lo": 6.0, "kept_hi": 22.0},
            ],
            infer_schema_length=None,
        ),
    )  # fmt: skip


def coaches(w) -> None:
    def gain(coach: str, raw: float, se: float, n: int, *, room: int | None = None) -> dict:
        room = n if room is None else room
        return {
            "season": SEASON, "coach": coach, "gain": raw / 2, "gain_lo": raw / 2 - se, "gain_hi": raw / 2 + se,
            "gain_se": se, "overall": 0.2, "raw": raw, "raw_se": se, "lo80": 0.2 - 1.282 * se, "hi80": 0.2 + 1.282 * se,
            "lo95": 0.2 - 1.96 * se, "hi95": 0.2 + 1.96 * se, "n_students": n, "n_room": room,
            "shown": room >= 8,
        }  # fmt: skip

    w.append(
        "season.coach_gain",
        pl.DataFrame([gain("c01", 0.9, 0.2, 11), gain("c02", 0.1, 0.3, 9), gain("h01", 0.0, 0.5, 3)]),
    )


def trust(w) -> None:
    fitted = {"season": SEASON, "club_family": "iron", "sd_student": 4.0, "sd_session": 1.0, "sd_swing": 3.0,
              "n_students": 12, "n_sessions": 60}  # fmt: skip
    w.append(
        "season.reliability",
        pl.DataFrame(
            [
                fitted | {"metric": "mid_back_trail_share_pct", "icc_session": 0.82, "sem": 1.4, "sdc95": 3.9, "swings_wanted": 8},
                fitted | {"metric": "impact_trail_heel_pct_bw", "icc_session": 0.44, "sem": 2.0, "sdc95": 5.5, "swings_wanted": 12},
            ]
        ),
    )  # fmt: skip
    claim = {"claim": "change_interval_covers", "n_academies": 60}
    w.append(
        "season.calibration",
        pl.DataFrame(
            [
                claim | {"truth": "slopes", "students": n, "figure": f, "goal_lo": 0.88, "goal_hi": 0.92, "met": met}
                for n, f, met in ((20, 0.91, True), (40, 0.90, True), (70, 0.86, False))
            ]
        ),
    )  # fmt: skip
    scored = {"season": SEASON, "made": date(2026, 3, 1)}
    w.append(
        "season.self_audit",
        pl.DataFrame(
            [
                scored
                | {"kind": "change", "claims": 23, "borne_out": 21, "expected": 20.4, "by_chance": 11.5},
                scored
                | {
                    "kind": "next_visit",
                    "claims": 240,
                    "borne_out": 214,
                    "expected": 216.0,
                    "by_chance": None,
                },
            ]
        ),
    )
    seen = {"season": SEASON, "n": 30, "agree_pct": 80.0, "kappa_lo": 0.3, "kappa_hi": 0.8, "seen_and_measured": 10,
            "seen_only": 2, "measured_only": 4, "neither": 14}  # fmt: skip
    w.append(
        "season.eye_plate",
        pl.DataFrame(
            [
                seen | {"fault": "trail_heel_down", "coach": None, "kappa": 0.55},
                seen | {"fault": "stays_centred", "coach": None, "kappa": 0.7},
                seen | {"fault": "trail_heel_down", "coach": "c01", "kappa": 0.61},
                seen | {"fault": "trail_heel_down", "coach": "c02", "kappa": 0.31},
            ]
        ),
    )
    taken = {
        "season": SEASON,
        "device": "mat-east",
        "coach": "c01",
        "student": "s01",
        "day": date(2026, 1, 12),
    }
    w.append(
        "season.data_health",
        pl.DataFrame(
            [
                taken | {"reason": "usable", "n": 95},
                taken | {"reason": "dropout", "n": 4},
                taken | {"reason": "no_consent", "n": 1, "device": None, "day": date(2026, 2, 3)},
                taken | {"reason": "usable", "n": 50, "coach": "c02", "student": "s02"},
            ]
        ),
    )


def ball(w) -> None:
    """s01's irons: one measure goes together with carry, one does not; s02's: too few sessions."""
    rows = [
        ("s01", "mid_back_trail_share_pct", 2.4, 1.1, 3.7, 0.02, 9, "goes_together"),
        ("s01", "impact_trail_heel_pct_bw", -0.6, -2.1, 0.9, 0.5, 9, "not_clear"),
        ("s02", "mid_back_trail_share_pct", None, None, None, None, 3, "too_few"),
    ]
    names = ["student", "metric", "per_sd", "lo", "hi", "q", "n_sessions", "label"]
    frame = pl.DataFrame(rows, schema=names, orient="row").with_columns(
        season=pl.lit("2026"), club_family=pl.lit("iron"), outcome=pl.lit("carry_m"), p=pl.col("q"),
        n_sessions=pl.col("n_sessions").cast(pl.Int32),
    )  # fmt: skip
    w.append("season.ball_link", frame)
