"""Simulated academies whose truth is known, as the tables that the season's models read.

Each world is a function of the number of students and a seed, and returns a `SeasonWorld`: rows of `academy.*` beside
what is true of them. `worlds.WORLDS` names them all. Nothing of the models is used here, and nothing in a world is
made to suit an estimator: a claim that holds here holds for what is described, or fails.

Values live on a scale x of each metric on which more is better and 0 is where its band begins. Unless a world says
otherwise students start at N(-10, 6²), have a slope of their own of N(0, 0.7²) a month, wander by 1 per √month, and
come 6 to 14 times in 182 days; a session's level is off by N(0, 3²), each of its 8 to 12 swings by N(0, 4²). A
smallest worthwhile change is 0.2 of the spread between students: 1.2.
"""
