"""Every world by name: a function of the number of students and a seed."""

from collections.abc import Callable
from functools import partial

from season_worlds import aims, ball, coaches, drills, faults, lines
from season_worlds.academy import SIX, SeasonWorld

World = Callable[[int, int], SeasonWorld]

WORLDS: dict[str, World] = {
    "usual": lines.usual,
    "nobody_changes": lines.nobody_changes,
    "unequal_noise": lines.unequal_noise,
    "unequal_noise_unrelated": partial(lines.unequal_noise, together=False),
    "unequal_noise_six": partial(lines.unequal_noise, metrics=SIX, hold=0.6),
    "planted_changes": lines.planted_changes,
    "holders_who_change": lines.holders_who_change,
    "heavy_tails": lines.heavy_tails,
    "plateaus": lines.plateaus,
    "drop_outs": lines.drop_outs,
    "device_swapped": lines.device_swapped,
    "missing_when_poor": lines.missing_when_poor,
    "mislabelled_clubs": lines.mislabelled_clubs,
    "fault_in_some_swings": lines.fault_in_some_swings,
    "zeros_97": partial(lines.mostly_zero, zeros=0.97),
    "zeros_70": partial(lines.mostly_zero, zeros=0.70),
    "bad_days": drills.bad_days,
    "bad_days_noisy": partial(drills.bad_days, noise=2.0),
    "bad_days_noisy_form_fades": partial(drills.bad_days, noise=2.0, lasting=0.5),
    "bad_days_worth_2": partial(drills.bad_days, on_the_day=2.4, kept=2.4),
    "keen_group": drills.keen,
    "keen_group_flattening": partial(drills.keen, flatten=True),
    "keen_doses_follow": partial(drills.keen, doses="follow"),
    "doses_unrelated_worth_2": partial(drills.keen, doses="unrelated", worth=2.0),
    "keen_doses_follow_worth_2": partial(drills.keen, doses="follow", worth=2.0),
    "keen_group_two_drills_worth_2": partial(drills.keen, worth=2.0, drills=2),
    "drawn_worthless": drills.drawn,
    "drawn_4_apart": partial(drills.drawn, apart=4.0),
    "coaches_in_band": coaches.coaches,
    "coaches_in_band_sided": partial(coaches.coaches, metrics=SIX),
    "coaches_stops": partial(coaches.coaches, move="stops"),
    "coaches_slows": partial(coaches.coaches, move="slows"),
    "coaches_nobody": partial(coaches.coaches, move="nobody"),
    "coaches_start_apart": partial(coaches.coaches, first_starts=-18.0, move="slows"),
    "coach_adds_3": partial(coaches.coaches, first_starts=-10.0, first_adds=3.0),
    "faults_stay": faults.fault_rates,
    "faults_change": partial(faults.fault_rates, changed=0.05),
    "faults_by_pace": faults.paces,
    "aims": aims.agreed,
    "aims_one_metric": partial(aims.agreed, metrics=aims.FOUR[:1]),
    "aims_one_of_four_moves": partial(aims.agreed, moving=1),
    "aims_changed_before": partial(aims.agreed, worth=(0.0,), before=4.0),
    "aims_nobody": partial(aims.agreed, worth=(0.0,)),
    "aims_wander": partial(aims.agreed, worth=(0.0,), wander_sd=1.0),
    "aims_noisy": partial(aims.agreed, noise=1.5),
    "aims_weekly": partial(aims.agreed, weekly=True),
    "ball_drifts": ball.drifting,
    "ball_tires": partial(ball.drifting, tires=1.5),
    "ball_wanders": partial(ball.drifting, wanders=0.2),
    "ball_linked": partial(ball.drifting, r=0.5),
    "ball_linked_few_shots": partial(ball.drifting, r=0.5, shots=(5, 5)),
}
