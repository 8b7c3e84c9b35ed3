-- One row per accepted delivery, in the order of the ledger.
CREATE TABLE IF NOT EXISTS academy.delivery (
    delivery VARCHAR NOT NULL,       -- content hash
    sequence BIGINT NOT NULL,
    received_at TIMESTAMP NOT NULL,
    kind VARCHAR NOT NULL,           -- session | roster | notes | shots | calendar
    name VARCHAR,                    -- folder or file name it came under
    delivered_by VARCHAR,            -- who delivered it through the pages; null: whoever keeps the home
    session VARCHAR,
    outcome VARCHAR NOT NULL,        -- accepted | replaced (an earlier version of the session stood before)
    n_files INTEGER,
    n_bytes BIGINT
);
