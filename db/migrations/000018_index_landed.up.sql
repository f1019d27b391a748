-- The fish that may count toward a period's swap, read with each fish that is sent. A plain index on the period begins like the
-- primary key, which the server takes while the table is nearly empty; only what asks for just these fish can use this one.
CREATE INDEX catches_landed_idx ON catches (trial_id, period_id) WHERE outcome = 'landed' AND NOT foul_hooked AND NOT void;
