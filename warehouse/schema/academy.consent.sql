-- One row per student, purpose and first day of a consent.
CREATE TABLE IF NOT EXISTS academy.consent (
    student VARCHAR NOT NULL,
    given_by VARCHAR NOT NULL,
    purpose VARCHAR NOT NULL,        -- measure | film | keep_film | share_page | family_page | show_swing | academy_figures
    "from" DATE NOT NULL,
    "to" DATE
);
