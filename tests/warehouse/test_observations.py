"""The signs and feelings of observations.toml: their phases, senses and faults are ones that there are."""

from dashboard.text.labels import SENSES
from warehouse.definitions import PHASES, usual_faults
from warehouse.observations import feelings, signs


def test_every_sign_has_a_phase_and_a_sense_that_there_are():
    assert [sign.code for sign in signs() if sign.phase not in PHASES or sign.sense not in SENSES] == []


def test_every_feeling_answers_for_faults_that_there_are():
    known = {fault.code for fault in usual_faults()}
    assert [feeling.code for feeling in feelings() if not known.issuperset(feeling.faults)] == []
