-- One row per student and purpose that the last build left out, as the consent had ended.
CREATE TABLE IF NOT EXISTS academy.withheld (
    student VARCHAR NOT NULL,
    purpose VARCHAR NOT NULL         -- measure | film | family_page | academy_figures
);
