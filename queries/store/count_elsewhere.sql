-- Lets works count as copies of works in the reference that the draft is made on top of, with
-- all that are copies of theirs.
UPDATE works SET same_as = e.counted
FROM (SELECT unnest($works::VARCHAR[]) AS work, unnest($counted::VARCHAR[]) AS counted) AS e
WHERE works.work = e.work OR works.same_as = e.work;
