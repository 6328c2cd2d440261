-- Removes from one table the rows of bundled works whose licence tier was not asked
-- for. A folder that the user named is the user's own choice and stays whole.
DELETE FROM {table}
WHERE work IN (
    SELECT work FROM works WHERE corpus = 'bundled' AND NOT list_contains($tiers, tier)
);
