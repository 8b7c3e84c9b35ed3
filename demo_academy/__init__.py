"""A seeded, wholly invented academy with planted truth, written as real delivery files.

Nothing here imports the models: the generator plants what the models must find, and its own truths
are the oracle they are checked against.
"""
